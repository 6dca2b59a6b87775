"""A classroom that hears and says the pulses of tests.session.room, and simulated pages.

``Tablet`` speaks a page's half of the protocol: it streams, plays on its own clock, comes back.
Threads are replaced by the caller's own, so that what happens is the same every time.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from concurrent.futures import Executor, Future
from pathlib import Path
from typing import Any

import msgspec
import numpy as np
from argon2 import PasswordHasher
from starlette.testclient import TestClient

from oralquiz.records.cards import Cards
from oralquiz.records.pupil_list import Pupil, add_pupil
from oralquiz.rounds.planning import RoundPlan, Way
from oralquiz.sound.blocks import BLOCK, SESSION_RATE
from oralquiz.sound.clip import Samples
from oralquiz.web.app import create_app
from oralquiz.web.assembly import Tools
from oralquiz.web.browser_device import BrowserDevice
from oralquiz.web.classroom import Classroom
from oralquiz.web.connection import Connection
from oralquiz.web.credentials import Codes, Passphrases, load_keys
from oralquiz.web.packets import as_packet, packet
from oralquiz.web.page_stream import Now
from oralquiz.web.protocol import FromDevice
from oralquiz.web.records_thread import RecordsThread
from oralquiz.web.round_host import HearingThreads, RoundHost
from tests.records.fresh import fresh_records
from tests.session.room import PulseReader, PulseRecognizer, pulse

ORIGIN = "http://testserver"
NOW = "2026-01-05T09:00:00+00:00"


class InlineExecutor(Executor):
    """Runs what is submitted at once, in the caller's thread; while it is ``busy``, later."""

    def __init__(self) -> None:
        self.busy = False
        self.waiting: list[Callable[[], Any]] = []

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        future: Future[Any] = Future()
        if self.busy:
            self.waiting.append(lambda: fn(*args, **kwargs))
        else:
            future.set_result(fn(*args, **kwargs))
        return future

    def go_on(self) -> None:
        """It is no longer busy, and does what was waiting."""
        self.busy = False
        while self.waiting:
            self.waiting.pop(0)()


def standing_clock() -> float:
    """A clock that stands still, so that nothing depends on how quick this machine is: rounds go
    by the packets that come, and no limit on attempts is ever regained."""
    return 100.0


def make_classroom(
    folder: Path,
    *,
    now: Now = standing_clock,
    pool: Executor | None = None,
    at_once: int = 30,
    hearing: RoundHost | None = None,
) -> Classroom:
    """``at_once``: how many pupils its computer can hear, unless something else is ``hearing``."""
    records = fresh_records(folder / "records.db")
    tools = Tools(
        lambda: hearing or HearingThreads(PulseRecognizer, pool or InlineExecutor(), now, at_once),
        lambda voice, pace_s: PulseReader(),
        lambda: [("", "pulses")],
    )
    classroom = Classroom(
        load_keys(folder / "web" / "keys.json"),
        RecordsThread(records),
        folder / "sessions",
        tools,
        codes=Codes(cards=Cards(records)),
        ahead=InlineExecutor(),
        now=now,
    )
    classroom.passphrases = Passphrases(PasswordHasher(time_cost=1, memory_cost=8, parallelism=1))
    return classroom


async def make_pupils(classroom: Classroom, *names: str, consent: bool = True) -> list[Pupil]:
    """Pupils of the class 3B, which the teacher's pages then show."""
    classroom.class_name = "3B"
    return [
        await classroom.records.do(add_pupil, n, created=NOW, class_name="3B", consent=consent)
        for n in names
    ]


def client_of(classroom: Classroom, *, host: str = "127.0.0.1", origin: str = ORIGIN) -> TestClient:
    """A browser on this computer."""
    return TestClient(
        create_app(classroom, ["testserver"]),
        base_url=ORIGIN,
        client=(host, 50_000),
        headers={"origin": origin} if origin else {},
        follow_redirects=False,
    )


