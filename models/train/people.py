"""The recordings of people in ``../shared/data``: who says what, and whom the twin never hears.

Nothing here needs more than Python, so that benchmarks read the same lists as the training.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from units import DIGITS, UNK, spell

#: sets of files ``SPEAKER_WORD_TAKE.flac``: folder -> what its speakers' names begin with. Both
#: sets of Speech Commands hold the same people, who are held out of both or of neither.
SETS = {
    "commands_digits": "commands",
    "commands_words": "commands",
    "duke_digits": "duke",
    "student_words": "student",
    "sailing_numbers": "sailing",
    "sailing_words": "sailing",
    "family_digits": "family",
    "family_letters": "family",
    "one_man_commands": "one_man",
    "two_digits": "two",
    "audiomnist_zero": "audiomnist",
    "lent_numbers": "lent",
}
SOURCES = ("fsdd", "digits_in", "numbers_woman", "librispeech", *SETS)
#: people that the twin never hears, besides those that ``held_out`` draws
KEPT_OUT = (
    "fsdd-theo", "fsdd-george", "fsdd-yweweler", "numbers_woman", "libri-237", "saytime:speaker",
    "sailing-helmeric",
)  # fmt: skip
#: of a hundred people of each set
HELD_OUT = 15
#: file names that say a number word, or nothing clear
_NOT_OTHER = {
    "numbers_woman": {"minus", "o", "and", "a", "equals", "not"},
    "family_letters": {"letter-o"},
}
#: number words that a transcript may not hold if it is to be other speech
_NUMBER_LIKE = re.compile(
    r"\b(zero|one|two|three|four|five|six|seven|eight|nine|ten|eleven|twelve|\w+teen|twenty|thirty|"
    r"forty|fifty|sixty|seventy|eighty|ninety|hundred|thousand)\b"
)
_WORDS = {" ".join(spell(value)): spell(value) for value in range(100)}


@dataclass(frozen=True)
class Recording:
    """A clip of one person; ``words`` as said, ``text`` its file's word for other speech."""

    path: Path
    words: tuple[str, ...]
    speaker: str
    source: str
    text: str

    @property
    def kind(self) -> str:
        return "other" if self.words == (UNK,) else "number"


def held_out(speaker: str) -> bool:
    """Whether the twin never hears this speaker: 15 of 100 people of each set, by a hash of the
    name, and those of ``KEPT_OUT``. A clip put together from two (``A|B``) is held out if either
    is."""
    if "|" in speaker:
        return any(held_out(part) for part in speaker.split("|"))
    if speaker in KEPT_OUT:
        return True
    if speaker.split("-")[0] not in SETS.values():
        return False
    return int(hashlib.sha256(speaker.encode()).hexdigest()[:8], 16) % 100 < HELD_OUT


def recordings(root: Path) -> Iterator[Recording]:
    """Every recording of every set in ``root``, in a fixed order."""
    yield from _fsdd(root / "fsdd")
    for path in sorted((root / "digits_in").glob("*.flac")):
        digit = int(path.stem.split("_")[0])
        yield Recording(path, (DIGITS[digit],), "digits_in", "digits_in", DIGITS[digit])
    yield from _numbers_woman(root / "numbers_woman")
    yield from _librispeech(root / "librispeech")
    for folder, prefix in SETS.items():
        yield from _named(root / folder, prefix)


def _named(folder: Path, prefix: str) -> Iterator[Recording]:
    for path in sorted(folder.glob("*.flac")):
        speaker, word, _ = path.stem.rsplit("_", 2)
        if word in _NOT_OTHER.get(folder.name, ()):
            continue
        words = _WORDS.get(word.replace("-", " "), (UNK,))
        yield Recording(path, words, f"{prefix}-{speaker}", folder.name, word)


def _fsdd(folder: Path) -> Iterator[Recording]:
    for path in sorted(folder.glob("*.wav")):
        digit, speaker, _ = path.stem.split("_")
        word = DIGITS[int(digit)]
        yield Recording(path, (word,), f"fsdd-{speaker}", "fsdd", word)


def _numbers_woman(folder: Path) -> Iterator[Recording]:
    name = "numbers_woman"
    for path in sorted(folder.glob("*.flac")):
        if path.stem != "100":  # said as "one hundred" or "hundred": not known
            words = spell(int(path.stem))
            yield Recording(path, words, name, name, " ".join(words))
    for path in sorted((folder / "other").glob("*.flac")):
        if path.stem not in _NOT_OTHER[name]:
            yield Recording(path, (UNK,), name, name, path.stem)


def _librispeech(folder: Path) -> Iterator[Recording]:
    transcripts = {}
    for path in sorted(folder.glob("*.t*xt")):
        for line in path.read_text().splitlines():
            name, _, text = line.partition(" ")
            transcripts[name] = text.lower()
    for path in sorted(folder.glob("*.flac")):
        text = transcripts.get(path.stem, "")
        if not _NUMBER_LIKE.search(text):
            speaker = "libri-" + path.stem.split("-")[0]
            yield Recording(path, (UNK,), speaker, "librispeech", text)
