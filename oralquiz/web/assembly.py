"""Puts a class round together from a plan: sums, voice, recogniser, recorders, devices.

Everything that can fail does so before the first session folder is made.
"""

from __future__ import annotations

import asyncio
import secrets
from collections.abc import Callable, Collection, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from typing import ParamSpec, TypeVar

from oralquiz.records import Pupil
from oralquiz.rounds import Round, RoundPlan, Way, plan_rounds
from oralquiz.session import RoundReader
from oralquiz.solo import PacedReader, PracticeRound
from oralquiz.web.background import Background
from oralquiz.web.browser_device import BrowserDevice
from oralquiz.web.class_round import ClassRound
from oralquiz.web.page_clips import AheadReader
from oralquiz.web.page_stream import Now
from oralquiz.web.remote_round import RemoteRound
from oralquiz.web.room_barrier import RoomBarrier
from oralquiz.web.round_host import RoundHost
from oralquiz.web.round_worker import AgainstEcho, Opening

P = ParamSpec("P")
T = TypeVar("T")

Lately = Mapping[str, Collection[tuple[int, ...]]]

CANCELLED = 6
"""The most devices whose loudspeakers are taken out of their microphones, at about 0.04 of a core
each; with more, nothing is heard while a sum is read."""


@dataclass(frozen=True)
class Tools:
    """What hears and reads. ``hearing`` is asked for once, on the event loop."""

    hearing: Callable[[], RoundHost]
    reader: Callable[[str, float], RoundReader]
    """From a voice's name (empty: the usual one) and the pace in seconds."""
    voices: Callable[[], Sequence[tuple[str, str]]]
    """Names and labels of the voices a teacher can choose."""


class Assembly:
    """Makes class rounds whose sessions are kept in ``sessions``. Renders sums in ``ahead``."""

    def __init__(
        self,
        tools: Tools,
        sessions: Path,
        front: BrowserDevice,
        ahead: Executor,
        background: Background,
        now: Now,
    ) -> None:
        self.hearing = tools.hearing()
        self._ahead = ahead
        self.tools = tools
        self._sessions = sessions
        self._front = front
        self._background = background
        self._now = now
        self._voices: Sequence[tuple[str, str]] = ()

    async def close(self) -> None:
        """Release threads and processes."""
        await self.hearing.close()
        self._ahead.shutdown(wait=False, cancel_futures=True)

    async def voices(self) -> Sequence[tuple[str, str]]:
        """The voices to choose from; looked up once."""
        if not self._voices:
            self._voices = await asyncio.to_thread(self.tools.voices)
        return self._voices

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
            reader: RoundReader = PacedReader(partial(self.tools.reader, plan.voice), chosen.pace_s)
        else:
            rounds = await asyncio.to_thread(
                plan_rounds, plan, pupils, place="class", lately=lately or {}
            )
            reader = await self.reader(plan)
        readers = await self._readers(reader, plan, rounds)
        class_round = make(secrets.token_hex(6), rounds[0].name)
        if plan.way is Way.ROOM:
            self._read_at_the_front(class_round, readers[0])
        openings = await self._openings(class_round.key, plan, rounds, devices, reader)
        remotes = [
            self._remote(class_round, opening, ahead, device)
            for opening, ahead, device in zip(openings, readers, devices, strict=True)
        ]
        inboxes = await self.hearing.open(openings, [remote.hear for remote in remotes])
        for remote, device in zip(remotes, devices, strict=True):
            class_round.add(remote, device)
        class_round.begin(
            {remote.key: remote.begin(put) for remote, put in zip(remotes, inboxes, strict=True)}
        )
        return class_round

    async def _readers(
        self, reader: RoundReader, plan: RoundPlan, rounds: Sequence[Round]
    ) -> list[AheadReader]:
        """A reader for each round (in the room the same for all) with its first sum ready, so that
        a pace that is too quick is reported now."""
        if plan.way is Way.ROOM:
            shared = AheadReader(reader)
            await self._in_turn(shared.prepare, rounds[0].turns[0])
            return [shared] * len(rounds)
        readers = [AheadReader(reader) for _ in rounds]
        for ahead, round_ in zip(readers, rounds, strict=True):
            await self._in_turn(ahead.prepare, round_.turns[0])
        return readers

    async def _in_turn(self, render: Callable[P, T], *args: P.args, **kwargs: P.kwargs) -> T:
        """``render``, once everything before it is rendered."""
        loop = asyncio.get_running_loop()
        return await loop.run_in_executor(self._ahead, partial(render, *args, **kwargs))

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

    async def _openings(
        self,
        key: str,
        plan: RoundPlan,
        rounds: Sequence[Round],
        devices: Sequence[BrowserDevice],
        reader: RoundReader,
    ) -> list[Opening]:
        """What the round of each device begins with."""
        stamp = datetime.now(UTC).strftime("%Y-%m-%d-%H%M%S")
        again = plan.options().ask_again_text
        phrases = {again: await self._in_turn(reader.phrase, again)}
        return [
            Opening(
                f"{key}-{number}",
                round_,
                plan.options(device.stretch),
                self._sessions / f"{stamp}-{key}-{number}",
                reader.voice_name,
                phrases,
                plan.way is Way.ROOM,
                echo_of(device.mic, len(rounds)),
            )
            for number, (round_, device) in enumerate(zip(rounds, devices, strict=True), start=1)
        ]

    def _remote(
        self,
        class_round: ClassRound,
        opening: Opening,
        reader: AheadReader,
        device: BrowserDevice,
    ) -> RemoteRound:
        barrier, chosen = class_round.barrier, class_round.chosen
        return RemoteRound(
            opening,
            reader,
            self._ahead,
            tell=class_round.tell(device),
            report=class_round.report,
            now=self._now,
            stream_begun=barrier.stirred if barrier else lambda: None,
            slower=chosen.slower if chosen else lambda: None,
        )


def echo_of(mic: bool, devices: int) -> AgainstEcho:
    """How a device's loudspeaker is kept out of its microphone when this many devices listen."""
    if not mic:
        return AgainstEcho.NONE
    return AgainstEcho.CANCELLED if devices <= CANCELLED else AgainstEcho.HALF_DUPLEX
