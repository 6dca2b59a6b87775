"""A round of practice: its sums and why they were chosen, and, sum by sum, its pace."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from threading import Lock

from oralquiz.learn import Practice
from oralquiz.rounds import Answered, Round, TakesPart, Turn

NAME = "Practice"


def _now() -> datetime:
    return datetime.now().astimezone()


class PracticeRound:
    """``count`` sums for ``pupil``, up to ``step``; each answer changes the pace of the sums after
    it. Safe to use from several threads.

    ``practice`` is a copy for this round: what lasts is worked out from the records.
    """

    def __init__(
        self,
        practice: Practice,
        pupil: TakesPart,
        step: str,
        count: int,
        now: Callable[[], datetime] = _now,
    ) -> None:
        self._practice = practice
        self._now = now
        self._lock = Lock()
        self._tasks = practice.plan(count, now())
        turns = tuple(
            Turn(pupil.name, task.sum, pupil.consent, task.rule, task.reason)
            for task in self._tasks
        )
        created = datetime.now(UTC).isoformat(timespec="seconds")
        self.round = Round(NAME, created, turns, step, "", practice.columns, place="home")

    def pace_s(self) -> float:
        """The pace of the next sum: seconds from the onset of a term to the next onset."""
        with self._lock:
            return self._practice.pace(self._now())

    def slower(self) -> None:
        """The pupil asks for a slower pace."""
        with self._lock:
            self._practice.slower()

    def tell(self, answered: Answered | None) -> None:
        """A sum is over. One that was skipped or never read tells nothing."""
        if answered is None or answered.verdict is None or answered.pace_s is None:
            return
        task = replace(self._tasks[answered.index], pace_s=answered.pace_s)
        with self._lock:
            self._practice.tell(
                task, answered.verdict, answered.value, answered.speed_s, self._now()
            )
