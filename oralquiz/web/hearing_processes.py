"""Rounds heard in processes of their own, so that a class uses all cores of a computer.

Each process hears in one thread (``hearing_helper.py``). Processes are started when rounds begin
and end when they have had none for a while, or with this one: their input ends then.
"""

from __future__ import annotations

import asyncio
import os
import sys
from asyncio.subprocess import PIPE, Process
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from math import ceil
from threading import get_ident
from typing import Any

from oralquiz.errors import OralquizError
from oralquiz.listen import Recognizer
from oralquiz.web.capacity import pupils_at_once
from oralquiz.web.device_messages import Hush
from oralquiz.web.hearing_frames import (
    HEAD,
    NO_ROUND,
    AnswerTakes,
    Begin,
    Forget,
    Forgotten,
    NotOpened,
    Opened,
    TimeAnAnswer,
    frame,
    unpacked,
)
from oralquiz.web.inbox import EndRound, Item, Put
from oralquiz.web.reports import Failed, Finished, Hear
from oralquiz.web.round_worker import Opening
from oralquiz.web.spare_memory import HEAPS

PUPILS_EACH = 4
"""Rounds that one process hears before another is started, while there are cores for it. A process
costs some 40 MB; the answers of four take it a tenth of a second."""

IDLE_S = 10.0
"""Seconds after which a process without a round ends: the next round may follow soon."""

ENDING_S = 10.0
"""Seconds that a process has to end, once its input has."""

GATHERED_S = 0.02
"""Seconds for which what is put waits for more, so that one write serves many pupils."""

ENVIRONMENT = {
    "OPENBLAS_NUM_THREADS": "1",
    "OMP_NUM_THREADS": "1",
    "MALLOC_ARENA_MAX": str(HEAPS),
}

ENDED = "the process that hears it ended unexpectedly: what was answered until then is kept"


class HearingProcesses:
    """At most one process a core; the rounds are spread evenly over them. ``recognizer`` opens what
    they hear with and can be pickled; ``now`` in them is time.monotonic."""

    def __init__(
        self,
        recognizer: Callable[[], Recognizer],
        cores: int | None = None,
        idle_s: float = IDLE_S,
    ) -> None:
        self._begin = Begin(recognizer)
        self._cores = cores or own_cores()
        self._helpers: list[HearingProcess] = []
        self._leaving: list[HearingProcess] = []
        self._starting = asyncio.Lock()
        self._care = Care(self._gone, self._starting.locked, idle_s)
        self._at_once = 0
        self._rounds = NO_ROUND

    @property
    def pids(self) -> list[int]:
        """The processes there are."""
        return [helper.pid for helper in self._helpers]

    async def at_once(self) -> int:
        if not self._at_once:
            async with self._starting:
                (helper, *_) = await self._started(1)
                self._at_once = pupils_at_once(await helper.answer_s(), self._cores)
        return self._at_once

    async def open(self, openings: Sequence[Opening], hears: Sequence[Hear]) -> list[Put]:
        async with self._starting:
            rounds = sum(len(helper.rounds) for helper in self._helpers) + len(openings)
            await self._started(min(self._cores, ceil(rounds / PUPILS_EACH)))
            opened = await asyncio.gather(
                *(self._open(*one) for one in zip(openings, hears, strict=True)),
                return_exceptions=True,
            )
        return await all_or_none(opened)

    async def close(self) -> None:
        """Returns when all have ended, those too that were ending already."""
        await asyncio.gather(*(helper.end() for helper in [*self._helpers, *self._leaving]))

    async def _started(self, wanted: int) -> list[HearingProcess]:
        """The processes, at least ``wanted``. Raises OralquizError."""
        missing = range(wanted - len(self._helpers))
        started = await asyncio.gather(
            *(HearingProcess.started(self._begin, self._care) for _ in missing),
            return_exceptions=True,
        )
        self._helpers += [one for one in started if isinstance(one, HearingProcess)]
        for error in started:
            if isinstance(error, BaseException):
                raise error
        return self._helpers

    async def _open(self, opening: Opening, hear: Hear) -> OpenedRound:
        self._rounds += 1
        if not self._helpers:  # all ended since they were started
            raise OralquizError(ENDED)
        helper = min(self._helpers, key=lambda one: len(one.rounds))
        return await helper.open(self._rounds, opening, hear)

    def _gone(self, helper: HearingProcess) -> None:
        if helper in self._helpers:
            self._helpers.remove(helper)
            self._leaving = [one for one in self._leaving if not one.ended] + [helper]


