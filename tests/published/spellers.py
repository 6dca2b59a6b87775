"""Number names by two spellers: num2words, whose names we speak, and ICU's rule-based spell-out
(CLDR).

    python -m tests.published.spellers > oralquiz/speak/LANGUAGES.md

writes the table of every language that num2words and the bundled speech engine share: where the
two spellers agree, and where they do not, with an example. Spelling that makes no sound is set
aside before comparing: hyphens, soft hyphens, spaces of any width, the kind of apostrophe, and the
British "and" in English hundreds.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from importlib.metadata import version

from icu4py.messageformat import MessageFormat
from num2words import CONVERTER_CLASSES, num2words

from oralquiz.speak.engine import Engine
from oralquiz.speak.phrase_book import languages, phrases
from oralquiz.speak.voices import CLEAR_RATE

TAGS = {"kz": "kk", "no": "nb"}
"""num2words' codes that differ from the language's tag."""

TWO_HANDS, THREE_COLUMNS = range(100), range(100, 1000)


@dataclass(frozen=True)
class Comparison:
    """``below_100`` and ``above_99``: number, our name and ICU's, wherever they differ.

    ``known`` is False where ICU has no names for the language and gives English ones.
    """

    code: str
    known: bool
    below_100: dict[int, tuple[str, str]]
    above_99: dict[int, tuple[str, str]]


def plain(name: str, language: str) -> str:
    """``name`` without what makes no sound."""
    name = re.sub("[\u00ad\u200b\u200c]", "", name.lower()).replace("ʼ", "'")
    if language.startswith("en"):
        name = name.replace(" and ", " ")
    return name.replace("-", "").replace(" ", "")


def tag_of(code: str) -> str:
    """The language tag of num2words' ``code``."""
    return TAGS.get(code, code)


def differences(code: str, numbers: Iterable[int]) -> dict[int, tuple[str, str]]:
    """The ``numbers`` whose names differ: num2words' by ``code``, and ICU's."""
    tag = tag_of(code)
    speller = MessageFormat("{n, spellout}", tag)
    found = {}
    for number in numbers:
        ours, icu = num2words(number, lang=code), speller.format({"n": number})
        if plain(ours, tag) != plain(icu, tag):
            found[number] = (ours, icu)
    return found


def compared(code: str) -> Comparison:
    speller = MessageFormat("{n, spellout}", tag_of(code))
    known = code.startswith("en") or speller.format({"n": 34}) != "thirty-four"
    if not known:
        return Comparison(code, False, {}, {})
    return Comparison(code, True, differences(code, TWO_HANDS), differences(code, THREE_COLUMNS))


def shared_codes() -> list[str]:
    """num2words' codes whose language the bundled speech engine has a voice for."""
    spoken = {
        tag.strip("".join(map(chr, range(32)))).split("-")[0]
        for voice in Engine(None, CLEAR_RATE).voices()
        for tag in voice["languages"]
    }
    return [code for code in sorted(CONVERTER_CLASSES) if tag_of(code).split("_")[0] in spoken]


def example(found: dict[int, tuple[str, str]]) -> str:
    """The first difference, in words."""
    if not found:
        return ""
    number, (ours, icu) = next(iter(found.items()))
    return f"{number}: {ours} / {icu}"


def rows() -> list[str]:
    """The table's rows, those that agree first."""
    dictated = {phrases(language).numbers for language in languages()}
    found = [compared(code) for code in shared_codes()]
    found.sort(
        key=lambda c: (not c.known, len(c.below_100), len(c.above_99), c.code),
    )
    lines = []
    for c in found:
        if c.known:
            cells = [
                str(len(c.below_100)),
                str(len(c.above_99)),
                example(c.below_100),
                example(c.above_99),
            ]
        else:
            cells = ["?", "?", "ICU has no names for it", ""]
        lines.append(f"| {c.code} | {'yes' if c.code in dictated else ''} | {' | '.join(cells)} |")
    return lines


HEAD = """\
# Languages: our number names against ICU's

Every language that num2words (the names that are spoken) and the bundled speech engine share,
against ICU's rule-based spell-out of CLDR data. The numbers are how many names of 0..99 and of
100..999 differ; the examples are ours / ICU's. *dictates*: the language has its phrases in
`phrases.toml`, so `oralquiz dictate --language CODE` reads sums in it. A difference is not always a
mistake: it may be taste (a second word for zero, an accent that is not heard) or a wrong name in
one of the two. No language is offered that differs in 0..99, but for the zero of Korean and the
accents of Dutch, which are of that harmless kind. Italian is wrong above 99 in num2words: keep it
to two columns.

Written by `python -m tests.published.spellers`, with num2words {ours}, icu4py {icu} and the engine
of espeakng-loader {engine}; `tests/published/test_number_names.py` holds the table to them.

| code | dictates | 0..99 | 100..999 | first in 0..99 | first in 100..999 |
|---|---|---|---|---|---|
"""


def document() -> str:
    head = HEAD.format(
        ours=version("num2words"), icu=version("icu4py"), engine=version("espeakng-loader")
    )
    return head + "\n".join(rows()) + "\n"


if __name__ == "__main__":
    print(document(), end="")
