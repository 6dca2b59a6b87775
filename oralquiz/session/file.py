"""The session file: opening one, finished or cut short, and what it tells turn by turn."""

from __future__ import annotations

import uuid
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, fields, replace
from datetime import datetime
from pathlib import Path
from typing import Any

from oralquiz.beads import MoveOrder, Sum
from oralquiz.errors import SessionFileError
from oralquiz.judge import Policy, Verdict
from oralquiz.rounds import (
    Answered,
    AskedAgain,
    Dictated,
    Entry,
    Event,
    Heard,
    OfTurn,
    Options,
    Progress,
    RawEntry,
    Round,
    RoundEnded,
    Turn,
    strict_json,
    without_controls,
)
from oralquiz.session.archive import read_parts
from oralquiz.session.recorded_sound import read_sound
from oralquiz.session.session_schema import problem
from oralquiz.session.upgrade import upgraded_event, upgraded_header
from oralquiz.sound import SESSION_RATE, Pcm

SCHEMA = 2

MOST_SOUND = 3 * 3600 * SESSION_RATE
"""Samples of sound that are read at most: three hours are 690 MB of memory."""

CUT_SHORT = "the round was cut short"
"""What ``Session.damage`` says, alone or among other things, where the end is missing."""

AFTER_THE_LAST = 600 * SESSION_RATE
"""Samples of sound that can follow the last event: nothing happens in a pause."""

MOST_EVENTS = 200_000
"""Events that are read at most: twice what the longest round that a file can ask for makes."""

LONGEST_EVENT = 1 << 20
"""Bytes of a line that is read as an event: a sum of a hundred terms is a hundredth of it."""


def header(
    round: Round, options: Options, *, voice: str, model: str, software: str
) -> dict[str, Any]:
    """The content of session.json."""
    return {
        "schema": SCHEMA,
        "id": uuid.uuid4().hex,
        "software": software,
        "created": round.created,
        "sample_rate": SESSION_RATE,
        "options": options.as_json(),
        "voice": voice,
        "model": model,
        "round": {
            "name": round.name,
            "step": round.step,
            "rule": round.rule,
            "columns": round.columns,
            "move_order": round.move_order.value,
            "turns": [_turn_as_json(turn) for turn in round.turns],
            **({"place": round.place} if round.place else {}),
        },
    }


def _turn_as_json(turn: Turn) -> dict[str, Any]:
    chosen = {"rule": turn.rule, "reason": turn.reason}
    return {
        "pupil": turn.pupil,
        "terms": list(turn.sum.terms),
        "consent": turn.consent,
        **{key: value for key, value in chosen.items() if value},
    }


@dataclass(frozen=True)
class Session:
    """A session file's content. ``damage`` says in one line what could not be read, if anything."""

    header: Mapping[str, Any]
    round: Round
    events: tuple[Entry, ...]
    options: Options
    turns: tuple[Answered, ...]
    audio: Pcm = field(repr=False)
    captions: str = field(default="", repr=False)
    damage: str = ""

    @property
    def sample_rate(self) -> int:
        return int(self.header["sample_rate"])

    @property
    def voice(self) -> str | None:
        """The voice that read the sums; None for the usual one, which the web app used to call
        "default" without saying which that was."""
        name = str(self.header["voice"])
        return None if name == "default" else name

    @property
    def why_ended(self) -> str:
        """What the round ended for (``finished``: by itself); empty where it was cut short."""
        ended = (e.event.why for e in self.events if isinstance(e.event, RoundEnded))
        return next(ended, "")

    @property
    def answered(self) -> int:
        """How many sums have a verdict, be it that nothing was said."""
        return sum(turn.verdict is not None for turn in self.turns)

    @property
    def waiting(self) -> tuple[Answered, ...]:
        """The answers that wait for the teacher's ear."""
        return tuple(turn for turn in self.turns if turn.verdict is Verdict.UNCLEAR)


def open_session(path: Path) -> Session:
    """Read a finished session (a zip) or one that is running or was cut short (a directory).

    Every version of the format is read. Raises SessionFileError with the file and what is wrong.
    Damage after the header does not raise: everything before it is returned, and ``damage``
    names it.
    """
    parts = read_parts(path)
    if "session.json" not in parts.content:
        raise SessionFileError(f"{path}: not a session file (it holds no session.json)")
    version, head = _header(path, parts.content["session.json"])
    try:
        round_ = _round(head)
        options = _options(head["options"])
    except (ValueError, KeyError, TypeError, SessionFileError) as error:
        raise SessionFileError(f"{path}: session.json cannot be read ({error!r})") from None
    events, event_damage = _events(parts.content.get("events.jsonl", b""), version, round_)
    most = min(MOST_SOUND, (events[-1].at if events else 0) + AFTER_THE_LAST)
    audio, audio_damage = read_sound(
        parts.content.get("audio.flac", b""), head["sample_rate"], most
    )
    turns = Progress.of(round_, events).turns
    unfinished = "" if any(isinstance(e.event, RoundEnded) for e in events) else CUT_SHORT
    damage = "; ".join(filter(None, (*parts.damage, event_damage, audio_damage, unfinished)))
    captions = parts.content.get("captions.vtt", b"").decode("utf-8", "replace")
    return Session(head, round_, events, options, turns, audio, captions, damage)


