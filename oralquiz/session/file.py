"""The session file: opening one, finished or cut short, and what it tells turn by turn."""

from __future__ import annotations

import io
import json
import uuid
import zipfile
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
from numpy.typing import NDArray

from oralquiz.beads import MoveOrder, Sum
from oralquiz.errors import SessionFileError
from oralquiz.judge.verdict import Verdict
from oralquiz.listen.hearing import Guess
from oralquiz.session.events import Event
from oralquiz.session.ports import SESSION_RATE
from oralquiz.session.round import Options, Round, Turn

SCHEMA = 1

Pcm = NDArray[np.int16]
"""Sound as recorded: shape (n, 2), said and heard."""


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
            "turns": [
                {"pupil": t.pupil, "terms": list(t.sum.terms), "consent": t.consent}
                for t in round.turns
            ],
        },
    }


@dataclass(frozen=True)
class TermTime:
    """One dictated term: its words, and its onset and offset in session samples."""

    text: str
    onset: int
    offset: int


@dataclass(frozen=True)
class Attempt:
    """One hearing of a pupil: guesses, the voice's place in session samples, the verdict."""

    words: str
    guesses: tuple[Guess, ...]
    onset: int | None
    offset: int | None
    verdict: Verdict
    value: int | None
    latency_s: float | None
    typed: bool = False


@dataclass(frozen=True)
class Correction:
    """A later verdict by the teacher's ear. ``value`` is what the teacher heard, if given."""

    verdict: Verdict
    value: int | None
    by: str
    when: str


@dataclass(frozen=True)
class Answered:
    """One turn as it went. ``ended`` is False for a turn that was cut short."""

    index: int
    pupil: str
    sum: Sum
    consent: bool
    start: int
    end: int
    terms: tuple[TermTime, ...] = ()
    attempts: tuple[Attempt, ...] = ()
    corrections: tuple[Correction, ...] = ()
    ended: bool = False

    @property
    def verdict(self) -> Verdict | None:
        """The verdict that counts: the last correction, else the last attempt's."""
        if self.corrections:
            return self.corrections[-1].verdict
        return self.attempts[-1].verdict if self.attempts else None

    @property
    def value(self) -> int | None:
        """The number that counts as answered; None when none was heard."""
        if self.corrections and self.corrections[-1].value is not None:
            return self.corrections[-1].value
        return self.attempts[-1].value if self.attempts else None

    @property
    def latency_s(self) -> float | None:
        """Seconds from the end of the last term to the voice; None without a first answer."""
        return self.attempts[0].latency_s if self.attempts else None


@dataclass(frozen=True)
class Session:
    """A session file's content. ``damage`` says in one line what could not be read, if anything."""

    header: Mapping[str, Any]
    round: Round
    events: tuple[Event, ...]
    options: Options
    turns: tuple[Answered, ...]
    audio: Pcm = field(repr=False)
    captions: str = field(default="", repr=False)
    damage: str = ""

    @property
    def sample_rate(self) -> int:
        return int(self.header["sample_rate"])

    @property
    def waiting(self) -> tuple[Answered, ...]:
        """The answers that wait for the teacher's ear."""
        return tuple(turn for turn in self.turns if turn.verdict is Verdict.UNCLEAR)


def open_session(path: Path) -> Session:
    """Read a finished session (a zip) or one that is running or was cut short (a directory).

    Raises SessionFileError with the file and what is wrong. Damage behind the header does not
    raise: everything before it is returned, and ``damage`` names it.
    """
    if path.is_dir():
        parts = {p.name: p.read_bytes() for p in path.iterdir() if p.is_file()}
    elif path.is_file():
        parts = _unzip(path)
    else:
        raise SessionFileError(f"{path}: there is no such session file")
    if "session.json" not in parts:
        raise SessionFileError(f"{path}: not a session file (it holds no session.json)")
    try:
        head = json.loads(parts["session.json"])
        schema = head["schema"]
        round_ = _round(head)
        options = Options.from_json(head["options"])
    except (ValueError, KeyError, TypeError) as error:
        raise SessionFileError(f"{path}: session.json cannot be read ({error!r})") from None
    if schema != SCHEMA:
        raise SessionFileError(
            f"{path}: schema {schema} is newer than this program knows ({SCHEMA})"
        )
    events, event_damage = _events(parts.get("events.jsonl", b""))
    audio, audio_damage = _audio(parts.get("audio.flac", b""))
    turns = fold(round_, events)
    unfinished = "" if any(e.type == "round_ended" for e in events) else "the round was cut short"
    damage = "; ".join(filter(None, (event_damage, audio_damage, unfinished)))
    captions = parts.get("captions.vtt", b"").decode("utf-8", "replace")
    return Session(head, round_, events, options, turns, audio, captions, damage)


