"""What the events of a round say, turn by turn: the one fold behind everything that shows a round,
while it is held (page, projector, terminal) and afterwards (file, records)."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from enum import StrEnum

from oralquiz.beads import Sum
from oralquiz.judge import Verdict
from oralquiz.listen import Candidate
from oralquiz.rounds.control_characters import without_controls
from oralquiz.rounds.events import (
    AskedAgain,
    Commanded,
    Corrected,
    Dictated,
    Entry,
    Event,
    Heard,
    Judged,
    OfTurn,
    RoundEnded,
    SumBegun,
    SumEnded,
    TermTime,
)
from oralquiz.rounds.round import Round, Turn


class Stage(StrEnum):
    """Where a round is."""

    WAITING = "waiting"
    """Nothing has been asked yet."""
    READING = "reading"
    """The sum is being read, or is about to be."""
    ANSWERING = "answering"
    """The last term has been said."""
    ASKED_AGAIN = "asked again"
    """The answer was not clear, and is awaited once more."""
    ENDED = "ended"
    """The sum is over, the next one comes."""
    PAUSED = "paused"
    OVER = "over"
    """The round has ended."""


@dataclass(frozen=True)
class Attempt:
    """One hearing of a pupil: candidates, the voice's place in session samples, the verdict."""

    words: str
    candidates: tuple[Candidate, ...]
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
    pace_s: float | None = None
    """At which it was read last; None when it was not read to the end."""

    @property
    def verdict(self) -> Verdict | None:
        """The verdict that counts: the last correction, else the last attempt's."""
        if self.corrections:
            return self.corrections[-1].verdict
        return self.attempts[-1].verdict if self.attempts else None

    @property
    def value(self) -> int | None:
        """The number that counts as answered; None when none was heard, or when the teacher's
        verdict goes against the number that was heard and names no other."""
        heard = self.attempts[-1].value if self.attempts else None
        if not self.corrections:
            return heard
        ear = self.corrections[-1]
        return ear.value if ear.value is not None else fitting(heard, ear.verdict, self.sum.answer)

    @property
    def latency_s(self) -> float | None:
        """Seconds from the end of the last term to the voice; None without a first answer."""
        return self.attempts[0].latency_s if self.attempts else None

    @property
    def speed_s(self) -> float | None:
        """``latency_s`` where it tells how quick the pupil is: not after silence, not for an answer
        that was asked for twice or typed."""
        judged = self.verdict in (Verdict.RIGHT, Verdict.WRONG)
        return self.latency_s if judged and len(self.attempts) == 1 and not self.typed else None

    @property
    def typed(self) -> bool:
        """Whether it was given by hand."""
        return any(attempt.typed for attempt in self.attempts)


def fitting(heard: int | None, verdict: Verdict, answer: int) -> int | None:
    """The number that goes with a verdict by ear without one, where the machine had ``heard``."""
    if verdict is Verdict.RIGHT:
        return answer
    if verdict is Verdict.SILENT or (verdict is Verdict.WRONG and heard == answer):
        return None
    return heard


