"""Words of the spoken-number vocabulary and the phone units they are made of.

Every unit owns one output of the network (one "pdf"). Units belong to one word, except stems that
really are the same sounds in the same place: the stem of *four* serves *fourteen* and *forty*. The
endings -teen and -ty have units of their own on purpose: telling them apart is the hard part of
hearing numbers, so the network must never share an output between them.
"""

from __future__ import annotations

SIL = "sil"
UNK_UNITS = ("unk_b", "unk_m", "unk_e")
UNK = "[unk]"
#: chains of units for ``[unk]``, side by side: short and long, dark and bright speech each find
#: their own. A model may have the first ones only.
UNK_CHAINS: tuple[tuple[str, ...], ...] = (
    UNK_UNITS,
    ("unk2_b", "unk2_m", "unk2_e"),
    ("unk3_b", "unk3_m", "unk3_n", "unk3_e"),
    ("unk4_b", "unk4_m", "unk4_n", "unk4_e"),
)

_STEMS = {
    "four": "four_f four_o four_r",
    "five": "five_f five_ai five_v",
    "six": "six_s six_i six_k six_z",
    "seven": "seven_s seven_e seven_v seven_u seven_n",
    "nine": "nine_n nine_ai nine_m",
    "thir": "thir_th thir_er",
    "fif": "fif_f fif_i fif_g",
    "eigh": "eight_ei",
    "teen": "teen_t teen_ee teen_n",
    "ty": "ty_t ty_ee",
}

_SPELLED = {
    "zero": "zero_z zero_i zero_r zero_o",
    "oh": "oh_o oh_w",
    "nought": "nought_n nought_o nought_t",
    "one": "one_w one_u one_n",
    "two": "two_t two_u",
    "three": "three_th three_r three_ee",
    "four": "{four}",
    "five": "{five}",
    "six": "{six}",
    "seven": "{seven}",
    "eight": "{eigh} eight_t",
    "nine": "{nine}",
    "ten": "ten_t ten_e ten_n",
    "eleven": "eleven_i eleven_l eleven_e eleven_v eleven_u eleven_n",
    "twelve": "twelve_t twelve_w twelve_e twelve_l twelve_v",
    "thirteen": "{thir} {teen}",
    "fourteen": "{four} {teen}",
    "fifteen": "{fif} {teen}",
    "sixteen": "{six} {teen}",
    "seventeen": "{seven} {teen}",
    "eighteen": "{eigh} {teen}",
    "nineteen": "{nine} {teen}",
    "twenty": "twenty_t twenty_w twenty_e twenty_n {ty}",
    "thirty": "{thir} {ty}",
    "forty": "{four} {ty}",
    "fifty": "{fif} {ty}",
    "sixty": "{six} {ty}",
    "seventy": "{seven} {ty}",
    "eighty": "{eigh} {ty}",
    "ninety": "{nine} {ty}",
    "hundred": "hundred_h hundred_u hundred_n hundred_d hundred_r hundred_e",
    "thousand": "thousand_th thousand_ow thousand_z thousand_u thousand_n",
    "and": "and_a and_n",
    "a": "a_a",
    "minus": "minus_m minus_ai minus_n minus_u minus_s",
}

#: word -> its units, in order. ``[unk]`` is any speech that is not a number word.
PRONUNCIATIONS: dict[str, tuple[str, ...]] = {
    word: tuple(spelled.format(**_STEMS).split()) for word, spelled in _SPELLED.items()
}
PRONUNCIATIONS[UNK] = UNK_UNITS

NUMBER_WORDS: tuple[str, ...] = tuple(_SPELLED)

#: every unit once, silence first, further chains of ``[unk]`` last; the index is the network's
#: output.
UNITS: tuple[str, ...] = tuple(
    dict.fromkeys(
        [
            SIL,
            *UNK_UNITS,
            *(u for p in PRONUNCIATIONS.values() for u in p),
            *(u for chain in UNK_CHAINS for u in chain),
        ]
    )
)
PDF: dict[str, int] = {unit: index for index, unit in enumerate(UNITS)}


def chains(outputs: int) -> int:
    """How many chains of ``[unk]`` a network with this many outputs has. Raises ValueError."""
    for count in range(1, len(UNK_CHAINS) + 1):
        if outputs == len(UNITS) - sum(len(chain) for chain in UNK_CHAINS[count:]):
            return count
    raise ValueError(f"no set of units has {outputs} outputs")


DIGITS = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
TEENS = (
    "ten", "eleven", "twelve", "thirteen", "fourteen", "fifteen", "sixteen", "seventeen",
    "eighteen", "nineteen",
)  # fmt: skip
TENS = ("twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety")
#: what may be said for the digit 0 when digits are read one by one
ZEROS = ("zero", "oh", "nought")


def spell(value: int, *, conjunction: bool = False, article: bool = False) -> tuple[str, ...]:
    """The words of 0 <= value <= 9999: ``spell(105, conjunction=True)`` -> one hundred and five."""
    if not 0 <= value <= 9999:
        raise ValueError(f"{value} is outside 0..9999")
    words: list[str] = []
    thousands, rest = divmod(value, 1000)
    hundreds, rest = divmod(rest, 100)
    if thousands:
        words += [DIGITS[thousands], "thousand"]
    if hundreds:
        words += [DIGITS[hundreds], "hundred"]
    if article and words[:1] == ["one"]:
        words[0] = "a"
    if rest and words and conjunction:
        words.append("and")
    if rest >= 20:
        words.append(TENS[rest // 10 - 2])
        if rest % 10:
            words.append(DIGITS[rest % 10])
    elif rest >= 10:
        words.append(TEENS[rest - 10])
    elif rest or not words:
        words.append(DIGITS[rest])
    return tuple(words)
