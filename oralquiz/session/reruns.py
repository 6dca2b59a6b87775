"""Run a recorded session again: the same machine, fed from the file, must give the same bytes.

The recorded sound stands in for the microphone and for what was read aloud; the recorded hearings
stand in for the recogniser (a recogniser on another machine may round differently); the teacher's
commands come at the same samples. The runner then has no freedom left but its own rules, so a
session file whose events do not come out again was altered, or judged by other rules. One whose
recording and events were changed together comes out again: this is not a seal.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from typing import TypeVar

import numpy as np

from oralquiz.errors import SessionFileError
from oralquiz.listen import Candidate, Hearing
from oralquiz.rounds import (
    AskedAgain,
    Command,
    Commanded,
    Corrected,
    Dictated,
    Entry,
    Event,
    Heard,
    Judged,
    RoundEnded,
    Runner,
    Turn,
)
from oralquiz.session.file import Session
from oralquiz.session.recorder import QUICK_BLOCK
from oralquiz.sound import BLOCK, SESSION_RATE, Block, Clip, Pcm, Samples, from_pcm16, to_pcm16
from oralquiz.speak import Dictation, SpokenTerm

Kind = TypeVar("Kind", bound=Event)


@dataclass(frozen=True, eq=False)
class Rerun:
    """The events and the sound (n, 2) that came out, and the first difference in words."""

    events: tuple[Entry, ...]
    audio: Pcm
    difference: str


@dataclass(eq=False)
class _Memory:
    """A recorder that keeps everything in memory."""

    events: list[Entry] = field(default_factory=list)
    said: list[Samples] = field(default_factory=list)
    heard: list[Samples] = field(default_factory=list)

    def event(self, at: int, event: Event) -> None:
        self.events.append(Entry(len(self.events), at, event))

    def sound(self, said: Samples, heard: Samples) -> None:
        self.said.append(said)
        self.heard.append(heard)

    def audio(self) -> Pcm:
        if not self.said:
            return np.zeros((0, 2), dtype=np.int16)
        both = np.stack([np.concatenate(self.said), np.concatenate(self.heard)], axis=1)
        return to_pcm16(both)


class _Tape:
    """All that the file remembers of the outside world: each part of it comes in the order and at
    the samples at which it came the first time."""

    name = "recorded"
    sample_rate = SESSION_RATE

    def __init__(self, session: Session, events: list[Entry]) -> None:
        self._audio = session.audio
        self._dictated = _only(Dictated, events)
        self._asked = _only(AskedAgain, events)
        self._heard = _only(Heard, events)
        self._commands = _only(Commanded, events)
        self._judged = {at for at, judged in _only(Judged, events) if not judged.typed}
        self._starts: deque[int] = deque()
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
        while self._commands and self._commands[0][0] == self._position:
            _, commanded = self._commands.popleft()
            if self.runner is not None:
                self.runner.command(Command(commanded.name, commanded.value, commanded.why))
        return Block(start, from_pcm16(heard))

    # the voice and the loudspeaker

    def _said(self, start: int, end: int) -> Samples:
        """The sound of start .. end; silence where a pause cut it off."""
        sound = from_pcm16(self._audio[start:end, 0])
        return np.concatenate([sound, np.zeros(end - start - len(sound), dtype=np.float32)])

    def dictation(self, turn: Turn) -> Dictation:
        dictated = self._next(self._dictated, "dictation")
        start = dictated.start
        self._starts.append(start)
        terms = tuple(SpokenTerm(t.text, t.onset - start, t.offset - start) for t in dictated.terms)
        said = self._said(start, dictated.end)
        return Dictation(turn.sum, dictated.pace_s, SESSION_RATE, said, terms)

    def phrase(self, text: str) -> Clip:
        asked = self._next(self._asked, "request to say it again")
        self._starts.append(asked.start)
        return Clip(self._said(asked.start, asked.end), SESSION_RATE)

    def play(self, samples: Samples, at: int) -> int:
        return self._starts.popleft()

    def stop(self) -> None:
        """Nothing plays."""

    def _next(self, events: deque[tuple[int, Kind]], what: str) -> Kind:
        if not events:
            raise SessionFileError(f"the recording holds no further {what}")
        return events.popleft()[1]

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

    @property
    def at_once(self) -> int:
        """0: what was heard is given at the very block at which it was recorded."""
        return 0

    def feed(self, samples: Samples) -> Hearing | None:
        if not self._heard or self._heard[0][0] != self._position:
            return None
        _, heard = self._heard.popleft()
        candidates = tuple(Candidate(g.value, g.words, g.confidence) for g in heard.guesses)
        onset_s, offset_s = self._since(heard.onset), self._since(heard.offset)
        self._latest = Hearing(candidates, heard.words, onset_s, offset_s)
        return self._latest

    def finish(self) -> Hearing:
        return self._latest

    def _since(self, sample: int | None) -> float | None:
        return None if sample is None else (sample - self._listening_from) / SESSION_RATE


def _only(kind: type[Kind], entries: Iterable[Entry]) -> deque[tuple[int, Kind]]:
    """The events of one kind, each with the sample at which it was known."""
    return deque((entry.at, entry.event) for entry in entries if isinstance(entry.event, kind))


def rerun(session: Session) -> Rerun:
    """Run ``session`` again from its own recording.

    ``difference`` is empty when every event comes out byte for byte and every sample is equal.
    """
    # what the teacher's ear added, in the round or after it, is kept and not run again
    kept = [entry for entry in session.events if not isinstance(entry.event, Corrected)]
    before = [replace(event, seq=number) for number, event in enumerate(kept)]
    tape, memory = _Tape(session, before), _Memory()
    tape.runner = Runner(
        session.round, tape, tape, tape, memory, session.options, typed_waits=False
    )
    try:
        while (block := tape.read()) is not None:
            tape.runner.take(block)
        tape.runner.close(_why_ended(before))  # unless it ended by itself
    except (SessionFileError, IndexError) as error:
        return Rerun(tuple(memory.events), memory.audio(), f"the recording does not go on: {error}")
    audio = memory.audio()
    return Rerun(tuple(memory.events), audio, _difference(session, before, memory.events, audio))


def _why_ended(events: list[Entry]) -> str:
    """Why the round was ended from outside the runner, if it was."""
    last = events[-1].event if events else None
    return last.why if isinstance(last, RoundEnded) else "the sound ended"


def _difference(session: Session, before: list[Entry], after: list[Entry], audio: Pcm) -> str:
    whole = any(isinstance(entry.event, RoundEnded) for entry in before)
    if whole and 0 < before[-1].at - len(session.audio) <= QUICK_BLOCK + BLOCK:
        whole = False  # the crash came after the last event, and cost the sound before it
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
