"""What the pages that watch are told: the teacher's page and the projector's."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import msgspec
from msgspec import UNSET, Struct, UnsetType

from oralquiz.web.device_messages import Note, ToDevice


class LiveRow(Struct, frozen=True):
    """Where one pupil is. ``term``: the index of the term that sounds, -1 before the first."""

    pupil: str
    online: bool
    phase: str
    turn: int
    of: int
    terms: tuple[int, ...]
    term: int
    right_value: int | None
    heard: str
    value: int | None
    verdict: str
    latency_s: float | None
    counts: Mapping[str, int]


class JudgedAnswer(Struct, frozen=True):
    """One judged turn. ``number`` counts the answers of the class round as they come in; ``key``
    and ``turn`` say which sum of which device's round it was."""

    number: int
    key: str
    turn: int
    pupil: str
    sum: str
    right_value: int
    value: int | None
    words: str
    verdict: str
    latency_s: float | None
    typed: bool
    sound: bool
    corrected: bool = False


class ClassRoundView(Struct, frozen=True):
    """The whole class round as the teacher's page shows it."""

    key: str
    title: str
    way: str
    phase: str
    trouble: str
    revealed: bool
    rows: Sequence[LiveRow]
    answers: Sequence[JudgedAnswer]


class Present(Struct, frozen=True):
    """A pupil whose page is open."""

    pupil: str
    ready: bool
    mic: bool


class Asking(Struct, frozen=True):
    """A pupil who came with the code of the class and asks to see earlier rounds; ``asking`` marks
    the question."""

    pupil: str
    asking: str


class Front(Struct, frozen=True):
    """The computer at the front."""

    online: bool
    ready: bool
    mic: bool


class Live(Struct, frozen=True, tag_field="t", tag="live"):
    """What the teacher's page draws. ``whole_class`` names the class that the next round is for,
    unless pupils were chosen."""

    lesson: ClassRoundView | None
    whole_class: str
    front: Front
    here: Sequence[Present]
    asking: Sequence[Asking]


class WallRound(Struct, frozen=True):
    """What a projector may show: no verdict, no name unless it is that pupil's turn in front of
    everyone, and no answer until it is asked for."""

    title: str
    phase: str
    way: str
    of: int
    turn: int
    term: int
    terms: int
    state: str
    who: str
    pupils: int
    answered: int
    revealed: bool
    sum: str | UnsetType = UNSET
    answer: int | UnsetType = UNSET


class Wall(Struct, frozen=True, tag_field="t", tag="wall"):
    """What the projector's page draws."""

    lesson: WallRound | None


ToPage = ToDevice | Note | Live | Wall


def to_page(message: ToPage) -> str:
    """``message`` as it is sent to the pages."""
    return msgspec.json.encode(message).decode()
