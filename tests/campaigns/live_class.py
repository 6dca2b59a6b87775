"""A class at a real server: its process, the teacher's page, and pupils who answer aloud or type.

Pages without a browser, each on a connection of its own; sound goes in packets in real time.
"""

from __future__ import annotations

import asyncio
import json
import os
import re
import signal
import sys
from collections.abc import Callable, Sequence
from contextlib import suppress
from pathlib import Path
from random import Random
from typing import Any

import httpx2 as httpx
import numpy as np
import websockets

from oralquiz.folders import HOME_VARIABLE
from oralquiz.sound import BLOCK, SESSION_RATE
from oralquiz.sound.clip import Samples
from oralquiz.sound.resampling import at_session_rate
from oralquiz.speak.reading import number_words
from oralquiz.speak.voices import pupil_voices
from tests.benchmarks.web_pupils import LONG, Pupil, page, stream

Shown = dict[tuple[str, int], tuple[str, int | None]]
"""Verdict and number that a page showed, by the key of the round and the turn."""

CLASS = "3B"
PLAN = {"step": "direct", "terms": "2", "pace": "1", "way": "own", "within": "6"}


class Server:
    """`oralquiz serve` in a process of its own, with everything it keeps in ``home``."""

    def __init__(self, home: Path, process: asyncio.subprocess.Process, url: str) -> None:
        self.home, self.url, self._process = home, url, process

    @classmethod
    async def started(cls, home: Path) -> Server:
        with (home / "said.txt").open("ab") as said:
            process = await asyncio.create_subprocess_exec(
                sys.executable, "-m", "oralquiz", "serve", "--port", "0", "--json",
                env=os.environ | {HOME_VARIABLE: str(home)},
                stdout=asyncio.subprocess.PIPE, stderr=said,
            )  # fmt: skip
        assert process.stdout is not None
        told = await process.stdout.readline()
        assert told, "the server has not begun"
        return cls(home, process, json.loads(told)["urls"][0])

    async def killed(self) -> None:
        """Kill it, and nothing else."""
        self._process.kill()
        await self._process.wait()

    async def ended(self) -> None:
        """End it as Ctrl-C does."""
        if self._process.returncode is None:
            self._process.send_signal(signal.SIGINT)
        await asyncio.wait_for(self._process.wait(), 30)


def processes(home: Path, what: str = "") -> list[int]:
    """Processes that keep everything in ``home`` and have ``what`` in their command (Linux)."""
    wanted, found = f"{HOME_VARIABLE}={home}".encode(), []
    for path in Path("/proc").glob("[0-9]*"):
        with suppress(OSError):  # it has just ended, or is somebody else's
            ours = wanted in (path / "environ").read_bytes().split(b"\0")
            if ours and what.encode() in (path / "cmdline").read_bytes():
                found.append(int(path.name))
    return found


class Voices:
    """What the pupils say, each number synthesised once."""

    def __init__(self) -> None:
        self._voices = pupil_voices()
        self._said: dict[tuple[int, int], Samples] = {}

    def say(self, voice: int, value: int) -> Samples:
        key = (voice % len(self._voices), value)
        if key not in self._said:
            clip = at_session_rate(self._voices[key[0]].say(number_words(value))).samples
            self._said[key] = (0.3 * clip / np.abs(clip).max()).astype(np.float32)
        return self._said[key]


