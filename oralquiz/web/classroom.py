"""Everything the web app knows while it runs: devices, the lesson, practice, who watches."""

from __future__ import annotations

import asyncio
import os
import secrets
import sqlite3
import time
from collections.abc import Awaitable, Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from typing import Any, TypeVar

from sqlite_utils import Database

from oralquiz import __version__
from oralquiz.audio import EchoCanceller, HalfDuplexGate
from oralquiz.beads import Syllabus
from oralquiz.compose import load_syllabus, many
from oralquiz.errors import BadInput, OralquizError
from oralquiz.judge import Verdict
from oralquiz.listen import Recognizer
from oralquiz.records import (
    Erased,
    Pupil,
    import_session,
    open_records,
    practice_migrations,
    pupils,
    store,
    waiting,
)
from oralquiz.rounds import COMMANDS, Corrected, Reader, Round
from oralquiz.session import BeingHeld, FileRecorder, correct, header, open_session
from oralquiz.web.class_round import TEACHER, ClassRound
from oralquiz.web.credentials import Codes, Keys, Limit, Passphrases
from oralquiz.web.device import REFUSED, Connection, Device
from oralquiz.web.page_clips import AheadReader
from oralquiz.web.planning import Plan, Way, rounds_for
from oralquiz.web.pupil_erasure import erase_pupil
from oralquiz.web.remote_round import RemoteRound
from oralquiz.web.room_reader import RoomReader

T = TypeVar("T")
SETTLE_S = 0.05
"""Seconds in which changes are gathered before the watching pages are told."""

CLOSING_S = 5.0
"""Seconds in which running rounds are brought to their end when the server stops."""

CANCELLED = 6
"""Devices whose loudspeakers are taken out of their microphones at once (about 0.04 of a core
each); with more, nothing is heard while a sum is read."""

PUPIL_COMMANDS: frozenset[str] = frozenset()
PRACTICE_COMMANDS = frozenset({"pause", "resume", "repeat", "skip", "stop"})


class Records:
    """The records, behind one thread of their own: SQLite has one writer anyway."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._thread = ThreadPoolExecutor(1, "records")
        self._db: Database | None = None

    async def do(self, work: Callable[..., T], *args: Any, **named: Any) -> T:
        """``work(db, *args, **named)`` in the records' thread."""
        loop = asyncio.get_running_loop()
        return await loop.run_in_executor(self._thread, partial(self._with, work, *args, **named))

    def _with(self, work: Callable[..., T], *args: Any, **named: Any) -> T:
        if self._db is None:
            self._db = open_records(self._path)
            practice_migrations.apply(self._db)
        return work(self._db, *args, **named)

    async def apart(self, work: Callable[..., T], *args: Any) -> T:
        """``work(db, *args)`` on a connection of its own: what opens many sessions would keep
        every page waiting."""
        await self.do(lambda db: None)  # two that begin the same file at once lock each other out
        return await asyncio.to_thread(self._apart, work, *args)

    def _apart(self, work: Callable[..., T], *args: Any) -> T:
        db = open_records(self._path)
        try:
            return work(db, *args)
        finally:
            db.close()

    def close(self) -> None:
        if self._db is not None:
            self._thread.submit(self._db.close).result()
        self._thread.shutdown()


@dataclass(frozen=True)
class Tools:
    """What reads and hears: opened when the first lesson needs it."""

    recognizer: Callable[[], Recognizer]
    reader: Callable[[str, float], Reader]
    """From a voice's name (empty: the usual one) and the pace in seconds."""
    voices: Callable[[], Sequence[tuple[str, str]]]
    """Names and labels of the voices a teacher can choose."""


@dataclass
class Watcher:
    line: Connection
    wall: bool


