"""Everyone in the room hears each sum together: it is read once everybody is ready for it."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Sequence
from contextlib import suppress

from oralquiz.errors import OralquizError
from oralquiz.rounds import Command
from oralquiz.web.background import Background
from oralquiz.web.browser_device import BrowserDevice
from oralquiz.web.device_messages import ShowPhase
from oralquiz.web.page_clips import AheadReader
from oralquiz.web.page_stream import Now
from oralquiz.web.participant import Participant
from oralquiz.web.room_reader import RoomReader

ROOM_LEAD_S = 0.8
"""Seconds of quiet before the room hears the next sum, once the last pupil is done."""

ALL_THERE_S = 10.0
"""Seconds that the room waits for every tablet's stream to begin."""

NO_SOUND = "The sound of this computer did not start: press “Sound on”, then “Continue”."


class RoomBarrier:
    """Reads the sums of a class round at the front, to the tablets of ``participants``.

    ``trouble`` is called with a sentence when the front makes no sound.
    """

    def __init__(
        self,
        key: str,
        front: BrowserDevice,
        sums: AheadReader,
        participants: Callable[[], Sequence[Participant]],
        trouble: Callable[[str], None],
        background: Background,
        now: Now,
    ) -> None:
        self._front = front
        self._sums = sums
        self._participants = participants
        self._trouble = trouble
        self._background = background
        self._now = now
        self._stirred = asyncio.Event()
        self._reader = RoomReader(key, front.send, self.read_again, now, self._stirred.set)
        self._reading = False  # not paused, not over
        self._starting = False
        self._turn = -1
        self._answered: set[str] = set()

    # --- from the class round ---------------------------------------------------------------

    def begin(self) -> None:
        """The front begins, and reads the first sum once every stream is there."""
        self._reading = True
        self._front.begin(self._reader, None)
        self._start_soon()

    def pause(self, participants: Sequence[Participant]) -> None:
        """Fall silent; those of ``participants`` who have not answered yet are paused."""
        self._reading = False
        self._reader.hush()
        for one in participants:
            if one.remote.key not in self._answered:
                one.remote.command(Command("pause"))

    def resume(self) -> None:
        """Go on where the room was paused."""
        self._reading = True
        if self._turn < 0:
            self._start_soon()
        elif {one.remote.key for one in self._going()} <= self._answered:
            self._next_if_answered()
        else:
            self.read_again()

    def read_again(self) -> None:
        """Read the room's sum from its start: it was not heard, or could not start on time."""
        if self._reading:
            self._reader.hush()
            self._background.run(self._read(max(0, self._turn), again=self._turn >= 0))

    def answered(self, key: str) -> None:
        """The round ``key`` is done with the present sum."""
        self._answered.add(key)
        self._next_if_answered()

    def stirred(self) -> None:
        """A stream began, a page came or went, or a round ended: the room does not wait for anyone
        who is gone."""
        self._stirred.set()
        if self._turn >= 0:
            self._next_if_answered()

    def hush(self) -> None:
        self._reader.hush()

    def end(self) -> None:
        """The class round is over."""
        self._reading = False
        self._front.end()
        self._front.show(ShowPhase("waiting"))

    # --- inside -----------------------------------------------------------------------------

    def _going(self) -> list[Participant]:
        return [one for one in self._participants() if not one.over]

    def _start_soon(self) -> None:
        if not self._starting:
            self._starting = True
            self._background.run(self._start())

    async def _start(self) -> None:
        try:
            await self._everyone()
        finally:
            self._starting = False
        if not self._reader.stream.clock.running:
            self._trouble(NO_SOUND)
            return
        self._turn, self._answered = 0, set()
        await self._read(0)

    async def _everyone(self) -> None:
        """Wait until every stream is there, but not for ever."""
        with suppress(TimeoutError):
            async with asyncio.timeout(ALL_THERE_S):
                while not self._all_there():
                    self._stirred.clear()
                    await self._stirred.wait()

    def _all_there(self) -> bool:
        """Whether the front and every tablet that is online are streaming."""
        streams = [one.remote.stream for one in self._participants() if one.device.online]
        begun = all(stream.clock.running for stream in streams)
        return self._reader.stream.clock.running and bool(streams) and begun

    async def _read(self, turn: int, again: bool = False) -> None:
        """Read the sum of ``turn`` to the room."""
        going = self._going()
        if not self._reading or not going or turn >= len(going[0].remote.round.turns):
            return
        first = going[0].remote
        try:
            dictation = await asyncio.to_thread(self._sums.prepare, first.round.turns[turn])
        except OralquizError as error:
            self._trouble(str(error))
            return
        if not self._reading or not self._reader.stream.clock.running:
            return  # paused meanwhile: going on reads it
        at_s = self._now() + max(self._reader.ahead_s, first.options.gap_s + ROOM_LEAD_S)
        self._reader.read(dictation, turn, at_s)
        for one in going:
            one.remote.room_reads(turn, dictation, at_s, again=again)

    def _next_if_answered(self) -> None:
        going = self._going()
        waited_for = {
            one.remote.key for one in going if one.device.online or one.remote.key in self._answered
        }
        if self._reading and waited_for and waited_for <= self._answered:
            self._turn += 1
            self._answered = set()
            self._background.run(self._read(self._turn))
