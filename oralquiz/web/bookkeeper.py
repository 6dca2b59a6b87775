"""Puts rounds into the records: finished ones, corrections to them, and what a crash left."""

from __future__ import annotations

import asyncio
import sqlite3
from collections.abc import Awaitable, Callable
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path

from sqlite_utils import Database

from oralquiz.beads import Syllabus
from oralquiz.compose import counted
from oralquiz.errors import OralquizError
from oralquiz.judge import Verdict
from oralquiz.records import follow_new, import_session, store_file, waiting
from oralquiz.session import BeingHeld, correct
from oralquiz.web.background import Background
from oralquiz.web.class_round import TEACHER, ClassRound
from oralquiz.web.inbox import TeacherVerdict
from oralquiz.web.participant import Participant
from oralquiz.web.records_thread import RecordsThread
from oralquiz.web.spare_memory import give_back

NOT_KEPT = (OralquizError, OSError, sqlite3.Error)
"""What can keep something from the records."""


class Bookkeeper:
    """``sessions`` is the folder of the session files; ``changed`` is called when there is
    something new to show; ``syllabus`` is the course that is taught."""

    def __init__(
        self,
        records: RecordsThread,
        sessions: Path,
        background: Background,
        changed: Callable[[], None],
        syllabus: Callable[[], Syllabus],
    ) -> None:
        self._records = records
        self._syllabus = syllabus
        self._sessions = sessions
        self._background = background
        self._changed = changed
        self._closing = False
        self._storing = 0
        self._entering = asyncio.Lock()

    def close(self) -> None:
        """Start no new work."""
        self._closing = True

    # --- a round that is over ---------------------------------------------------------------

    def finished(self, class_round: ClassRound, participant: Participant) -> None:
        """Put a participant's session into the records; of one that failed, what is left."""
        file = participant.remote.file
        if participant.failed:
            self._background.run(self._keep(class_round, self._enter_left()))
        if file is not None:
            saving = self._save(class_round, participant, file)
            self._background.run(self._keep(class_round, saving))
        self._changed()

    async def _save(self, class_round: ClassRound, participant: Participant, file: Path) -> None:
        self._storing += 1
        try:
            class_round.saved(participant, await self._records.do(_store_file, file))
            await self.follow_pupils()
        finally:
            self._storing -= 1
        if not self._storing:  # the last of a class
            await asyncio.to_thread(give_back)

    async def follow_pupils(self) -> None:
        """Take new answers into what practice knows of each pupil. When that fails, it is done
        at the pupil's next practice."""
        with suppress(*NOT_KEPT):
            await self._records.apart(follow_new, self._syllabus())

    async def _enter_left(self) -> None:
        async with self._entering:  # all rounds of a process that dies fail at once
            await self.enter_waiting()

    async def _keep(self, class_round: ClassRound, work: Awaitable[None]) -> None:
        """Do ``work``; if something keeps it from the records, the round's page says so."""
        try:
            await work
        except NOT_KEPT as error:
            class_round.trouble = f"This is not in the records: {error}"
        self._changed()

    # --- corrections ------------------------------------------------------------------------

    async def correct(
        self, class_round: ClassRound, number: int, verdict: str, value: int | None
    ) -> None:
        """Add the teacher's verdict on an answer of ``class_round``. Raises BadInput."""
        wanted = class_round.verdict_on(number, verdict, value)
        participant, _ = class_round.judged[number]
        if participant.remote.over and participant.remote.file is not None:
            await self._correct_finished(class_round, participant, wanted)
        else:
            participant.remote.correct(wanted)

    def too_late(
        self, class_round: ClassRound, participant: Participant, verdict: TeacherVerdict
    ) -> None:
        """Add ``verdict`` to the finished file: it came while that was being finished."""
        adding = self._correct_finished(class_round, participant, verdict)
        self._background.run(self._keep(class_round, adding))

    async def _correct_finished(
        self, class_round: ClassRound, participant: Participant, verdict: TeacherVerdict
    ) -> None:
        file = participant.remote.file
        if file is not None:
            await self.correct_file(file, verdict.turn, verdict.verdict, verdict.value)
            class_round.corrected(participant, verdict)

    async def correct_file(
        self, file: Path, turn: int, verdict: Verdict, value: int | None
    ) -> None:
        """Add the teacher's verdict on a turn of a finished session. Raises BadInput."""
        when = datetime.now(UTC).isoformat(timespec="seconds")
        await self._records.do(_correct_file, file, turn, verdict, value, when)
        self._background.run(self.follow_pupils())
        self._changed()

    # --- what was left over -----------------------------------------------------------------

    async def enter_waiting(self) -> str:
        """Enter what a crash or a busy database kept out of the records. Returns one line that says
        so, empty if there was nothing."""
        new = failed = 0
        try:
            for path in await self._records.apart(waiting, self._sessions):
                if self._closing:
                    break
                try:
                    entered = await self._records.apart(import_session, path, self._sessions)
                    new += entered.new
                except BeingHeld:
                    continue  # somebody else has just begun to enter it
                except NOT_KEPT:
                    failed += 1
        except NOT_KEPT:
            failed += 1
        await self.follow_pupils()
        self._changed()
        said = []
        if new:
            sessions = counted(new, "session")
            said.append(f"{sessions} had not reached the records; now in the results.")
        if failed:
            sessions = counted(failed, "session")
            said.append(f"{sessions} cannot be entered: `oralquiz enter` says why.")
        return " ".join(said)


def _store_file(db: Database, file: Path) -> str:
    return str(store_file(db, file).header["id"])


def _correct_file(
    db: Database, file: Path, turn: int, verdict: Verdict, value: int | None, when: str
) -> None:
    correct(file, turn, verdict, by=TEACHER, when=when, value=value)
    store_file(db, file)
