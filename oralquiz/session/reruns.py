"""Run a recorded session again: the same machine, fed from the file, must give the same bytes.

The recorded sound stands in for the microphone and for what was read aloud; the recorded hearings
stand in for the recogniser (a recogniser on another machine may round differently); the teacher's
commands come at the same samples. The runner then has no freedom left but its own rules, so a
session file whose events do not come out again was altered, or judged by other rules. One whose
recording and events were changed together comes out again: this is no seal.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from oralquiz.errors import SessionFileError
from oralquiz.listen import Candidate, Hearing
from oralquiz.rounds import Command, Event, Runner, Turn
from oralquiz.session.file import Session
from oralquiz.sound import BLOCK, SESSION_RATE, Block, Clip, Pcm, Samples, from_pcm16, to_pcm16
from oralquiz.speak import Dictation, SpokenTerm

AFTERWARDS = frozenset({"corrected"})
"""Events added by hand, in the round or after it; they are kept, not run again."""


@dataclass(frozen=True, eq=False)
class Rerun:
    """The events and the sound (n, 2) that came out, and the first difference in words."""

    events: tuple[Event, ...]
    audio: Pcm
    difference: str


@dataclass(eq=False)
class _Memory:
    """A recorder that keeps everything in memory."""

    events: list[Event] = field(default_factory=list)
    said: list[Samples] = field(default_factory=list)
    heard: list[Samples] = field(default_factory=list)

    def event(self, at: int, type: str, data: Mapping[str, Any]) -> None:
        self.events.append(Event(len(self.events), at, type, data))

    def sound(self, said: Samples, heard: Samples) -> None:
        self.said.append(said)
        self.heard.append(heard)

    def audio(self) -> Pcm:
        if not self.said:
            return np.zeros((0, 2), dtype=np.int16)
        both = np.stack([np.concatenate(self.said), np.concatenate(self.heard)], axis=1)
        return to_pcm16(both)


class _Tape:
    """Everything of the outside world that the file remembers: each part of it is asked for in
    the order and at the samples at which it came the first time."""

    name = "recorded"
    sample_rate = SESSION_RATE

    def __init__(self, session: Session, events: list[Event]) -> None:
        self._audio = session.audio
        self._dictated = [event for event in events if event.type == "dictated"]
        self._asked = [event for event in events if event.type == "asked_again"]
        self._heard = [event for event in events if event.type == "heard"]
        self._commands = [event for event in events if event.type == "commanded"]
        self._judged = {e.at for e in events if e.type == "judged" and not e.data.get("typed")}
        self._starts: list[int] = []
        self._position = 0
        self._listening_from = 0
        self._latest = Hearing((), "", None, None)
        self.runner: Runner | None = None

    # the microphone

    def read(self) -> Block | None:
        start, self._position = self._position, self._position + BLOCK
        heard = self._audio[start : self._position, 1]
        if len(heard) < BLOCK:
            return None
        while self._commands and self._commands[0].at == self._position:
            data = self._commands.pop(0).data
            if self.runner is not None:
                self.runner.command(Command(data["name"], data.get("value"), data.get("why", "")))
        return Block(start, from_pcm16(heard))

    # the voice and the loudspeaker

    def _said(self, start: int, end: int) -> Samples:
        """The sound of start .. end; silence where a pause cut it off."""
        sound = from_pcm16(self._audio[start:end, 0])
        return np.concatenate([sound, np.zeros(end - start - len(sound), dtype=np.float32)])

    def dictation(self, turn: Turn) -> Dictation:
        data = self._next(self._dictated, "dictation")
        start = data["start"]
        self._starts.append(start)
        terms = tuple(
            SpokenTerm(t["text"], t["onset"] - start, t["offset"] - start) for t in data["terms"]
        )
        said = self._said(start, data["end"])
        return Dictation(turn.sum, data["pace_s"], SESSION_RATE, said, terms)

    def phrase(self, text: str) -> Clip:
        data = self._next(self._asked, "request to say it again")
        self._starts.append(data["start"])
        return Clip(self._said(data["start"], data["end"]), SESSION_RATE)

    def play(self, samples: Samples, at: int) -> int:
        return self._starts.pop(0)

    def stop(self) -> None:
        """Nothing plays."""

    def _next(self, events: list[Event], what: str) -> Mapping[str, Any]:
        if not events:
            raise SessionFileError(f"the recording holds no further {what}")
        return events.pop(0).data

    # the recogniser

    def listen(self, lowest: int, highest: int) -> _Tape:
        self._listening_from = self._position
        self._latest = Hearing((), "", None, None)
        return self

    @property
    def speaking(self) -> bool:
        """The recorded hearing tells when the wait was over, so the deadline must not; or the
        verdict, if nothing more was heard after a wrong number."""
        return self._position not in self._judged

    def feed(self, samples: Samples) -> Hearing | None:
        if not self._heard or self._heard[0].at != self._position:
            return None
        data = self._heard.pop(0).data
        candidates = tuple(
            Candidate(g["value"], g["words"], g["confidence"]) for g in data["guesses"]
        )
        onset_s, offset_s = self._since(data["onset"]), self._since(data["offset"])
        self._latest = Hearing(candidates, data["words"], onset_s, offset_s)
        return self._latest

    def finish(self) -> Hearing:
        return self._latest

    def _since(self, sample: int | None) -> float | None:
        return None if sample is None else (sample - self._listening_from) / SESSION_RATE


def rerun(session: Session) -> Rerun:
    """Run ``session`` again from its own recording.

    ``difference`` is empty when every event comes out byte for byte and every sample is equal.
    """
    kept = [event for event in session.events if event.type not in AFTERWARDS]
    before = [replace(event, seq=number) for number, event in enumerate(kept)]
    tape, memory = _Tape(session, before), _Memory()
    tape.runner = Runner(session.round, tape, tape, tape, memory, session.options)
    try:
        while (block := tape.read()) is not None:
            tape.runner.take(block)
        tape.runner.close(_why_ended(before))  # unless it ended by itself
    except (SessionFileError, IndexError) as error:
        return Rerun(tuple(memory.events), memory.audio(), f"the recording does not go on: {error}")
    audio = memory.audio()
    return Rerun(tuple(memory.events), audio, _difference(session, before, memory.events, audio))


def _why_ended(events: list[Event]) -> str:
    """What the round was ended for, from outside the runner, if it was."""
    last = events[-1] if events else None
    return str(last.data["why"]) if last and last.type == "round_ended" else "the sound ended"


def _difference(session: Session, before: list[Event], after: list[Event], audio: Pcm) -> str:
    whole = any(event.type == "round_ended" for event in before)
    if not whole:  # cut short: what came before the sound's end must come out again
        before = [event for event in before if event.at < len(audio)]
        after = after[: len(before)]
    for one, other in zip(before, after, strict=False):
        if one.encode() != other.encode():
            return f"event {one.seq} was {one.encode()}, is now {other.encode()}"
    if len(before) != len(after):
        return f"{len(before)} events were recorded, {len(after)} came out"
    count = min(len(audio), len(session.audio))
    if (whole and len(audio) != len(session.audio)) or not np.array_equal(
        audio[:count], session.audio[:count]
    ):
        return "the sound is not the same"
    return ""