class LiveClass:
    """The teacher's page and those of pupils ``names``, signed in at ``server``; ``shown`` is what
    the pupils' pages showed. The last pupil types."""

    def __init__(
        self, server: Server, names: Sequence[str], voices: Voices, random: Random
    ) -> None:
        self.server = server
        self.shown: Shown = {}
        self.whose: dict[str, str] = {}
        """Whose round a key names."""
        self.phases: dict[str, str] = {}
        """The last phase that each pupil's page showed."""
        self.trouble = ""
        """What the teacher's page says is wrong."""
        self.note = ""
        """Why something that the teacher asked for was not done."""
        self.teacher = httpx.AsyncClient(
            base_url=server.url,
            headers={"origin": server.url},
            timeout=60,
            limits=httpx.Limits(max_keepalive_connections=0),  # one that is kept may just be closed
        )
        self._pupils = [Pupil(name, random.randrange(10**6)) for name in names]
        self._voices, self._random = voices, random
        self._rows: dict[str, dict[str, Any]] = {}
        self._ready: set[str] = set()
        self._tasks: list[asyncio.Task[None]] = []
        self._sockets: list[Any] = []

    async def sign_in(self) -> None:
        await self.teacher.get("/class")
        for what in ("close", "open"):
            sent = await self.teacher.post("/class", data={"what": what})
            assert sent.status_code == 303, sent.text
        shown = await self.teacher.get("/class")
        code = re.search(r'<p class="code">([A-Z0-9]{6})</p>', shown.text)
        assert code is not None, (shown.status_code, shown.text)
        self._watching = await websockets.connect(
            self.server.url.replace("http", "ws") + "/ws/teacher",
            origin=websockets.Origin(self.server.url),
            max_size=None,
        )
        self._sockets.append(self._watching)
        self._tasks.append(asyncio.create_task(self._watch()))
        for pupil in self._pupils:
            socket = await page(self.server.url, code[1], pupil.name)
            self._sockets.append(socket)
            self._tasks += [
                asyncio.create_task(stream(pupil, socket)),
                asyncio.create_task(self._follow(pupil, socket)),
            ]

    async def begin(self, count: int) -> None:
        """Begin a round of ``count`` sums."""
        await self.teacher.post("/plan", data={**PLAN, "count": str(count)})
        while not self._ready >= {pupil.name for pupil in self._pupils}:
            await asyncio.sleep(0.01)
        await self._watching.send(json.dumps({"t": "do", "name": "begin"}))

    async def stop(self) -> None:
        """Have the teacher stop the round, if one was begun."""
        await self._watching.send(json.dumps({"t": "do", "name": "stop"}))
        await self.until(lambda: len(self.over) == len(self._pupils), 5.0)

    @property
    def over(self) -> list[str]:
        """Whose round is over, one way or the other."""
        return [name for name, phase in self.phases.items() if phase in ("over", "trouble")]

    async def until(self, there: Callable[[], bool], seconds: float) -> bool:
        """Whether ``there`` within so many seconds. A round that was refused is not waited for."""
        with suppress(TimeoutError):
            async with asyncio.timeout(seconds):
                while not there() and not self.note:
                    await asyncio.sleep(0.01)
        return there()

    async def close(self) -> None:
        """Close every page."""
        for task in self._tasks:
            task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)
        for socket in self._sockets:
            socket.transport.abort()  # what is not on its way yet does not matter
        await self.teacher.aclose()

    # --- pages ------------------------------------------------------------------------------

    async def _watch(self) -> None:
        async for raw in self._watching:
            data = json.loads(raw)
            if data["t"] == "live":
                self._ready = {one["pupil"] for one in data["here"] if one["ready"]}
                held = data["lesson"] or {"rows": [], "trouble": ""}
                self.trouble = held["trouble"]
                self._rows = {row["pupil"]: row for row in held["rows"]}
            elif data["t"] == "note":
                self.note = data["text"]

    async def _follow(self, pupil: Pupil, socket: Any) -> None:
        async for raw in socket:
            data = json.loads(raw)
            match data["t"]:
                case "begin":
                    pupil.run, pupil.next = data["run"], data["next"]
                    pupil.began = asyncio.get_running_loop().time()
                    self.phases[pupil.name] = "begun"
                    self.whose[pupil.run] = pupil.name
                case "end":
                    pupil.run = ""
                case "ping":
                    await socket.send(json.dumps({"t": "pong", "n": data["n"]}))
                case "reading":
                    pupil.reading = data
                    self._tasks.append(asyncio.create_task(self._answer(pupil, socket, data)))
                case "show":
                    self._show(pupil, data)
                case _:
                    pass

    def _show(self, pupil: Pupil, data: dict[str, Any]) -> None:
        phase = self.phases[pupil.name] = data["phase"]
        if phase == "answer" and data["verdict"] != "skipped":
            self.shown[pupil.run, data["turn"]] = (data["verdict"], data["value"])
        elif phase == "again" and pupil.playing:
            at = pupil.next * BLOCK + SESSION_RATE
            pupil.playing = [(at, samples) for _, samples in pupil.playing[-1:]]

    async def _answer(self, pupil: Pupil, socket: Any, reading: dict[str, Any]) -> None:
        """Say or type a number after the last term: one in three is wrong, one in eight is not
        said."""
        turn = reading["turn"]
        while (row := self._rows.get(pupil.name)) is None or row["turn"] != turn:
            await asyncio.sleep(0.02)  # until the teacher's page has the sum
        value = row["right_value"] + (self._random.random() < 0.33)
        end = reading["terms"][-1][1] + round(self._random.uniform(0.2, 0.8) * SESSION_RATE)
        if self._random.random() < 0.125:
            return
        if pupil is self._pupils[-1]:
            while pupil.next * BLOCK < end:
                await asyncio.sleep(0.02)
            await socket.send(json.dumps({"t": "typed", "run": pupil.run, "value": value}))
        else:
            clip = await asyncio.to_thread(self._voices.say, self._pupils.index(pupil), value)
            pupil.playing = [(max(end, (pupil.next + LONG) * BLOCK), clip)]
