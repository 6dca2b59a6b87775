"""A device that takes part in a class round: the round that runs on it and how far it is."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable

from oralquiz.judge import Verdict
from oralquiz.rounds import (
    Answered,
    Corrected,
    Event,
    Progress,
    Round,
    RoundEnded,
    Stage,
    SumEnded,
)
from oralquiz.web.browser_device import BrowserDevice
from oralquiz.web.device_messages import Show, ShowOver
from oralquiz.web.remote_round import RemoteRound


def counts_of(answers: Iterable[Answered]) -> dict[str, int]:
    """How many of each verdict."""
    found = Counter(answer.verdict for answer in answers)
    return {verdict.value: found[verdict] for verdict in Verdict}


class Participant:
    """``over``: its round has ended, with ``outcome`` on the page unless it ``failed``."""

    def __init__(self, remote: RemoteRound, device: BrowserDevice) -> None:
        self.remote = remote
        self.device = device
        self.visit = device.visit
        self.progress = Progress(remote.round)
        self.judged: dict[int, Answered] = {}
        """The turns that are over and have a verdict, with the verdict that counts."""
        self.over = False
        self.failed = False
        self.outcome: ShowOver | None = None
        self._at = 0

    @property
    def key(self) -> str:
        return self.remote.key

    @property
    def round(self) -> Round:
        return self.remote.round

    # --- what happens -----------------------------------------------------------------------

    def reached(self, at: int) -> None:
        """The round is at sample ``at``."""
        self._at = at
        self.progress.reached(at)

    def apply(self, at: int, event: Event) -> int | None:
        """Follow ``event``; returns the turn that it gave its first verdict that counts."""
        self._at = at
        self.progress.apply(at, event)
        turn = self._settled(event)
        found = self.progress.answered(turn) if turn is not None else None
        if turn is None or found is None or found.verdict is None:
            return None
        fresh = turn not in self.judged
        self.judged[turn] = found
        return turn if fresh else None

    def correct(self, corrected: Corrected) -> None:
        """Follow what was added to the finished session file."""
        self.apply(self._at, corrected)

    def _settled(self, event: Event) -> int | None:
        if isinstance(event, SumEnded | Corrected):
            return event.turn
        return self.progress.turn if isinstance(event, RoundEnded) else None

    # --- for the pages ----------------------------------------------------------------------

    def last_turn(self, pupil: str) -> int:
        """The turn of ``pupil`` that was begun last; -1 before the first."""
        turns = self.round.turns[: self.progress.turn + 1]
        return max((k for k, turn in enumerate(turns) if turn.pupil == pupil), default=-1)

    def stage(self, turn: int) -> Stage:
        """Where the round is as ``turn`` sees it: one that is over stays over."""
        if self.over:
            return Stage.OVER
        if turn < 0:
            return Stage.WAITING
        waits_for_room = self.remote.room and self.progress.stage is Stage.PAUSED
        if turn < self.progress.turn or (waits_for_room and self._has_ended(turn)):
            return Stage.ENDED
        return self.progress.stage

    def _has_ended(self, turn: int) -> bool:
        found = self.progress.answered(turn)
        return found is not None and found.ended

    def show(self, shown: Show) -> None:
        """Have the device's page show this, unless another round has begun on it."""
        if self.device.running is self.remote:
            self.device.show(shown)

    def end(self, shown: Show) -> None:
        """The round is over: the device stops streaming and shows this."""
        if self.device.running is self.remote:
            self.device.end()
            self.device.show(shown)
