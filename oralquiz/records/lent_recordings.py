"""Voices that pupils lend to the training of the number model.

A parent agrees to that apart from agreeing that the voice is recorded in rounds. From then on a set
(`write_set`) has what the pupil recorded for it and those answers out of rounds that a teacher has
listened to. Its files are ``SPEAKER_WORDS_TAKE.flac``, such as ``3f09a1c2d4_forty-two_1.flac``, one
number each: the form in which `models/train` reads people. SPEAKER is made of the name and a secret
of this installation: a set names nobody, and what a pupil lent is still found to be erased.

Nothing here leaves the computer. A set is a folder that the teacher names and takes from there.
"""

from __future__ import annotations

import hashlib
import secrets
import shutil
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from oralquiz.errors import BadInput
from oralquiz.folders import data_folder, private_file, write_private
from oralquiz.records.names import clean_name
from oralquiz.session import Session
from oralquiz.sound import SESSION_RATE, Samples, flac_bytes, from_pcm16
from oralquiz.speak import number_words

if TYPE_CHECKING:
    from oralquiz.records.pupil_list import Pupil

NUMBERS = range(100)
AROUND_S = 0.25
"""Quiet that is kept before and after an answer out of a round."""
AGREED = "agreed"
ABOUT = "about.txt"
ABOUT_TEXT = """\
Numbers said by people who agreed, or whose parents agreed, that a model may learn from them.
SPEAKER_WORDS_TAKE.flac, 16 kHz. No name is in here; SPEAKER is known only where it was recorded.
"""


@dataclass(frozen=True)
class SaidNumber:
    """One number said alone, as a teacher heard it: sound (n,) at the session's rate."""

    pupil: str
    value: int
    samples: Samples


def agree_to_lend(pupil: Pupil, when: str) -> None:
    """Note that this pupil's voice may be lent; ``when`` in ISO 8601. Raises BadInput where the
    voice may not even be recorded."""
    if not pupil.consent:
        raise BadInput(f"{pupil.name}'s voice may not be recorded: see oralquiz pupils consent")
    write_private(_folder(pupil.name) / AGREED, when.encode())


def lends(name: str) -> bool:
    """Whether this pupil's voice may be lent."""
    return _anything() and (_folder(name) / AGREED).is_file()


def lend(pupil: Pupil, value: int, samples: Samples) -> Path:
    """Keep ``samples`` (n,), in which the pupil says ``value``. Raises BadInput for one whose voice
    may not be lent."""
    if not (pupil.consent and lends(pupil.name)):
        raise BadInput(f"{pupil.name}'s voice may not be lent: nobody has agreed to it")
    return _add(_folder(pupil.name), pupil.name, value, samples)


def lent_numbers(name: str) -> frozenset[int]:
    """The numbers that this pupil has recorded."""
    said = {path.stem.split("_")[1] for path in _recordings(name)}
    return frozenset(value for value in NUMBERS if _words(value) in said)


def remove_lent(name: str) -> None:
    """Remove what this pupil has lent, and the agreement."""
    if _anything() and _folder(name).is_dir():
        shutil.rmtree(_folder(name))


def confirmed(session: Session) -> Iterator[SaidNumber]:
    """The answers of a session that a teacher has listened to, where the voice was recorded, said
    once, and the verdict says which number it was."""
    around = round(AROUND_S * SESSION_RATE)
    for turn in session.turns:
        if not (turn.consent and turn.corrections and len(turn.attempts) == 1):
            continue
        said, value = turn.attempts[0], turn.value
        if value is None or value not in NUMBERS:
            continue
        if said.onset is not None and said.offset is not None:
            part = session.audio[max(0, said.onset - around) : said.offset + around, 1]
            yield SaidNumber(turn.pupil, value, from_pcm16(part))


def write_set(
    folder: Path, pupils: Iterable[Pupil], sessions: Iterable[Session]
) -> tuple[int, int]:
    """Fill ``folder`` with what pupils lend; returns how many recordings of how many speakers.

    A set that is there already is made anew, so that nobody stays in it who has been erased or no
    longer agrees. Raises BadInput for a folder that holds anything else.
    """
    _emptied(folder)
    lenders = {pupil.name for pupil in pupils if pupil.consent and lends(pupil.name)}
    for name in lenders:
        for path in _recordings(name):
            shutil.copyfile(path, folder / path.name)
    for session in sessions:
        for said in confirmed(session):
            if said.pupil in lenders:
                _add(folder, said.pupil, said.value, said.samples)
    written = [path.stem.split("_")[0] for path in folder.glob("*.flac")]
    return len(written), len(set(written))


def _emptied(folder: Path) -> None:
    """Make ``folder`` an empty set. Raises BadInput if something else is in it."""
    if folder.is_dir() and any(folder.iterdir()) and not (folder / ABOUT).is_file():
        raise BadInput(f"{folder}: holds something else: choose a new or empty folder")
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for path in folder.glob("*_*_*.flac"):
            path.unlink()
        (folder / ABOUT).write_text(ABOUT_TEXT, encoding="utf-8")
    except OSError as error:
        raise BadInput(f"{folder}: cannot be written ({error.strerror})") from error


def _words(value: int) -> str:
    return number_words(value).replace(" ", "-")


def _all_lent() -> Path:
    return data_folder() / "lent"


def _anything() -> bool:
    """Whether anybody has ever lent anything: only then there is a secret."""
    return _all_lent().is_dir()


def _speaker(name: str) -> str:
    secret = _all_lent() / "secret"
    if not secret.is_file():
        write_private(secret, secrets.token_bytes(16))
    return hashlib.sha256(secret.read_bytes() + clean_name(name).encode()).hexdigest()[:10]


def _folder(name: str) -> Path:
    return _all_lent() / _speaker(name)


def _recordings(name: str) -> list[Path]:
    return sorted(_folder(name).glob("*.flac")) if _anything() else []


def _add(folder: Path, name: str, value: int, samples: Samples) -> Path:
    """Write one more take of a number."""
    start = f"{_speaker(name)}_{_words(value)}_"
    take = 1 + len(list(folder.glob(f"{start}*.flac")))
    path = folder / f"{start}{take}.flac"
    private_file(path).write_bytes(flac_bytes(samples, SESSION_RATE))
    return path
