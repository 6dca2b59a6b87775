"""Which rounds are being held: one in class, and one for each pupil who practises at home."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Sequence
from contextlib import suppress

from oralquiz.errors import BadInput
from oralquiz.records import Pupil
from oralquiz.rounds import RoundPlan, Way
from oralquiz.solo import PracticeRound
from oralquiz.web.assembly import Assembly, Lately
from oralquiz.web.background import Background
from oralquiz.web.bookkeeper import Bookkeeper
from oralquiz.web.browser_device import SLOWER, BrowserDevice
from oralquiz.web.capacity import too_many
from oralquiz.web.class_round import ClassRound, Phase
from oralquiz.web.roster import PUPIL_COMMANDS, Roster, device_key

CLOSING_S = 5.0
"""Seconds in which rounds that were stopped are brought to their end."""

PRACTICE_COMMANDS = frozenset({"pause", "resume", "repeat", "skip", "stop"})
CHOSEN_COMMANDS = PRACTICE_COMMANDS | {SLOWER}
"""Where the pace follows the pupil."""


class Conductor:
    """Starts rounds and ends them."""

    def __init__(
        self,
        roster: Roster,
        assembly: Assembly,
        bookkeeper: Bookkeeper,
        background: Background,
        changed: Callable[[], None],
    ) -> None:
        self.class_round: ClassRound | None = None
        self.practices: dict[str, ClassRound] = {}
        """By the key of the pupil's device."""
        self._roster = roster
        self._assembly = assembly
        self._bookkeeper = bookkeeper
        self._background = background
        self._changed = changed
        self._starting = asyncio.Lock()

    @property
    def going(self) -> list[ClassRound]:
        """The rounds that are not over."""
        held = [self.class_round, *self.practices.values()]
        return [one for one in held if one is not None and one.phase is not Phase.OVER]

    def device_changed(self) -> None:
        for class_round in self.going:
            class_round.device_changed()

    async def start(
        self, plan: RoundPlan, pupils: Sequence[Pupil], lately: Lately | None = None
    ) -> ClassRound:
        """Hold a round in class. ``lately``: the sums that each pupil was given lately. Raises
        OralquizError with what a teacher can do about it."""
        async with self._starting:
            if self.class_round is not None and self.class_round in self.going:
                raise BadInput("a round is being held: end it first")
            if not pupils:
                raise BadInput("choose at least one pupil")
            devices = self._devices_for(plan, pupils)
            await self._check_capacity(devices)
            for device in devices:
                self._take_from_practice(device)
            before, self.class_round = (
                self.class_round,
                await self._hold(plan, pupils, devices, practice=False, lately=lately),
            )
            if before is not None:
                before.forget_voices()
            self._changed()
            return self.class_round

    def _devices_for(self, plan: RoundPlan, pupils: Sequence[Pupil]) -> list[BrowserDevice]:
        """The devices that the round runs on. Raises BadInput when one is not ready."""
        front = self._roster.front
        if plan.way is not Way.OWN and not front.ready:
            raise BadInput("press “Sound on” first: this computer's sound is not on yet")
        if plan.way is Way.FRONT:
            return [front]
        devices = [self._roster.device_of(pupil) for pupil in pupils]
        for device in devices:
            if not (device.online and device.ready):
                raise BadInput(f"{device.name} has not pressed “I am ready” yet")
        return devices

    def _take_from_practice(self, device: BrowserDevice) -> None:
        if device is not self._roster.front:
            device.commands = PUPIL_COMMANDS
        practice = self.practices.pop(device.key, None)
        if practice is not None:
            practice.do("stop")

    async def practise(
        self, plan: RoundPlan, pupil: Pupil, chosen: PracticeRound | None = None
    ) -> ClassRound:
        """A pupil's own round at home, with sums ``chosen`` for the pupil or (None) those of the
        plan. Raises OralquizError."""
        async with self._starting:  # else two windows could begin two rounds on one device
            device = self._roster.device_of(pupil)
            if self.holds(pupil):
                raise BadInput("your class is having a lesson")
            if self.practices.get(device.key) in self.going:
                raise BadInput("a round is already running")
            await self._check_capacity([device])
            device.commands = CHOSEN_COMMANDS if chosen else PRACTICE_COMMANDS
            practice = await self._hold(plan, [pupil], [device], practice=True, chosen=chosen)
            self.practices[device.key] = practice
            return practice

    async def _hold(
        self,
        plan: RoundPlan,
        pupils: Sequence[Pupil],
        devices: Sequence[BrowserDevice],
        *,
        practice: bool,
        chosen: PracticeRound | None = None,
        lately: Lately | None = None,
    ) -> ClassRound:
        def make(key: str, title: str) -> ClassRound:
            return ClassRound(
                key,
                plan,
                title,
                practice=practice,
                changed=self._changed,
                finished=self._bookkeeper.finished,
                too_late=self._bookkeeper.too_late,
                chosen=chosen,
            )

        return await self._assembly.assemble(plan, pupils, devices, make, chosen, lately)

    async def _check_capacity(self, devices: Sequence[BrowserDevice]) -> None:
        """Raises BadInput when so many microphones, with those of rounds that go on, would make
        verdicts late."""
        held = (one for class_round in self.going for one in class_round.participants.values())
        others = {one.device for one in held if not one.over} - set(devices)
        pupils = sum(device.mic for device in [*others, *devices])
        at_once = await self._assembly.hearing.at_once()
        if pupils > at_once:
            raise BadInput(too_many(pupils, at_once))

    def holds(self, pupil: Pupil) -> bool:
        """Whether ``pupil`` takes part in the round that is held in class."""
        held = self.class_round
        return held is not None and held in self.going and pupil.name in held.by_pupil

    async def forget(self, pupil: Pupil) -> None:
        """Before ``pupil`` is erased: end what runs, see it stored, keep no sound of it in memory.

        Raises BadInput while the class holds a round with the pupil: it would be stored afterwards.
        """
        async with self._starting:
            if self.holds(pupil):
                raise BadInput(f"{pupil.name} is in the round that is being held: end it first")
            self._roster.release(pupil)
            practice = self.practices.pop(device_key(pupil), None)
            if practice is not None:
                await self._end([practice])
            await self._background.done(quietly=True)
            if self.class_round is not None and pupil.name in self.class_round.by_pupil:
                self.class_round = None
            self._changed()

    async def close(self) -> None:
        """End every round and keep what was held."""
        await self._end(self.going)

    async def _end(self, rounds: Sequence[ClassRound]) -> None:
        """Stop ``rounds`` and wait until they are over, but not for ever."""
        for class_round in rounds:
            class_round.do("stop")
        with suppress(TimeoutError):
            async with asyncio.timeout(CLOSING_S):
                for class_round in rounds:
                    await class_round.ended.wait()
