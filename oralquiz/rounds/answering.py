"""How one sum is answered: what is heard, until it can be judged."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from oralquiz.judge import (
    Decision,
    Next,
    Verdict,
    combine_hearings,
    decide,
    judge,
    latency_s,
    probability_right,
    wrong_answers,
)
from oralquiz.listen import Hearing, Listener, Recognizer
from oralquiz.rounds.events import Guess, Heard, Judged
from oralquiz.rounds.round import Options, Turn
from oralquiz.sound import SESSION_RATE, Samples, samples_in


class Answering:
    """The answer to one sum, over all attempts at it; a new one begins when the sum is read again.

    It decides when the answer is over and what the verdict is, and gives both as events; it plays
    and records nothing. Positions are samples of the session. ``index`` is the turn's,
    ``highest`` the largest number that the frame shows, ``sum_ends`` the sample after the last
    spoken term.
    """

    def __init__(
        self,
        index: int,
        turn: Turn,
        highest: int,
        sum_ends: int,
        options: Options,
        recognizer: Recognizer,
    ) -> None:
        self.sum_ends = sum_ends
        self.attempt = 0
        self.next: Next | None = None
        """What follows from the attempt; None while it goes on."""
        self._index = index
        self._answer = turn.sum.answer
        self._highest = highest
        self._options = options
        self._recognizer = recognizer
        self._deadline = sum_ends + samples_in(options.answer_within_s)
        self._listener: Listener | None = None
        self._listen_from = 0
        self._listen_until = 0
        self._hearings: list[Hearing] = []  # one of each attempt that was judged
        self._early: tuple[Hearing, int] | None = None  # said before the sum was over; its onset
        self._wrong: Hearing | None = None  # may yet be taken back
        self._right: Hearing | None = None  # clearly, and yet about to be asked about
        columns = len(str(highest))
        self._slips = wrong_answers(turn.sum, columns) if options.policy.asks_alike else {}

    def listen(self, at: int) -> None:
        """Listen from sample ``at`` on."""
        self.next = None
        self._wrong = self._right = None
        self._listen_from, self._listen_until = at, self._deadline
        self._listener = self._recognizer.listen(0, self._highest)

    def listen_again(self, at: int) -> None:
        """Listen to another attempt, for as long as to the first."""
        self._deadline = at + samples_in(self._options.answer_within_s)
        self.listen(at)

    def nothing_before(self, at: int) -> int:
        """The position, after ``at``, before which ``hear`` can give no event."""
        assert self._listener is not None
        if self._right is not None:
            return self._listen_until
        return min(self._listen_until, at + self._listener.at_once)

    def hear(self, samples: Samples, at: int) -> list[Heard | Judged]:
        """Take the next ``samples`` (n,), which end at ``at``; returns what became of the answer.

        Where the last event is a verdict, ``next`` says what follows from it.
        """
        assert self._listener is not None
        if self._right is not None:
            return self._asked_nevertheless(self._right, at)
        hearing = self._listened(self._listener, samples, at)
        if hearing is None:
            return []
        if self._wrong is not None and self._nothing_since(hearing):
            return [self._judged(self._wrong, self._on_clock(self._wrong.onset_s))]
        return self._heard(as_recorded(hearing), at)

    def typed(self, value: int, at: int) -> Judged:
        """The verdict on ``value``, typed at ``at``: certain; its latency includes the typing."""
        verdict = Verdict.RIGHT if value == self._answer else Verdict.WRONG
        latency = latency_s(self.sum_ends, at, SESSION_RATE)
        return Judged(self._index, self.attempt, verdict, value, latency, typed=True)

    def end(self) -> None:
        """Nothing more is listened to."""
        self._listener = None

    def _listened(self, listener: Listener, samples: Samples, at: int) -> Hearing | None:
        """The hearing, as soon as nothing more is waited for."""
        hearing = listener.feed(samples)
        if hearing is not None and not self._nothing_since(hearing):
            return hearing
        if at < self._listen_until:
            return None
        late = at >= self._listen_until + samples_in(self._options.hear_out_s)
        return listener.finish() if late or not listener.speaking else None

    def _nothing_since(self, hearing: Hearing) -> bool:
        """Whether no more was heard since the wrong number that may be taken back."""
        return self._wrong is not None and hearing.offset_s == self._wrong.offset_s

    def _heard(self, hearing: Hearing, at: int) -> list[Heard | Judged]:
        onset, offset = self._on_clock(hearing.onset_s), self._on_clock(hearing.offset_s)
        early = onset is not None and onset < self.sum_ends
        guesses = tuple(Guess(g.value, g.words, g.confidence) for g in hearing.candidates)
        heard = Heard(self._index, self.attempt, hearing.words, guesses, onset, offset, early)
        verdict = self._verdict_so_far(hearing)
        if onset is not None and early and verdict is not Verdict.RIGHT:
            # perhaps a total said to oneself: it counts only if nothing follows
            self._early = (hearing, onset)
            self.listen(at)
            return [heard]
        decision = self._decision([*self._hearings, hearing])
        clear = decision.part or (verdict is Verdict.WRONG and not decision.asks)
        if hearing.candidates and clear and self._waits(hearing, at):
            right = verdict is Verdict.RIGHT
            self._wrong, self._right = (None, hearing) if right else (hearing, None)
            return [heard]
        return [heard, self._judged(hearing, onset)]

    def _waits(self, hearing: Hearing, at: int) -> bool:
        """Whether a wrong number may still be taken back, so that it is not marked yet. A right one
        that may be asked about like it waits as long, so that the time tells nothing."""
        offset = self._on_clock(hearing.offset_s)
        assert offset is not None
        until = offset + samples_in(self._options.take_back_s)
        too_late = at >= self._deadline + samples_in(self._options.hear_out_s)
        if until <= at or too_late:
            return False
        self._listen_until = until
        return True

    def _asked_nevertheless(self, right: Hearing, at: int) -> list[Heard | Judged]:
        """What is said meanwhile changes nothing: the answer is right."""
        over = at >= self._listen_until
        return [self._judged(right, self._on_clock(right.onset_s))] if over else []

    def _judged(self, hearing: Hearing, onset: int | None) -> Judged:
        """The verdict: nothing more is waited for. ``onset``: of the answer."""
        self.end()
        if not hearing.voiced and self._early is not None:
            hearing, onset = self._early
        self._early = None
        self._hearings.append(hearing)
        decision = self._decision(self._hearings)
        # the latency of a second try says nothing about the speed of the answer
        latency = None if self.attempt else latency_s(self.sum_ends, onset, SESSION_RATE)
        policy, numbers = self._options.policy, self._numbers
        right = probability_right(decision.hearing, self._answer, policy, numbers)
        place, value = (self._index, self.attempt), decision.hearing.value
        self.next = decision.next
        if self.next is Next.ASK_AGAIN:
            self.attempt += 1
        return Judged(*place, decision.verdict, value, latency, round(right, 6))

    def _decision(self, hearings: Sequence[Hearing]) -> Decision:
        policy, asks = self._options.policy, self._options.asks
        return decide(hearings, self._answer, policy, asks, self._numbers, self._slips)

    def _verdict_so_far(self, hearing: Hearing) -> Verdict:
        """The verdict on all attempts, ``hearing`` the last of them."""
        attempts = combine_hearings([*self._hearings, hearing], self._numbers)
        return judge(attempts, self._answer, self._options.policy, numbers=self._numbers)

    @property
    def _numbers(self) -> int:
        """How many numbers could be said."""
        return self._highest + 1

    def _on_clock(self, time_s: float | None) -> int | None:
        return None if time_s is None else self._listen_from + samples_in(time_s)


def as_recorded(hearing: Hearing) -> Hearing:
    """``hearing`` with confidences to 6 decimals, as the file has them: what the file says is what
    is judged, now and when it is run again."""
    candidates = tuple(replace(g, confidence=round(g.confidence, 6)) for g in hearing.candidates)
    return replace(hearing, candidates=candidates)