class Tablet:
    """A page on a device. ``answers`` are the numbers it says, one a sum (None: nothing), 0.5 s
    after the last term; ``heard`` collects everything that it was told."""

    def __init__(
        self, device: BrowserDevice, answers: list[int | None], *, mic: bool = True
    ) -> None:
        self.device = device
        self.answers = answers
        self.mic = mic
        self.heard: list[dict[str, Any]] = []
        self.connection: Connection | None = None
        self.run = ""
        self.next = 0
        self.play = 0
        self.kept: dict[int, bytes] = {}
        self.voices: list[tuple[int, Samples]] = []
        self.sounds: list[tuple[int, str]] = []
        self.time_s = 100.0
        self.punctual = True
        """Whether it says of a sound that could not start on time that it could not."""
        self.visit = ""
        """What its cookie would say."""

    def open(self) -> None:
        """Connect (again)."""
        self.connection = Connection(self.visit)
        self.device.attach(self.connection)
        first = min(self.kept, default=self.next)
        self.say(t="hello", mic=self.mic, run=self.run, first=first, play=self.play)

    def ready(self) -> None:
        self.say(t="ready", mic=self.mic)

    def drop(self) -> None:
        """The connection is gone, with everything on its way."""
        assert self.connection is not None
        self.device.detach(self.connection)
        self.connection = None

    def say(self, **data: Any) -> None:
        self.device.hear(msgspec.convert(data, FromDevice), self.time_s)

    def speak(self, value: int, at: int) -> None:
        """Say a number from sample ``at`` of the stream on."""
        self.voices.append((at, pulse(value)))

    async def listen(self) -> None:
        """Take in what was sent."""
        for _ in range(3):
            await asyncio.sleep(0)
        while self.connection is not None and not self.connection.out.empty():
            data = msgspec.to_builtins(self.connection.out.get_nowait())
            self.heard.append(data)
            self._obey(data)

    def _obey(self, data: dict[str, Any]) -> None:
        kind = data["t"]
        if kind == "begin":
            self.run, self.next, self.play = data["run"], data["next"], 0
            self.kept.clear()
        elif kind == "end":
            self.run = ""
        elif kind == "receipt":
            self.kept = {n: p for n, p in self.kept.items() if n >= data["next"]}
        elif kind in ("welcome", "resend") and data["run"] == self.run and self.run:
            for number, raw in sorted(self.kept.items()):
                if number >= data["next"]:
                    self.device.packet(*packet(raw))
        elif kind == "play":
            self.play = data["play"]
            if self.punctual and data["at"] < self.next * BLOCK and data["exact"]:
                self.say(t="late", run=self.run, play=data["play"])
            else:
                self.sounds.append((data["at"], data["clip"]))
        elif kind == "reading":
            value = self.answers.pop(0) if self.answers else None
            if value is not None:
                self.speak(value, data["terms"][-1][1] + SESSION_RATE // 2)

    def sound(self) -> Samples:
        """The next block of the microphone."""
        start = self.next * BLOCK
        heard = np.zeros(BLOCK, dtype=np.float32)
        for at, samples in self.voices:
            begin, end = max(start, at), min(start + BLOCK, at + len(samples))
            if begin < end:
                heard[begin - start : end - start] += samples[begin - at : end - at]
        return heard

    async def stream(self, packets: int = 1, *, until: Callable[[], bool] | None = None) -> bool:
        """Send up to ``packets`` packets, or until ``until`` is true. False: it never was."""
        for _ in range(packets):
            await self.listen()
            if until is not None and until():
                return True
            if not self.run:
                continue
            raw = as_packet(self.next, self.sound())
            self.kept[self.next] = raw
            self.next += 1
            if self.connection is not None:
                self.device.packet(*packet(raw))
        await self.listen()
        return until is None or until()

    def phases(self) -> list[str]:
        """What the page showed, one after the other."""
        return [data["phase"] for data in self.heard if data["t"] == "show"]

    def last(self, kind: str) -> dict[str, Any]:
        return next(data for data in reversed(self.heard) if data["t"] == kind)


def plan(way: Way = Way.OWN, count: int = 2, terms: int = 2, **more: Any) -> RoundPlan:
    return RoundPlan(
        "direct", way, count, terms, **({"pace_s": 1.0, "answer_within_s": 3.0} | more)
    )
