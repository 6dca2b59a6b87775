"""Pupils' pages without a browser, many in one process, for `bench_web`.

A process of them is told over a pipe what happens; what it answers is in the docstring of
``pages``.
"""

from __future__ import annotations

import asyncio
import json
import random
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from multiprocessing.connection import Connection
from typing import Any

import httpx2 as httpx
import numpy as np
import websockets

from oralquiz.sound.blocks import BLOCK, SESSION_RATE
from oralquiz.sound.clip import Samples
from oralquiz.web.packets import as_packet

HISS = np.random.default_rng(0).normal(0, 10 ** (-60 / 20), 60 * SESSION_RATE).astype(np.float32)
"""A minute of a quiet room; each microphone begins somewhere else in it."""

SHORT, LONG = 3, 12
"""Blocks in a packet, as pages send them (`worklet.js`): long ones up to the last term of a sum."""

Answers = Mapping[str, tuple[int, Samples]]
"""pupil -> the number that is said, and its sound at SESSION_RATE."""


@dataclass
class Pupil:
    """A page without a browser."""

    name: str
    hiss: int
    run: str = ""
    next: int = 0
    began: float = 0.0
    playing: list[tuple[int, Samples]] = field(default_factory=list)
    reading: dict[str, Any] = field(default_factory=dict)
    ends: dict[int, float] = field(default_factory=dict)
    """turn -> when the voice ended, on the clock of the microphone"""
    verdicts: dict[int, tuple[float, str, Any]] = field(default_factory=dict)
    said: dict[int, int] = field(default_factory=dict)
    asked: int = 0
    voice_end: tuple[int, int] | None = None
    over: bool = False

    @property
    def sum_ends_s(self) -> float:
        """When the last term has sounded."""
        return self.began + float(self.reading["terms"][-1][1]) / SESSION_RATE

    @property
    def blocks(self) -> int:
        """How many blocks the next packet has."""
        waited_for = self.reading["terms"][-1][0] if self.reading else 0
        return min(LONG, max(SHORT, waited_for // BLOCK - self.next))

    def sound(self, count: int) -> Samples:
        """The next ``count`` samples."""
        start = self.next * BLOCK
        first = (start + self.hiss) % (len(HISS) - count)
        heard = HISS[first : first + count].copy()
        for at, samples in self.playing:
            first, last = max(start, at), min(start + count, at + len(samples))
            if first < last:
                heard[first - start : last - start] += samples[first - at : last - at]
        return heard

    def answer(self, turn: int, value: int, clip: Samples, end_s: float) -> None:
        """Say ``value`` so that the voice ends at ``end_s``."""
        end = round((end_s - self.began) * SESSION_RATE)
        self.said[turn] = value
        self.playing = [(end - len(clip), clip)]
        self.voice_end = (turn, end)


async def stream(pupil: Pupil, socket: Any) -> None:
    """The microphone, in real time from `begin` on."""
    while not pupil.over:
        if not pupil.run:
            await asyncio.sleep(0.01)
            continue
        count = pupil.blocks
        due = pupil.began + (pupil.next + count) * BLOCK / SESSION_RATE
        await asyncio.sleep(max(0.0, due - time.monotonic()))
        await socket.send(as_packet(pupil.next, pupil.sound(count * BLOCK)))
        pupil.next += count
        if pupil.voice_end and pupil.next * BLOCK >= pupil.voice_end[1]:
            turn, end = pupil.voice_end
            pupil.ends[turn] = pupil.began + end / SESSION_RATE
            pupil.voice_end = None


async def listen(pupil: Pupil, socket: Any) -> None:
    async for raw in socket:
        data = json.loads(raw)
        kind = data["t"]
        if kind == "begin":
            pupil.run, pupil.next, pupil.began = data["run"], data["next"], time.monotonic()
        elif kind == "ping":
            await socket.send(json.dumps({"t": "pong", "n": data["n"]}))
        elif kind == "reading":
            pupil.reading = data
        elif kind == "show" and data["phase"] in ("answer", "again"):
            turn = data["turn"]
            if data["phase"] == "again":  # said again, well after the page has asked
                pupil.asked += 1
                again = pupil.next * BLOCK + 3 * SESSION_RATE
                pupil.playing = [(again, samples) for _, samples in pupil.playing[-1:]]
            if turn in pupil.ends and turn not in pupil.verdicts:
                shown = data.get("verdict", "asked again")
                pupil.verdicts[turn] = (time.monotonic(), shown, data.get("value"))
        elif kind == "show" and data["phase"] in ("over", "trouble") and pupil.run:
            pupil.over = True
            return


async def page(url: str, code: str, name: str) -> Any:
    """The socket of a page on which ``name`` has joined and pressed the button."""
    origin = {"origin": url}
    async with httpx.AsyncClient(base_url=url, headers=origin, timeout=60) as browser:
        came = await browser.post("/join", data={"code": code, "name": name})
        assert came.status_code == 303, came.text
        cookie = "; ".join(f"{k}={v}" for k, v in browser.cookies.items())
    socket = await websockets.connect(
        url.replace("http", "ws") + "/ws/me",
        origin=websockets.Origin(url),
        additional_headers={"cookie": cookie},
    )
    hello = {"t": "hello", "mic": True, "run": "", "first": 0, "play": 0}
    await socket.send(json.dumps(hello))
    await socket.send(json.dumps({"t": "ready", "mic": True}))
    return socket


async def one_round(pupils: Sequence[Pupil], sockets: Sequence[Any], turns: int, pipe: Any) -> None:
    """Hold a round: for each turn, tell when the sums end, and answer as it is said."""
    tasks = [
        asyncio.create_task(work(pupil, socket))
        for pupil, socket in zip(pupils, sockets, strict=True)
        for work in (stream, listen)
    ]
    pipe.send("listening")
    for turn in range(turns):
        while not all(one.over or one.reading.get("turn") == turn for one in pupils):
            await asyncio.sleep(0.02)
        pipe.send(max(one.sum_ends_s for one in pupils))
        common_s, answers = await asyncio.to_thread(pipe.recv)
        for one in pupils:
            value, clip = answers[one.name]
            one.answer(turn, value, clip, common_s + random.random())
    await asyncio.gather(*tasks)


async def hold(pipe: Connection, url: str, code: str, names: Sequence[str]) -> None:
    sockets = [await page(url, code, name) for name in names]
    pipe.send("joined")
    while turns := await asyncio.to_thread(pipe.recv):
        pupils = [Pupil(name, number * 7_919) for number, name in enumerate(names)]
        since = time.process_time()
        await one_round(pupils, sockets, turns, pipe)
        for one in pupils:
            one.playing = []
        pipe.send((pupils, time.process_time() - since))
    for socket in sockets:
        await socket.close()


def pages(pipe: Connection, url: str, code: str, names: Sequence[str]) -> None:
    """A process of pupils: joins, and says "joined". Told a number of turns, it holds a round:
    says "listening"; for each turn when the last of its sums ends, and is told (seconds of the
    monotonic clock from which on voices may end, Answers); at the end (its pupils, seconds of
    processor time). Told 0, it ends."""
    asyncio.run(hold(pipe, url, code, names))
