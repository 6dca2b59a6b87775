"""Puts a class round together from a plan: sums, voice, recogniser, recorders, devices.

Everything that can fail does so before the first session folder is made.
"""

from __future__ import annotations

import asyncio
import os
import secrets
import sys
from collections.abc import Callable, Collection, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import partial
from pathlib import Path

from oralquiz.audio import EchoCanceller, HalfDuplexGate
from oralquiz.listen import Recognizer
from oralquiz.records import Pupil
from oralquiz.rounds import EchoFilter, Round, RoundPlan, Way, plan_rounds
from oralquiz.session import RoundReader
from oralquiz.solo import PacedReader, PracticeRound
from oralquiz.web.background import Background
from oralquiz.web.browser_device import BrowserDevice
from oralquiz.web.class_round import ClassRound
from oralquiz.web.page_clips import AheadReader
from oralquiz.web.page_stream import Now
from oralquiz.web.remote_round import RemoteRound, Threads
from oralquiz.web.room_barrier import RoomBarrier

Lately = Mapping[str, Collection[tuple[int, ...]]]

CANCELLED = 6
"""Devices whose loudspeakers are taken out of their microphones at once (about 0.04 of a core
each); with more, nothing is heard while a sum is read."""


@dataclass(frozen=True)
class Tools:
    """What reads and hears: opened when the first round needs it."""

    recognizer: Callable[[], Recognizer]
    reader: Callable[[str, float], RoundReader]
    """From a voice's name (empty: the usual one) and the pace in seconds."""
    voices: Callable[[], Sequence[tuple[str, str]]]
    """Names and labels of the voices a teacher can choose."""
    at_once: Callable[[Recognizer], int] = lambda recognizer: sys.maxsize
    """How many pupils the recogniser can hear at once on this computer."""


def usual_threads() -> Threads:
    """One thread more than there are cores to hear, and one to render the sums to come."""
    return Threads(
        ThreadPoolExecutor(max(3, (os.cpu_count() or 2) + 1), "round"),
        ThreadPoolExecutor(1, "ahead"),
    )


class Assembly:
    """Makes class rounds whose sessions are kept in ``sessions``."""

    def __init__(
        self,
        tools: Tools,
        sessions: Path,
        front: BrowserDevice,
        threads: Threads,
        background: Background,
        now: Now,
    ) -> None:
        self.threads = threads
        self.tools = tools
        self._sessions = sessions
        self._front = front
        self._background = background
        self._now = now
        self._recognizer: Recognizer | None = None
        self._voices: Sequence[tuple[str, str]] = ()
        self._at_once = 0

    async def at_once(self) -> int:
        """How many pupils can be heard at once; measured once. Raises OralquizError."""
        if not self._at_once:
            recognizer = await self.recognizer()
            self._at_once = await asyncio.to_thread(self.tools.at_once, recognizer)
        return self._at_once

    async def voices(self) -> Sequence[tuple[str, str]]:
        """The voices to choose from; looked up once."""
        if not self._voices:
            self._voices = await asyncio.to_thread(self.tools.voices)
        return self._voices

    async def recognizer(self) -> Recognizer:
        """What hears; opened once."""
        if self._recognizer is None:
            self._recognizer = await asyncio.to_thread(self.tools.recognizer)
        return self._recognizer

    async def reader(self, plan: RoundPlan) -> RoundReader:
        """The voice that ``plan`` wants, at its pace. Raises OralquizError."""
        return await asyncio.to_thread(self.tools.reader, plan.voice, plan.pace_s)

    async def assemble(
        self,
        plan: RoundPlan,
        pupils: Sequence[Pupil],
        devices: Sequence[BrowserDevice],
        make: Callable[[str, str], ClassRound],
        chosen: PracticeRound | None = None,
        lately: Lately | None = None,
    ) -> ClassRound:
        """A class round of ``pupils`` on ``devices``, begun, with the ``chosen`` sums or those of
        the plan, but none that a pupil was given ``lately`` (by name). ``make`` makes it from its
        key and title. Raises OralquizError, and then leaves nothing behind."""
        if chosen is not None:
            rounds = [chosen.round]
        else:
            rounds = await asyncio.to_thread(
                plan_rounds, plan, pupils, place="class", lately=lately or {}
            )
        recognizer = await self.recognizer()
        readers = await self._readers(plan, rounds, chosen)
        class_round = make(secrets.token_hex(6), rounds[0].name)
        if plan.way is Way.ROOM:
            self._read_at_the_front(class_round, readers[0])
        remotes = await asyncio.to_thread(
            self._open, class_round, rounds, devices, readers, recognizer
        )
        for remote, device in zip(remotes, devices, strict=True):
            class_round.add(remote, device)
        clips = {
            key: one.remote.first_clip()
            for key, one in class_round.participants.items()
            if class_round.barrier is None
        }
        class_round.begin(clips)
        return class_round

    async def _readers(
        self, plan: RoundPlan, rounds: Sequence[Round], chosen: PracticeRound | None
    ) -> list[AheadReader]:
        """A reader for each round (in the room the same for all) with its first sum ready: a pace
        that is too quick is said now."""
        if chosen is not None:
            reader: RoundReader = PacedReader(partial(self.tools.reader, plan.voice), chosen.pace_s)
        else:
            reader = await self.reader(plan)
        shared = AheadReader(reader)
        room = plan.way is Way.ROOM
        readers = [shared if room else AheadReader(reader) for _ in rounds]
        loop = asyncio.get_running_loop()
        for ahead, round_ in zip(readers, rounds, strict=True):
            await loop.run_in_executor(self.threads.ahead, ahead.prepare, round_.turns[0])
        return readers

    def _read_at_the_front(self, class_round: ClassRound, sums: AheadReader) -> None:
        class_round.barrier = RoomBarrier(
            f"{class_round.key}-0",
            self._front,
            sums,
            lambda: list(class_round.participants.values()),
            class_round.in_trouble,
            self._background,
            self._now,
        )

    def _open(
        self,
        class_round: ClassRound,
        rounds: Sequence[Round],
        devices: Sequence[BrowserDevice],
        readers: Sequence[AheadReader],
        recognizer: Recognizer,
    ) -> list[RemoteRound]:
        """The round of each device, its session begun. When one cannot be had, none is left."""
        stamp = datetime.now(UTC).strftime("%Y-%m-%d-%H%M%S")
        barrier, chosen, plan = class_round.barrier, class_round.chosen, class_round.plan
        remotes: list[RemoteRound] = []
        with ExitStack() as opened:
            for number, device in enumerate(devices, start=1):
                key = f"{class_round.key}-{number}"
                remote = RemoteRound(
                    key,
                    rounds[number - 1],
                    plan.options(device.stretch),
                    readers[number - 1],
                    recognizer,
                    self._sessions / f"{stamp}-{key}",
                    self.threads,
                    tell=class_round.tell(device),
                    report=class_round.report,
                    now=self._now,
                    stream_begun=barrier.stirred if barrier else lambda: None,
                    room=barrier is not None,
                    echo_filter=echo_filter(device.mic, len(rounds)),
                    slower=chosen.slower if chosen else lambda: None,
                )
                opened.enter_context(remote.live)
                remotes.append(remote)
            opened.pop_all()  # from here on each lives until it is over
        return remotes


def echo_filter(mic: bool, devices: int) -> EchoFilter | None:
    """What keeps a device's loudspeaker out of its microphone when this many devices listen."""
    if not mic:
        return None
    return EchoCanceller() if devices <= CANCELLED else HalfDuplexGate()