def _unzip(path: Path) -> dict[str, bytes]:
    try:
        with zipfile.ZipFile(path) as archive:
            return {name: archive.read(name) for name in archive.namelist()}
    except (zipfile.BadZipFile, OSError) as error:
        raise SessionFileError(f"{path}: not a readable session file ({error})") from None


def _round(head: Mapping[str, Any]) -> Round:
    r = head["round"]
    turns = tuple(Turn(t["pupil"], Sum(tuple(t["terms"])), t["consent"]) for t in r["turns"])
    return Round(
        r["name"],
        head["created"],
        turns,
        r["step"],
        r["rule"],
        r["columns"],
        MoveOrder(r["move_order"]),
    )


def _events(raw: bytes) -> tuple[tuple[Event, ...], str]:
    """The events up to the first line that is none (a line cut by a crash, say)."""
    events: list[Event] = []
    for number, line in enumerate(raw.decode("utf-8", "replace").splitlines(), start=1):
        try:
            event = Event.decode(line)
        except SessionFileError:
            return tuple(events), f"events.jsonl is damaged from line {number} on"
        if event.seq != len(events):
            return tuple(events), f"events.jsonl misses an event before line {number}"
        events.append(event)
    return tuple(events), ""


def _audio(raw: bytes) -> tuple[Pcm, str]:
    """The sound, up to where it was cut."""
    chunks: list[Pcm] = [np.zeros((0, 2), dtype=np.int16)]
    try:
        with soundfile.SoundFile(io.BytesIO(raw)) as sound:
            if sound.channels != 2:
                return chunks[0], f"audio.flac has {sound.channels} channels, not 2"
            whole = 0 < sound.frames < 2**40  # a stream that was never closed has no length
            while len(chunk := sound.read(16_384 if whole else 64, dtype="int16")):
                chunks.append(chunk)
    except soundfile.LibsndfileError:
        return np.concatenate(chunks), "audio.flac ends early"
    return np.concatenate(chunks), ""


def fold(round_: Round, events: tuple[Event, ...]) -> tuple[Answered, ...]:
    """What the events say of each turn that was begun."""
    turns: dict[int, Answered] = {}
    heard: dict[str, Any] = {}
    for event in events:
        data = event.data
        index = data.get("turn")
        if event.type == "sum_begun":
            turn = round_.turns[data["turn"]]
            turns[data["turn"]] = Answered(
                data["turn"], turn.pupil, turn.sum, turn.consent, event.at, event.at
            )
            continue
        if index not in turns:
            continue
        now = replace(turns[index], end=max(turns[index].end, event.at))
        if event.type == "dictated":  # a repeated dictation starts the answer afresh
            terms = tuple(TermTime(t["text"], t["onset"], t["offset"]) for t in data["terms"])
            now = replace(now, terms=terms, attempts=())
        elif event.type == "heard":
            # silence after an early number: the early number is what was judged
            if data["onset"] is not None or not heard.get("early"):
                heard = dict(data)
        elif event.type == "judged":
            now = replace(now, attempts=(*now.attempts, _attempt(data, heard)))
            heard = {}
        elif event.type == "corrected":
            correction = Correction(
                Verdict(data["verdict"]), data["value"], data["by"], data["when"]
            )
            now = replace(now, corrections=(*now.corrections, correction))
        elif event.type == "sum_ended":
            now = replace(now, ended=True)
        turns[index] = now
    return tuple(turns[index] for index in sorted(turns))


def _attempt(judged: Mapping[str, Any], heard: Mapping[str, Any]) -> Attempt:
    return Attempt(
        words=heard.get("words", ""),
        guesses=tuple(
            Guess(g["value"], g["words"], g["confidence"]) for g in heard.get("guesses", ())
        ),
        onset=heard.get("onset"),
        offset=heard.get("offset"),
        verdict=Verdict(judged["verdict"]),
        value=judged["value"],
        latency_s=judged["latency_s"],
        typed=bool(judged.get("typed", False)),
    )