@dataclass
class Classroom:
    """The state behind all pages. Lives on one event loop."""

    keys: Keys
    records: Records
    sessions: Path
    tools: Tools
    network_url: str = ""
    """Where tablets find this server; empty while it serves this computer only."""
    fingerprint: str = ""
    course: str = "two-hands"
    codes: Codes = field(default_factory=Codes)
    passphrases: Passphrases = field(default_factory=Passphrases)
    tries: Limit = field(default_factory=lambda: Limit(10, 1 / 30))
    """At the passphrase and the code: ten at once, then one in 30 s from one address."""
    all_tries: Limit = field(default_factory=lambda: Limit(120, 0.5))
    """The same from all addresses together."""
    devices: dict[str, Device] = field(default_factory=dict)
    lesson: ClassRound | None = None
    practices: dict[str, ClassRound] = field(default_factory=dict)
    claims: dict[int, str] = field(default_factory=dict)
    """Which browser holds a pupil's place in class: pupil -> a random mark in its cookie."""
    class_name: str = ""
    """The class that the teacher's pages show."""
    plan: Plan | None = None
    planned_for: str | None = None
    """The class that the round was planned for, whichever is looked at since (None: that one)."""
    chosen: frozenset[int] = frozenset()
    """The pupils chosen for the planned round; empty: everyone who is there."""
    _watchers: list[Watcher] = field(default_factory=list)
    _recognizer: Recognizer | None = None
    _voices: Sequence[tuple[str, str]] = ()
    _telling: bool = False
    _tasks: set[asyncio.Task[Any]] = field(default_factory=set)
    _starting: asyncio.Lock = field(default_factory=asyncio.Lock)

    def __post_init__(self) -> None:
        self.checking = asyncio.Lock()
        self.closing = False
        self.pool = ThreadPoolExecutor(max(3, (os.cpu_count() or 2) + 1), "run")
        self.ahead = ThreadPoolExecutor(1, "ahead")
        self.front = Device("front", "this computer", COMMANDS - {"typed"}, self._device_changed)

    @property
    def syllabus(self) -> Syllabus:
        return load_syllabus(self.course)

    async def close(self) -> None:
        """End every round, keep what was held, let go of threads and records."""
        self.closing = True
        going = [x for x in (self.lesson, *self.practices.values()) if x and x.phase != "over"]
        for lesson in going:
            lesson.do("stop")
        await _ended(going)
        await asyncio.gather(*self._tasks, return_exceptions=True)
        self.pool.shutdown(wait=False, cancel_futures=True)
        self.ahead.shutdown(wait=False, cancel_futures=True)
        self.records.close()

    # --- who is here ------------------------------------------------------------------------

    async def pupil(self, number: int) -> Pupil | None:
        everyone = await self.records.do(pupils)
        return next((p for p in everyone if p.id == number), None)

    def device_of(self, pupil: Pupil) -> Device:
        key = f"pupil:{pupil.id}"
        if key not in self.devices:
            self.devices[key] = Device(key, pupil.name, PUPIL_COMMANDS, self._device_changed)
        return self.devices[key]

    def claim(self, pupil: Pupil) -> str | None:
        """A place for ``pupil``'s browser; None when another browser holds it."""
        if pupil.id in self.claims:
            return None
        self.claims[pupil.id] = secrets.token_urlsafe(12)
        return self.claims[pupil.id]

    def release(self, pupil: Pupil) -> None:
        """Whoever sits at ``pupil``'s place leaves it, and the name can be given again."""
        self.claims.pop(pupil.id, None)
        device = self.devices.pop(f"pupil:{pupil.id}", None)
        if device is not None:
            device.close("the teacher freed this place")
        self.changed()

    def new_card(self, pupil: Pupil) -> None:
        """A card for ``pupil``; the one before, and a page that came with it, are good no more."""
        self.codes.for_pupil(pupil)
        self._let_go(pupil, "your teacher made you a new card")

    def take_card_back(self, pupil: Pupil) -> None:
        """The pupil's card, and a page that came with it, are good no more."""
        self.codes.forget_pupil(pupil)
        self._let_go(pupil, "your teacher took this card back")

    def _let_go(self, pupil: Pupil, why: str) -> None:
        device = self.devices.get(f"pupil:{pupil.id}")
        if device is not None and device.home:
            device.close(why)

    def _device_changed(self, device: Device) -> None:
        for lesson in [self.lesson, *self.practices.values()]:
            if lesson is not None:
                lesson.device_changed()
        self.changed()

    @property
    def round_class(self) -> str:
        """The class that the planned round is for."""
        return self.class_name if self.planned_for is None else self.planned_for

    async def taking_part(self) -> list[Pupil]:
        """Those chosen for the planned round; without a choice everyone of the class who is
        ready (at the front: everyone of the class)."""
        everyone = await self.records.do(pupils, self.round_class)
        if self.chosen:
            return [pupil for pupil in everyone if pupil.id in self.chosen]
        if self.plan is not None and self.plan.way is Way.FRONT:
            return everyone
        ready = {key for key, d in self.devices.items() if d.online and d.ready}
        return [pupil for pupil in everyone if f"pupil:{pupil.id}" in ready]

    # --- lessons ----------------------------------------------------------------------------

    async def begin(self) -> ClassRound:
        """Hold the planned round. Raises OralquizError with what a teacher can do about it."""
        if self.plan is None:
            raise BadInput("plan a round first")
        return await self.start(self.plan, await self.taking_part())

    async def start(self, plan: Plan, taking_part: Sequence[Pupil]) -> ClassRound:
        """Hold a round. Raises OralquizError with what a teacher can do about it."""
        async with self._starting:
            if self.lesson is not None and self.lesson.phase != "over":
                raise BadInput("a round is being held: end it first")
            if not taking_part:
                raise BadInput("choose at least one pupil")
            if plan.way is not Way.OWN and not self.front.ready:
                raise BadInput("press “Sound on” first: this computer's sound is not on yet")
            devices = [self.front]
            if plan.way is not Way.FRONT:
                devices = [self.device_of(pupil) for pupil in taking_part]
                for device in devices:
                    if not (device.online and device.ready):
                        raise BadInput(f"{device.name} has not pressed “I am ready” yet")
            for device in devices:
                if device is not self.front:
                    device.commands = PUPIL_COMMANDS
                practice = self.practices.pop(device.key, None)
                if practice is not None:
                    practice.do("stop")
            lesson = await self._assemble(plan, taking_part, devices, practice=False)
            self.lesson = lesson
            self.changed()
            return lesson

    async def practise(self, plan: Plan, pupil: Pupil) -> ClassRound:
        """A pupil's own round at home. Raises OralquizError."""
        async with self._starting:  # else two windows could begin two rounds on one device
            device = self.device_of(pupil)
            if self._in_lesson(pupil):
                raise BadInput("your class is having a lesson")
            running = self.practices.get(device.key)
            if running is not None and running.phase != "over":
                raise BadInput("a round is running already")
            device.commands = PRACTICE_COMMANDS
            lesson = await self._assemble(plan, [pupil], [device], practice=True)
            self.practices[device.key] = lesson
            return lesson

    def _in_lesson(self, pupil: Pupil) -> bool:
        lesson = self.lesson
        return lesson is not None and lesson.phase != "over" and pupil.name in lesson.pupils

    async def erase(self, pupil: Pupil) -> Erased:
        """Erase ``pupil`` for good. Raises OralquizError, with nothing erased, while a round with
        the pupil is being held, in class or by another program."""
        await self._forget(pupil)
        erased = await self.records.apart(erase_pupil, pupil.name, self.sessions, self.codes)
        self.changed()
        return erased

    async def _forget(self, pupil: Pupil) -> None:
        """Before ``pupil`` is erased: end what runs, see it stored, keep no sound of it in memory.

        Raises BadInput while the class holds a round with the pupil: it would be stored afterwards.
        """
        async with self._starting:
            if self._in_lesson(pupil):
                raise BadInput(f"{pupil.name} is in the round that is held now: end it first")
            self.release(pupil)
            practice = self.practices.pop(f"pupil:{pupil.id}", None)
            if practice is not None:
                practice.do("stop")
                await _ended([practice])
            await asyncio.gather(*self._tasks, return_exceptions=True)
            if self.lesson is not None and pupil.name in self.lesson.pupils:
                self.lesson = None
            self.changed()

    def lock_out(self) -> None:
        """End the connections of every teacher's page: its cookie opens nothing any more."""
        for watcher in self._watchers:
            watcher.line.close("come in first", REFUSED)

    async def _assemble(
        self, plan: Plan, taking_part: Sequence[Pupil], devices: Sequence[Device], practice: bool
    ) -> ClassRound:
        rounds = await asyncio.to_thread(rounds_for, plan, taking_part)
        recognizer = await self.recognizer()
        reader = await asyncio.to_thread(self.tools.reader, plan.voice, plan.pace_s)
        room = plan.way is Way.ROOM
        shared = AheadReader(reader) if room else None
        # the first sum of everyone before anything begins: a pace that is too quick is said now
        for round_ in rounds[:1]:
            await asyncio.to_thread((shared or reader).dictation, round_.turns[0])
        lesson = ClassRound(
            secrets.token_hex(6),
            plan,
            rounds[0].name,
            practice,
            self.changed,
            self._run_over,
            self._corrected_late,
        )
        stamp = datetime.now(UTC).strftime("%Y-%m-%d-%H%M%S")
        clips: dict[str, str] = {}
        for number, (round_, device) in enumerate(zip(rounds, devices, strict=True), start=1):
            key = f"{lesson.key}-{number}"
            options = plan.options(device.stretch)
            recorder = self._recorder(
                round_, plan, device.stretch, recognizer.name, f"{stamp}-{key}"
            )
            run = RemoteRound(
                key,
                round_,
                options,
                shared or reader,
                recognizer,
                recorder,
                self.pool,
                self.ahead,
                tell=lesson.tell(device),
                fact=lesson.fact,
                room=room,
                guard=_guard(device.mic, len(rounds)),
            )
            lesson.add(run, device)
            if not room:
                clips[key] = await asyncio.get_running_loop().run_in_executor(
                    self.ahead, run.prepare
                )
        if shared is not None:
            aloud = RoomReader(f"{lesson.key}-0", self.front.send, lesson.read_again)
            lesson.read_by(aloud, self.front, shared)
        lesson.begin(clips)
        return lesson

    def _recorder(
        self, round_: Round, plan: Plan, stretch: int, model: str, name: str
    ) -> FileRecorder:
        head = header(
            round_,
            plan.options(stretch),
            voice=plan.voice or "default",
            model=model,
            software=f"oralquiz {__version__}",
        )
        return FileRecorder(self.sessions / name, head)

    async def voices(self) -> Sequence[tuple[str, str]]:
        """The voices to choose from; looked for once."""
        if not self._voices:
            self._voices = await asyncio.to_thread(self.tools.voices)
        return self._voices

    async def recognizer(self) -> Recognizer:
        if self._recognizer is None:
            self._recognizer = await asyncio.to_thread(self.tools.recognizer)
        return self._recognizer

    def _run_over(self, lesson: ClassRound, run: RemoteRound) -> None:
        if run.file is not None:
            self.task(self._save(lesson, run))
        self.changed()

    async def _save(self, lesson: ClassRound, run: RemoteRound) -> None:
        """The finished session into the records, with what was corrected since it ended."""
        assert run.file is not None
        await self._keep(lesson, self._store(lesson, run, run.file))

    async def _store(self, lesson: ClassRound, run: RemoteRound, file: Path) -> None:
        lesson.saved(run, await self.records.do(_store_file, file))

    def _corrected_late(self, lesson: ClassRound, run: RemoteRound, corrected: Corrected) -> None:
        if run.file is not None:
            wanted = self.correct_file(run.file, corrected.turn, corrected.verdict, corrected.value)
            self.task(self._keep(lesson, wanted))

    async def _keep(self, lesson: ClassRound, work: Awaitable[None]) -> None:
        """Do ``work``; what keeps it from the records is said on the lesson's page."""
        try:
            await work
        except (OralquizError, OSError, sqlite3.Error) as error:
            lesson.trouble = f"This is not in the records: {error}"
        self.changed()

    async def correct(
        self, lesson: ClassRound, number: int, verdict: str, value: int | None
    ) -> None:
        """The teacher's ear on an answer of ``lesson``. Raises BadInput."""
        answer = lesson.answer(number, verdict, value)
        run = lesson.run(answer.key)
        if run.over and run.file is not None:
            await self.correct_file(run.file, answer.turn, verdict, value)
            lesson.apply(answer, verdict, value)
        else:
            lesson.correct(answer, verdict, value)

    async def correct_file(self, file: Path, turn: int, verdict: str, value: int | None) -> None:
        """The teacher's ear on a turn of a finished session. Raises BadInput."""
        when = datetime.now(UTC).isoformat(timespec="seconds")
        await self.records.do(_correct_file, file, turn, Verdict(verdict), value, when)
        self.changed()

    async def enter_waiting(self) -> str:
        """Enter what a crash or a busy database kept out of the records; says so in one line,
        nothing if there was nothing."""
        new = failed = 0
        try:
            for path in await self.records.apart(waiting, self.sessions):
                if self.closing:
                    break
                try:
                    new += (await self.records.apart(import_session, path, self.sessions)).new
                except BeingHeld:
                    continue  # somebody else has just begun to enter it
                except (OralquizError, OSError, sqlite3.Error):
                    failed += 1
        except (OralquizError, OSError, sqlite3.Error):
            failed += 1
        self.changed()
        said = []
        if new:
            said.append(f"{many(new, 'session')} had not reached the records; now in the results.")
        if failed:
            said.append(f"{many(failed, 'session')} cannot be entered: `oralquiz enter` says why.")
        return " ".join(said)

    # --- who watches ------------------------------------------------------------------------

    def watch(self, line: Connection, wall: bool) -> None:
        self._watchers.append(Watcher(line, wall))
        line.send(self._news(wall))

    def unwatch(self, line: Connection) -> None:
        self._watchers = [w for w in self._watchers if w.line is not line]

    def changed(self) -> None:
        """Tell the watching pages soon, together with what else changes until then."""
        if not self._telling and self._watchers:
            self._telling = True
            asyncio.get_running_loop().call_later(SETTLE_S, self._tell)

    def _tell(self) -> None:
        self._telling = False
        for wall in (False, True):
            lines = [w.line for w in self._watchers if w.wall is wall]
            if lines:
                news = self._news(wall)
                for line in lines:
                    line.send(news)

    def _news(self, wall: bool) -> dict[str, Any]:
        lesson = self.lesson
        if wall:
            return {"t": "wall", "lesson": lesson.for_the_wall() if lesson else None}
        return {
            "t": "live",
            "lesson": lesson.snapshot() if lesson else None,
            "whole_class": "" if self.chosen else self.round_class,
            "front": {
                "online": self.front.online,
                "ready": self.front.ready,
                "mic": self.front.mic,
            },
            "here": [
                {"pupil": d.name, "ready": d.ready, "mic": d.mic}
                for d in self.devices.values()
                if d.online
            ],
        }

    def task(self, work: Awaitable[Any]) -> None:
        """Run ``work`` on its own, kept alive until it is done."""
        task = asyncio.ensure_future(work)
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)


async def _ended(lessons: Sequence[ClassRound]) -> None:
    """Wait until ``lessons``, which were stopped, are over; but not for ever."""
    until = time.monotonic() + CLOSING_S
    while time.monotonic() < until and any(x.phase != "over" for x in lessons):
        await asyncio.sleep(0.01)


def _guard(mic: bool, devices: int) -> EchoCanceller | HalfDuplexGate | None:
    if not mic:
        return None
    return EchoCanceller() if devices <= CANCELLED else HalfDuplexGate()


def _store_file(db: Database, file: Path) -> str:
    session = open_session(file)
    store(db, session, file)
    return str(session.header["id"])


def _correct_file(
    db: Database, file: Path, turn: int, verdict: Verdict, value: int | None, when: str
) -> None:
    session = correct(file, turn, verdict, by=TEACHER, when=when, value=value)
    store(db, session, file)
