"""The state behind all pages, put together from its parts. Lives on one event loop."""

from __future__ import annotations

import asyncio
import time
from concurrent.futures import Executor, ThreadPoolExecutor
from pathlib import Path

from oralquiz.beads import Syllabus
from oralquiz.compose import load_syllabus
from oralquiz.errors import BadInput
from oralquiz.records import Erased, Pupil, erase_pupil, had_lately, pupils
from oralquiz.rounds import RoundPlan, Way
from oralquiz.web.assembly import Assembly, Tools
from oralquiz.web.attempt_limits import AttemptLimits
from oralquiz.web.background import Background
from oralquiz.web.bookkeeper import Bookkeeper
from oralquiz.web.browser_device import BrowserDevice
from oralquiz.web.class_round import ClassRound
from oralquiz.web.conductor import Conductor
from oralquiz.web.credentials import Codes, Keys, Passphrases
from oralquiz.web.live_messages import Front, Live, Wall
from oralquiz.web.live_view import live_round, wall_round
from oralquiz.web.page_stream import Now
from oralquiz.web.publisher import Publisher
from oralquiz.web.records_thread import RecordsThread
from oralquiz.web.roster import Roster
from oralquiz.web.visits import Visits


class Classroom:
    """Who is here (``roster``), what is held (``conductor``), who watches (``publisher``), what is
    written down (``bookkeeper``), and what the teacher's pages have chosen."""

    def __init__(
        self,
        keys: Keys,
        records: RecordsThread,
        sessions: Path,
        tools: Tools,
        *,
        codes: Codes | None = None,
        course: str = "two-hands",
        ahead: Executor | None = None,
        now: Now = time.monotonic,
    ) -> None:
        self.keys = keys
        self.records = records
        self.sessions = sessions
        self.course = course
        self.now = now
        self.network_url = ""
        """Where tablets find this server; empty while it serves this computer only."""
        self.fingerprint = ""
        self.passphrases = Passphrases()
        self.checking = asyncio.Lock()
        self.attempts = AttemptLimits(now)
        self.visits = Visits(keys.path.with_name("ended.json"))
        self.class_name = ""
        """The class that the teacher's pages show."""
        self.plan: RoundPlan | None = None
        self.planned_for: str | None = None
        """The class that the round was planned for, whichever is looked at since (None: that
        one)."""
        self.chosen: frozenset[int] = frozenset()
        """The pupils chosen for the planned round; empty: everyone who is there."""
        self.background = Background()
        self.publisher = Publisher(self._live, self._wall)
        self.roster = Roster(codes or Codes(), self._device_changed)
        self.bookkeeper = Bookkeeper(
            records, sessions, self.background, self.publisher.changed, lambda: self.syllabus
        )
        self.assembly = Assembly(
            tools,
            sessions,
            self.roster.front,
            ahead or ThreadPoolExecutor(1, "ahead"),
            self.background,
            now,
        )
        self.conductor = Conductor(
            self.roster, self.assembly, self.bookkeeper, self.background, self.publisher.changed
        )

    @property
    def syllabus(self) -> Syllabus:
        return load_syllabus(self.course)

    @property
    def codes(self) -> Codes:
        return self.roster.codes

    @property
    def class_round(self) -> ClassRound | None:
        """The round being held in class, or else the last one."""
        return self.conductor.class_round

    async def close(self) -> None:
        """End every round, keep what was held, let go of threads and records."""
        self.bookkeeper.close()
        await self.conductor.close()
        await self.background.done(quietly=True)
        await self.assembly.close()
        self.records.close()
        self.codes.cards.close()

    # --- pupils -----------------------------------------------------------------------------

    async def pupil(self, number: int) -> Pupil | None:
        everyone = await self.records.do(pupils)
        return next((p for p in everyone if p.id == number), None)

    async def erase(self, pupil: Pupil) -> Erased:
        """Erase ``pupil`` for good. Raises OralquizError, with nothing erased, while a round with
        the pupil is being held, in class or by another program."""
        await self.conductor.forget(pupil)
        erased = await self.records.apart(erase_pupil, pupil.name, self.sessions)
        self.publisher.changed()
        return erased

    # --- the planned round ------------------------------------------------------------------

    @property
    def round_class(self) -> str:
        """The class that the planned round is for."""
        return self.class_name if self.planned_for is None else self.planned_for

    async def taking_part(self) -> list[Pupil]:
        """Those chosen for the planned round; if nobody is, everyone in the class who is ready (at
        the front: everyone in the class)."""
        everyone = await self.records.do(pupils, self.round_class)
        if self.chosen:
            return [pupil for pupil in everyone if pupil.id in self.chosen]
        if self.plan is not None and self.plan.way is Way.FRONT:
            return everyone
        return self.roster.ready(everyone)

    async def begin(self) -> ClassRound:
        """Hold the planned round. Raises OralquizError with what a teacher can do about it."""
        if self.plan is None:
            raise BadInput("plan a round first")
        who = await self.taking_part()
        lately = await self.records.do(had_lately, [pupil.name for pupil in who])
        return await self.conductor.start(self.plan, who, lately)

    # --- news -------------------------------------------------------------------------------

    def _device_changed(self, device: BrowserDevice | None) -> None:
        if device is not None:
            self.conductor.device_changed()
        self.publisher.changed()

    def _live(self) -> Live:
        front, held = self.roster.front, self.class_round
        return Live(
            live_round(held) if held else None,
            "" if self.chosen else self.round_class,
            Front(front.online, front.ready, front.mic),
            self.roster.present(),
            self.roster.asking(),
        )

    def _wall(self) -> Wall:
        return Wall(wall_round(self.class_round) if self.class_round else None)