def own_cores() -> int:
    """How many cores this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


async def all_or_none(opened: Sequence[OpenedRound | BaseException]) -> list[Put]:
    """The inboxes of rounds that were opened; if one was not, the others are ended and what kept
    it is raised."""
    errors = [one for one in opened if isinstance(one, BaseException)]
    held = [one for one in opened if not isinstance(one, BaseException)]
    if errors:
        for one in held:
            one.hear = lambda said: None
            one.put(EndRound("another round of the class could not begin"))
        await asyncio.gather(*(one.over.wait() for one in held))
        raise errors[0]
    return [one.put for one in held]


@dataclass(eq=False)
class OpenedRound:
    """A round that a process holds."""

    hear: Hear
    key: str
    put: Put
    opened: asyncio.Future[None]
    over: asyncio.Event = field(default_factory=asyncio.Event)


@dataclass(frozen=True)
class Care:
    """How long processes live: ``gone`` is called when one ends or is to end; none ends for being
    idle for ``idle_s`` while they are ``wanted``."""

    gone: Callable[[HearingProcess], None]
    wanted: Callable[[], bool]
    idle_s: float


class HearingProcess:
    """A process that hears, from here."""

    def __init__(self, process: Process, care: Care) -> None:
        self.rounds: dict[int, OpenedRound] = {}
        self._process = process
        self._care = care
        self._loop = asyncio.get_running_loop()
        self._thread = get_ident()
        self._waiting: list[tuple[int, Any]] = []
        self._ready: asyncio.Future[Any] = self._loop.create_future()
        self._idle: asyncio.TimerHandle | None = None
        self._reading = asyncio.create_task(self._read())

    @classmethod
    async def started(cls, begin: Begin, care: Care) -> HearingProcess:
        """A process that is ready to hear. Raises OralquizError."""
        process = await asyncio.create_subprocess_exec(
            sys.executable,
            "-m",
            "oralquiz.web.hearing_helper",
            stdin=PIPE,
            stdout=PIPE,
            env=os.environ | ENVIRONMENT,
        )
        helper = cls(process, care)
        helper._say(NO_ROUND, begin)
        try:
            await helper._ready
        except BaseException:
            await helper.end()
            raise
        helper._end_when_idle()
        return helper

    @property
    def pid(self) -> int:
        return self._process.pid

    @property
    def ended(self) -> bool:
        return self._reading.done()

    async def answer_s(self) -> float:
        """Seconds of a core that decoding an answer takes. Raises OralquizError."""
        self._ready = self._loop.create_future()
        self._say(NO_ROUND, TimeAnAnswer())
        takes: AnswerTakes = await self._ready
        return takes.answer_s

    async def open(self, number: int, opening: Opening, hear: Hear) -> OpenedRound:
        """Open a round here. Raises OralquizError."""

        def put(item: Item) -> None:
            if get_ident() == self._thread:
                self._say(number, item)
            else:
                self._loop.call_soon_threadsafe(self._say, number, item)

        held = OpenedRound(hear, opening.key, put, self._loop.create_future())
        self.rounds[number] = held
        self._say(number, opening)
        await held.opened
        return held

    async def end(self) -> None:
        """Have it end; one that does not is killed."""
        self._care.gone(self)
        if self._idle is not None:
            self._idle.cancel()
        stdin = self._process.stdin
        assert stdin is not None
        with suppress(OSError):
            self._flush()
            stdin.close()
        if not (await asyncio.wait([self._reading], timeout=ENDING_S))[0]:
            with suppress(ProcessLookupError):
                self._process.kill()
            await self._reading

    # --- to it ------------------------------------------------------------------------------

    def _say(self, number: int, said: Any) -> None:
        if not self._waiting:
            self._loop.call_later(GATHERED_S, self._flush)
        self._waiting.append((number, said))

    def _flush(self) -> None:
        stdin, waiting = self._process.stdin, self._waiting
        self._waiting = []
        if waiting and stdin is not None and not stdin.is_closing():
            stdin.write(frame(waiting))

    # --- from it ----------------------------------------------------------------------------

    async def _read(self) -> None:
        stdout = self._process.stdout
        assert stdout is not None
        try:
            while True:
                (length,) = HEAD.unpack(await stdout.readexactly(HEAD.size))
                for number, said in unpacked(await stdout.readexactly(length)):
                    self._take(number, said)
        except asyncio.IncompleteReadError:
            pass
        finally:
            self._care.gone(self)
            await self._process.wait()  # its locks are free then
            self._all_failed()

    def _take(self, number: int, said: Any) -> None:
        if number == NO_ROUND:
            settle(self._ready, said)
            return
        held = self.rounds[number]
        match said:
            case Opened() | NotOpened():
                settle(held.opened, said)
            case Forgotten():
                pass
            case _:
                held.hear(said)
        if isinstance(said, Finished | Failed):
            held.over.set()
            self._say(number, Forget())
        if isinstance(said, NotOpened | Forgotten):
            del self.rounds[number]
            self._end_when_idle()

    def _end_when_idle(self) -> None:
        if self._idle is not None:
            self._idle.cancel()
        self._idle = self._loop.call_later(self._care.idle_s, self._idled)

    def _idled(self) -> None:
        if self._care.wanted():
            self._end_when_idle()
        elif not self.rounds:
            self._ending = asyncio.create_task(self.end())

    def _all_failed(self) -> None:
        """It is gone: so are the rounds that it held."""
        settle(self._ready, NotOpened(ENDED))
        for held in self.rounds.values():
            if held.opened.done():
                held.hear(Hush(held.key))
                held.hear(Failed(ENDED))
            settle(held.opened, NotOpened(ENDED))
            held.over.set()
        self.rounds.clear()


def settle(future: asyncio.Future[Any], said: Any) -> None:
    """Give ``future`` what was said, once."""
    if future.done():
        return
    if isinstance(said, NotOpened):
        future.set_exception(OralquizError(said.why))
        future.exception()  # somebody may have stopped waiting
    else:
        future.set_result(said)
