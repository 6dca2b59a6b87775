"""What happened in a session, one event a line: the only truth a session file holds.

Each kind of event is a frozen dataclass; its fields, in order, are the keys of its JSON, which
FORMAT.md lists. ``Entry`` puts the envelope around it: ``seq`` (0, 1, 2, ...) and ``at`` (the
sample on the session clock at which it was known). Encoding is canonical (fixed key order, no
spaces), so equal events are equal bytes; times and probabilities are rounded to 6 decimals where
they are made. Keys and kinds of event that a newer program wrote are carried along.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import MISSING, dataclass, field, fields
from typing import Annotated, Any

import msgspec
from msgspec import Meta

from oralquiz.errors import SessionFileError
from oralquiz.judge import Verdict

MOST_SAMPLES = 1_382_400_000
"""The last sample a session can count to: a day."""

COMMANDS = frozenset({"pause", "resume", "repeat", "skip", "stop", "typed"})

Sample = Annotated[int, Meta(ge=0, le=MOST_SAMPLES)]
TurnIndex = Annotated[int, Meta(ge=0, le=9_999)]
AttemptIndex = Annotated[int, Meta(ge=0, le=1_000)]
Number = Annotated[int, Meta(ge=-9_999_999_999, le=9_999_999_999)]
Latency = Annotated[float, Meta(ge=-86_400, le=86_400)]
Words = Annotated[str, Meta(max_length=10_000)]
Reason = Annotated[str, Meta(max_length=1_000)]
CommandName = Annotated[str, Meta(pattern=rf"\A(?:{'|'.join(sorted(COMMANDS))})\Z")]


def strict_json(text: str) -> Any:
    """JSON according to RFC 8259: no NaN, no half of a surrogate pair. Raises ValueError."""
    try:
        return msgspec.json.decode(text)
    except RecursionError:
        raise ValueError("it is nested too deeply") from None


@dataclass(frozen=True)
class _Carrying:
    """Something with keys; ``more`` has those that this program does not know."""

    more: Mapping[str, Any] = field(default_factory=dict, kw_only=True, repr=False, hash=False)


@dataclass(frozen=True)
class TermTime(_Carrying):
    """One dictated term: its words, and its onset and offset in session samples."""

    text: Words
    onset: Sample
    offset: Sample


@dataclass(frozen=True)
class Guess(_Carrying):
    """One of the numbers that may have been said, with its calibrated probability."""

    value: Number
    words: Words
    confidence: Annotated[float, Meta(ge=0, le=1.0001)]


@dataclass(frozen=True)
class Event(_Carrying):
    """One thing that happened."""

    @property
    def type(self) -> str:
        """What the JSON calls it."""
        return _NAMES[type(self)]

    def as_json(self) -> dict[str, Any]:
        """The keys beside the envelope, in canonical order; optional ones only if they differ."""
        return _told(self)


@dataclass(frozen=True)
class OfTurn(Event):
    """Something that happened in one turn of the round."""

    turn: TurnIndex


@dataclass(frozen=True)
class RoundBegun(Event):
    """The round begins; ``turns`` is how many there are."""

    name: Annotated[str, Meta(max_length=1_000)]
    turns: Annotated[int, Meta(ge=0)]


@dataclass(frozen=True)
class SumBegun(OfTurn):
    """A turn begins."""

    pupil: Annotated[str, Meta(max_length=500)]
    terms: Annotated[tuple[Number, ...], Meta(max_length=100)]


@dataclass(frozen=True)
class Dictated(OfTurn):
    """A sum is read aloud from ``start`` to ``end``. Once it is read again, what was answered
    before no longer counts."""

    start: Sample
    end: Sample
    pace_s: Annotated[float, Meta(gt=0, le=60)]
    terms: Annotated[tuple[TermTime, ...], Meta(min_length=1, max_length=100)]


@dataclass(frozen=True)
class Heard(OfTurn):
    """What the recogniser made of an answer. ``onset`` and ``offset`` bound the voice in samples,
    None without one; ``early``: it began before the last term was over."""

    attempt: AttemptIndex
    words: Words
    guesses: Annotated[tuple[Guess, ...], Meta(max_length=1_000)]
    onset: Sample | None
    offset: Sample | None
    early: bool


@dataclass(frozen=True)
class Judged(OfTurn):
    """The verdict on what was heard, or on what was typed (then without a probability)."""

    attempt: AttemptIndex
    verdict: Verdict
    value: Number | None
    latency_s: Latency | None
    right_probability: Annotated[float, Meta(ge=0, le=1)] | None = None
    typed: bool = False


@dataclass(frozen=True)
class AskedAgain(OfTurn):
    """An unclear answer is asked for once more, aloud from ``start`` to ``end``."""

    attempt: AttemptIndex
    start: Sample
    end: Sample


@dataclass(frozen=True)
class SumEnded(OfTurn):
    """A turn is over."""


@dataclass(frozen=True)
class Commanded(Event):
    """The teacher or the pupil gave a command, which took effect here. ``turn`` may lie outside the
    round (-1: before the first); ``value`` is the number typed."""

    name: CommandName
    turn: Annotated[int, Meta(ge=-1, le=10_000)]
    value: Number | None = None
    why: Reason = ""


@dataclass(frozen=True)
class Corrected(OfTurn):
    """The teacher listened again. Replaces no event: the last correction of a turn counts."""

    verdict: Verdict
    value: Number | None
    by: Annotated[str, Meta(max_length=500)]
    when: Annotated[str, Meta(max_length=40)]


@dataclass(frozen=True)
class RoundEnded(Event):
    """The round is over; ``turns`` is how many were begun. Without it a round was cut short."""

    why: Reason
    turns: Annotated[int, Meta(ge=-1)]


@dataclass(frozen=True)
class OtherEvent(Event):
    """An event of a kind that this program does not know: kept, and otherwise ignored."""

    name: str

    @property
    def type(self) -> str:
        return self.name

    def as_json(self) -> dict[str, Any]:
        return dict(self.more)


TYPES: Mapping[str, type[Event]] = {
    "round_begun": RoundBegun,
    "sum_begun": SumBegun,
    "dictated": Dictated,
    "heard": Heard,
    "judged": Judged,
    "asked_again": AskedAgain,
    "sum_ended": SumEnded,
    "commanded": Commanded,
    "corrected": Corrected,
    "round_ended": RoundEnded,
}
"""What the JSON calls each kind of event."""

_NAMES = {kind: name for name, kind in TYPES.items()}
_PARTS: Mapping[tuple[type[_Carrying], str], type[_Carrying]] = {
    (Dictated, "terms"): TermTime,
    (Heard, "guesses"): Guess,
}
"""The keys whose value is a list of things with keys of their own."""


def event_from(type: str, data: Mapping[str, Any]) -> Event:
    """The event that ``data``, without the envelope, describes. Raises ValueError if it describes
    none."""
    kind = TYPES.get(type)
    if kind is None:
        return OtherEvent(type, more=dict(data))
    return msgspec.convert(_split(kind, data), kind)


@dataclass(frozen=True)
class Entry:
    """A line of the log: ``event`` is number ``seq`` and was known at sample ``at``."""

    seq: int
    at: int
    event: Event

    @property
    def type(self) -> str:
        return self.event.type

    def encode(self) -> str:
        """The entry as one line of JSON, without the newline."""
        whole = {"seq": self.seq, "at": self.at, "type": self.type, **self.event.as_json()}
        return json.dumps(whole, ensure_ascii=False, separators=(",", ":"))


@dataclass(frozen=True)
class RawEntry:
    """A line of the log, before its event is looked at."""

    seq: int
    at: int
    type: str
    data: Mapping[str, Any]

    @classmethod
    def decode(cls, line: str) -> RawEntry:
        """Read one line. Raises SessionFileError if it is not an event."""
        try:
            whole = strict_json(line)
            seq, at, kind = whole.pop("seq"), whole.pop("at"), whole.pop("type")
        except (ValueError, KeyError, AttributeError, TypeError):
            raise SessionFileError(f"not an event: {line[:60]!r}") from None
        if not (type(seq) is int and type(at) is int and type(kind) is str):
            raise SessionFileError(f"not an event: {line[:60]!r}")
        return cls(seq, at, kind, whole)

    def as_json(self) -> dict[str, Any]:
        return {**self.data, "seq": self.seq, "at": self.at, "type": self.type}

    def entry(self) -> Entry:
        """The entry that this is. Raises ValueError where it breaks the format."""
        if not 0 <= self.at <= MOST_SAMPLES or len(self.type) > 100:
            raise ValueError("no session lasts that long, or no event has that name")
        return Entry(self.seq, self.at, event_from(self.type, self.data))


_KEYS: Mapping[type[_Carrying], Mapping[str, Any]] = {
    kind: {f.name: f.default for f in fields(kind) if f.name != "more"}
    for kind in (*TYPES.values(), *_PARTS.values())
}
"""The keys of each kind in order, with the value of each when it is left out (MISSING: it never
is)."""


def _told(thing: _Carrying) -> dict[str, Any]:
    kind = type(thing)
    told = {}
    for key, left_out in _KEYS[kind].items():
        value = getattr(thing, key)
        if left_out is MISSING or value != left_out:
            told[key] = [_told(part) for part in value] if (kind, key) in _PARTS else value
    return {**told, **thing.more} if thing.more else told


def _split(kind: type[_Carrying], data: Mapping[str, Any]) -> dict[str, Any]:
    """``data`` with the keys that ``kind`` does not know put aside as ``more``."""
    if not isinstance(data, Mapping):
        raise ValueError(f"an object with keys was expected, not {data!r:.40}")
    keys = _KEYS[kind]
    known = {key: data[key] for key in keys if key in data}
    for key, value in known.items():
        if value is None and keys[key] is not MISSING:
            raise ValueError(f"{key} is left out where there is none")
        if (kind, key) in _PARTS and isinstance(value, list):
            known[key] = [_split(_PARTS[kind, key], part) for part in value]
    if len(known) < len(data):
        known["more"] = {key: value for key, value in data.items() if key not in keys}
    return known