def _header(path: Path, raw: bytes) -> tuple[int, dict[str, Any]]:
    """The version of the format and the header, checked, as the present version has it."""
    try:
        head = strict_json(raw.decode("utf-8"))
        version = head["schema"]
    except (ValueError, KeyError, TypeError, RecursionError) as error:
        raise SessionFileError(
            f"{path}: session.json cannot be read ({type(error).__name__}: {error})"
        ) from None
    if not isinstance(version, int) or version < 1:
        raise SessionFileError(f"{path}: session.json names no version of the format")
    if version > SCHEMA:
        raise SessionFileError(
            f"{path}: schema {version} is newer than this program knows ({SCHEMA})"
        )
    try:
        head = upgraded_header(head) if version < SCHEMA else head
    except (KeyError, TypeError) as error:
        raise SessionFileError(f"{path}: session.json lacks {error}") from None
    if wrong := problem("session", head):
        raise SessionFileError(f"{path}: session.json: {wrong}")
    if not _is_time(head["created"]):
        raise SessionFileError(
            f"{path}: session.json: created: {head['created']!r} is not a date and time (ISO 8601)"
        )
    return version, head


def _is_time(text: str) -> bool:
    """Whether ``text`` is a date with a time, in ISO 8601, that every time zone can show."""
    try:
        when = datetime.fromisoformat(text)
    except ValueError:
        return False
    return any(mark in text for mark in "T :") and 1971 <= when.year <= 9998


def _round(head: Mapping[str, Any]) -> Round:
    r = head["round"]
    turns = tuple(
        Turn(
            without_controls(t["pupil"]),
            Sum(tuple(t["terms"])),
            t["consent"],
            without_controls(t.get("rule", "")),
            without_controls(t.get("reason", "")),
        )
        for t in r["turns"]
    )
    return Round(
        without_controls(r["name"]),
        head["created"],
        turns,
        r["step"],
        r["rule"],
        r["columns"],
        MoveOrder(r["move_order"]),
        r.get("place", ""),
    )


def _options(told: Mapping[str, Any]) -> Options:
    """The options that this program knows, out of all that a file has."""
    policy = {f.name: told["policy"][f.name] for f in fields(Policy) if f.name in told["policy"]}
    known = {f.name: told[f.name] for f in fields(Options) if f.name in told}
    # older files were made when a number could not be taken back
    return Options.from_json({"take_back_s": 0.0, **known, "policy": policy})


def _events(raw: bytes, version: int, round_: Round) -> tuple[tuple[Entry, ...], str]:
    """The events up to the first line that is none (a line cut by a crash, say)."""
    events: list[Entry] = []
    for number, line in enumerate(_lines(raw), start=1):
        if len(events) == MOST_EVENTS:
            return tuple(events), f"events.jsonl goes on after {MOST_EVENTS} events"
        try:
            told = RawEntry.decode(line)
        except SessionFileError:
            return tuple(events), f"events.jsonl is damaged from line {number} on"
        if told.seq != len(events):
            return tuple(events), f"events.jsonl misses an event before line {number}"
        if version < SCHEMA:
            told = replace(told, data=upgraded_event(told.type, told.data))
        try:
            events.append(_sensible(told, events[-1].at if events else 0, round_))
        except ValueError as wrong:
            return tuple(events), f"events.jsonl makes no sense from line {number} on ({wrong})"
    return tuple(events), ""


def _lines(raw: bytes) -> Iterator[str]:
    """The lines one by one: all at once, a part of nothing but line ends takes a gigabyte. One
    that is too long to be an event comes cut off, and so is none."""
    at = 0
    while at < len(raw):
        end = raw.find(b"\n", at)
        end = len(raw) if end < 0 else end
        yield raw[at : min(end, at + LONGEST_EVENT)].decode("utf-8", "replace")
        at = end + 1


def _sensible(told: RawEntry, since: int, round_: Round) -> Entry:
    """The entry that ``told`` is, after one at sample ``since``. Raises ValueError that says what
    about it is impossible."""
    try:
        entry = told.entry()
    except ValueError as error:  # the schema says it in its own words, but takes long
        raise ValueError(problem("event", told.as_json()) or str(error)) from None
    if entry.at < since:
        raise ValueError(f"it was known at {entry.at}, before the event in front of it")
    if isinstance(entry.event, OfTurn) and entry.event.turn >= len(round_.turns):
        raise ValueError(f"there is no turn {entry.event.turn}")
    for onset, offset in _spans(entry.event):
        if (onset is None) != (offset is None) or (offset is not None and offset < (onset or 0)):
            raise ValueError(f"it lasts from {onset} to {offset}")
    return entry


def _spans(event: Event) -> list[tuple[int | None, int | None]]:
    """Where ``event`` lasts, from a sample to a sample."""
    if isinstance(event, Dictated):
        return [(event.start, event.end), *((term.onset, term.offset) for term in event.terms)]
    if isinstance(event, AskedAgain):
        return [(event.start, event.end)]
    return [(event.onset, event.offset)] if isinstance(event, Heard) else []