class Progress:
    """How far ``round`` is. ``apply`` takes its events in order."""

    def __init__(self, round: Round) -> None:
        self.stage = Stage.WAITING
        self.turn = -1
        """The turn that was begun last; -1 before the first."""
        self.term = -1
        """The term of it that was read last; -1 before the first."""
        self.why_ended = ""
        self._round = round
        self._turns: dict[int, _Turn] = {}

    @classmethod
    def of(cls, round: Round, entries: Iterable[Entry]) -> Progress:
        """What ``entries`` say of ``round``."""
        progress = cls(round)
        for entry in entries:
            progress.apply(entry.at, entry.event)
        return progress

    @property
    def turns(self) -> tuple[Answered, ...]:
        """Every turn that was begun, in the round's order."""
        return tuple(self._turns[index].answered() for index in sorted(self._turns))

    @property
    def now(self) -> Answered | None:
        """The turn that was begun last."""
        return self.answered(self.turn)

    def answered(self, index: int) -> Answered | None:
        """Turn ``index``; None until it is begun."""
        return self._turns[index].answered() if index in self._turns else None

    @property
    def heard(self) -> Heard | None:
        """What was heard last in the present turn and still stands, whether judged yet or not."""
        turn = self._turns.get(self.turn)
        return turn.heard if turn is not None else None

    def apply(self, at: int, event: Event) -> None:
        """Take in ``event``, which became known at sample ``at``; ignored if its turn was never
        begun."""
        self.reached(at)
        if isinstance(event, SumBegun):
            self._turns[event.turn] = _Turn(event.turn, self._round.turns[event.turn], at, at)
            self.turn, self.term, self.stage = event.turn, -1, Stage.READING
        elif isinstance(event, OfTurn | Commanded) and event.turn in self._turns:
            self._turns[event.turn].apply(at, event)
        self.stage = self._stage_after(event)

    def correct(self, corrected: Corrected) -> None:
        """Take in the teacher's later verdict on a turn, whenever it was given."""
        if corrected.turn in self._turns:
            self._turns[corrected.turn].apply(0, corrected)

    def reached(self, at: int) -> None:
        """The session is at sample ``at``: between two events, a term may have been said."""
        if self.stage is Stage.READING and self.turn in self._turns:
            terms = self._turns[self.turn].terms
            self.term = sum(term.onset <= at for term in terms) - 1
            if terms and at >= terms[-1].offset:
                self.stage = Stage.ANSWERING

    def _stage_after(self, event: Event) -> Stage:
        if isinstance(event, Dictated):
            self.term = -1
            return Stage.READING
        if isinstance(event, AskedAgain):
            return Stage.ASKED_AGAIN
        if isinstance(event, SumEnded):
            return Stage.ENDED
        if isinstance(event, RoundEnded):
            self.why_ended = event.why
            return Stage.OVER
        if isinstance(event, Commanded) and event.name == "pause":
            return Stage.PAUSED
        if isinstance(event, Commanded) and event.name == "resume" and self._has_ended:
            return Stage.ENDED
        return self.stage

    @property
    def _has_ended(self) -> bool:
        turn = self._turns.get(self.turn)
        return turn is not None and turn.ended


@dataclass(eq=False)
class _Turn:
    """A turn that is being put together."""

    index: int
    turn: Turn
    start: int
    end: int
    terms: tuple[TermTime, ...] = ()
    attempts: list[Attempt] = field(default_factory=list)
    corrections: list[Correction] = field(default_factory=list)
    heard: Heard | None = None
    judged: bool = False
    ended: bool = False
    pace_s: float | None = None

    def answered(self) -> Answered:
        turn = self.turn
        tried, corrected = tuple(self.attempts), tuple(self.corrections)
        place = (self.index, turn.pupil, turn.sum, turn.consent, self.start, self.end)
        return Answered(*place, self.terms, tried, corrected, self.ended, self.pace_s)

    def apply(self, at: int, event: Event) -> None:
        self.end = max(self.end, at)
        if isinstance(event, Dictated):
            self._read(event)
        elif isinstance(event, Heard):
            self._hear(event)
        elif isinstance(event, Judged):
            self.attempts.append(_attempt(event, None if self.judged else self.heard))
            self.judged = True
        elif isinstance(event, Corrected):
            ear = Correction(event.verdict, event.value, event.by, event.when)
            self.corrections.append(ear)
        elif isinstance(event, SumEnded):
            self.ended = True

    def _read(self, dictated: Dictated) -> None:
        """Once a sum is read again, its answer starts afresh."""
        self.terms = tuple(
            TermTime(without_controls(term.text), term.onset, term.offset)
            for term in dictated.terms
        )
        self.pace_s = dictated.pace_s
        self.attempts.clear()
        self.heard, self.judged = None, False

    def _hear(self, heard: Heard) -> None:
        """Silence after an early number changes nothing: the early number is what is judged."""
        standing = None if self.judged else self.heard
        if heard.onset is not None or standing is None or not standing.early:
            self.heard = heard
        self.judged = False


def _attempt(judged: Judged, heard: Heard | None) -> Attempt:
    given = (judged.verdict, judged.value, judged.latency_s, judged.typed)
    if heard is None:
        return Attempt("", (), None, None, *given)
    candidates = tuple(
        Candidate(guess.value, without_controls(guess.words), guess.confidence)
        for guess in heard.guesses
    )
    return Attempt(without_controls(heard.words), candidates, heard.onset, heard.offset, *given)
