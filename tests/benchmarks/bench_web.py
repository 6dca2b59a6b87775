"""A class at once: real WebSocket clients on loopback that answer within the same second.

    python -m tests.benchmarks.bench_web [--pupils 30] [--sums 3] [--no-limit]
                                         [--server-cores 0-11 --clients-core 12]

Starts `oralquiz serve` as its own process, has that many pupils join over HTTP, streams a
microphone for each (packets of 60 ms in real time), reads what the pages would be told, and has
everybody answer in a synthetic voice, every third answer five off, so that all voices end within
one second. Prints one table: the time from the end of the voice in the microphone to the verdict on
the page (a wrong number may be taken back for 0.45 s first), what was heard, packets lost or
doubled, and the server's memory.
"""

from __future__ import annotations

import argparse
import asyncio
import json
import os
import random
import re
import subprocess
import sys
import tempfile
import time
from collections.abc import AsyncGenerator, Iterator, Sequence
from contextlib import aclosing, contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import httpx2 as httpx
import numpy as np
import websockets

from oralquiz.records.database import open_records
from oralquiz.records.pupil_list import add_pupil
from oralquiz.sound.blocks import BLOCK, SESSION_RATE
from oralquiz.sound.clip import Samples
from oralquiz.sound.resampling import at_session_rate
from oralquiz.speak.reading import number_words
from oralquiz.speak.voices import pupil_voices
from oralquiz.web.packets import as_packet

HISS = np.random.default_rng(0).normal(0, 10 ** (-60 / 20), 60 * SESSION_RATE).astype(np.float32)
"""A minute of a quiet room; each microphone begins somewhere else in it."""
STEP = "direct"
BLOCKS = 3
"""Blocks in a packet, as pages send them."""


@dataclass
class Pupil:
    """A page without a browser."""

    name: str
    voice: int
    hiss: int
    run: str = ""
    next: int = 0
    began: float = 0.0
    kept: int = 0
    playing: list[tuple[int, Samples]] = field(default_factory=list)
    reading: dict[str, Any] = field(default_factory=dict)
    ends: dict[int, float] = field(default_factory=dict)
    """turn -> when the voice ended, on the clock of the microphone"""
    verdicts: dict[int, tuple[float, str, Any]] = field(default_factory=dict)
    said: dict[int, int] = field(default_factory=dict)
    asked: int = 0
    voice_end: tuple[int, int] | None = None
    over: bool = False


def sound(pupil: Pupil) -> Samples:
    """The next packet's samples."""
    start, count = pupil.next * BLOCK, BLOCKS * BLOCK
    first = (start + pupil.hiss) % (len(HISS) - count)
    heard = HISS[first : first + count].copy()
    for at, samples in pupil.playing:
        first, last = max(start, at), min(start + count, at + len(samples))
        if first < last:
            heard[first - start : last - start] += samples[first - at : last - at]
    return heard


async def stream(pupil: Pupil, socket: Any) -> None:
    """The microphone, in real time from `begin` on."""
    while not pupil.over:
        if not pupil.run:
            await asyncio.sleep(0.01)
            continue
        due = pupil.began + (pupil.next + BLOCKS) * BLOCK / SESSION_RATE
        await asyncio.sleep(max(0.0, due - time.monotonic()))
        await socket.send(as_packet(pupil.next, sound(pupil)))
        pupil.next += BLOCKS
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


async def answer(pupils: list[Pupil], live: dict[str, Any], turns: int, clips: Any) -> None:
    """Have everybody answer each sum so that all voices end within one second."""
    for turn in range(turns):
        while not all(p.over or p.reading.get("turn") == turn for p in pupils):
            await asyncio.sleep(0.02)
        while any(row["turn"] != turn and row["phase"] != "over" for row in live["rows"]):
            await asyncio.sleep(0.02)  # until the teacher's page has the sums
        said = [p.began + p.reading["terms"][-1][1] / SESSION_RATE for p in pupils]
        common = max(*said, time.monotonic()) + 1.6
        for number, pupil in enumerate(pupils):
            value = next(row["right_value"] for row in live["rows"] if row["pupil"] == pupil.name)
            if (number + turn) % 3 == 0:
                value += 5 if value < 50 else -5
            pupil.said[turn] = value
            clip = clips(pupil.voice, value)
            end_s = common + random.random()
            end = round((end_s - pupil.began) * SESSION_RATE)
            pupil.playing = [(end - len(clip), clip)]
            pupil.voice_end = (turn, end)


@dataclass(frozen=True)
class Held:
    """A finished round: who took part, the teacher's last view of it, the cores used by the
    server and its helpers and by the clients, the memory taken when it was over."""

    pupils: list[Pupil]
    live: dict[str, Any]
    load: float
    clients: float
    memory: float


async def classroom(url: str, names: list[str], turns: int, pid: int) -> AsyncGenerator[Held, None]:
    """Rounds with the same pupils, one after another, as long as more are asked for."""
    voices = pupil_voices()
    cache: dict[tuple[int, int], Samples] = {}

    def clips(voice: int, value: int) -> Samples:
        if (voice, value) not in cache:
            clip = at_session_rate(voices[voice].say(number_words(value))).samples
            cache[voice, value] = (0.3 * clip / np.abs(clip).max()).astype(np.float32)
        return cache[voice, value]

    for value in range(100):  # rendered beforehand, so that no voice is late
        for voice in range(len(voices)):
            clips(voice, value)
    origin = {"origin": url}
    live: dict[str, Any] = {}
    async with httpx.AsyncClient(base_url=url, headers=origin, timeout=60) as teacher:
        await teacher.get("/class")
        await teacher.post("/class", data={"what": "open"})
        found = re.search(r'<p class="code">([A-Z0-9]{6})</p>', (await teacher.get("/class")).text)
        assert found is not None
        plan = {"step": STEP, "count": turns, "terms": "3", "pace": "1.5", "way": "own"}
        plan["within"] = "25"  # quick pupils wait for those who are asked again
        ws_url = url.replace("http", "ws")
        watching = await websockets.connect(
            f"{ws_url}/ws/teacher", origin=websockets.Origin(url), max_size=None
        )

        async def watch() -> None:
            async for raw in watching:
                data = json.loads(raw)
                if data["t"] == "live" and data["lesson"]:
                    live.update(data["lesson"])
                elif data["t"] == "note":
                    raise SystemExit(data["text"])  # it did not begin: there is no round to time

        sockets = []
        for name in names:
            async with httpx.AsyncClient(base_url=url, headers=origin, timeout=60) as page:
                came = await page.post("/join", data={"code": found[1], "name": name})
                assert came.status_code == 303, came.text
                cookie = "; ".join(f"{k}={v}" for k, v in page.cookies.items())
            socket = await websockets.connect(
                f"{ws_url}/ws/me",
                origin=websockets.Origin(url),
                additional_headers={"cookie": cookie},
            )
            hello = {"t": "hello", "mic": True, "run": "", "first": 0, "play": 0}
            await socket.send(json.dumps(hello))
            await socket.send(json.dumps({"t": "ready", "mic": True}))
            sockets.append(socket)
        watcher = asyncio.create_task(watch())
        try:
            while True:
                pupils = [
                    Pupil(name, number % len(voices), number * 7_919)
                    for number, name in enumerate(names)
                ]
                await teacher.post("/plan", data=plan)
                tasks = [
                    asyncio.create_task(work(pupil, socket))
                    for pupil, socket in zip(pupils, sockets, strict=True)
                    for work in (stream, listen)
                ]
                await asyncio.sleep(0.5)
                await watching.send(json.dumps({"t": "do", "name": "begin"}))
                used, own, since = cpu_s(pid), time.process_time(), time.monotonic()
                tasks.append(asyncio.create_task(answer(pupils, live, turns, clips)))
                await asyncio.wait_for(asyncio.gather(*tasks), 60 + 60 * turns)
                took_s = time.monotonic() - since
                load = (cpu_s(pid) - used) / took_s
                clients = (time.process_time() - own) / took_s
                highest = memory(pid)
                await asyncio.sleep(1.0)
                yield Held(pupils, dict(live), load, clients, highest)
        finally:
            watcher.cancel()
            for socket in (watching, *sockets):
                await socket.close()


async def once(url: str, names: list[str], turns: int, pid: int) -> None:
    async with aclosing(classroom(url, names, turns, pid)) as rounds:
        held = await anext(rounds)
    report(held, turns, pid)


def waits_s(pupils: Sequence[Pupil]) -> dict[str, list[float]]:
    """Seconds from the end of the voice to what was shown, grouped by what was shown."""
    waits: dict[str, list[float]] = {"any verdict": []}
    for pupil in pupils:
        for turn, (at, shown, _) in pupil.verdicts.items():
            for key in ("any verdict", shown):
                waits.setdefault(key, []).append(at - pupil.ends[turn])
    return waits


def heard_as_said(held: Held) -> int:
    said = {pupil.name: pupil.said for pupil in held.pupils}
    return sum(a["value"] == said[a["pupil"]][a["turn"]] for a in held.live["answers"])


def family(pid: int) -> list[int]:
    """A process and its children (Linux)."""
    tasks = Path(f"/proc/{pid}/task").iterdir()
    return [pid, *(int(one) for task in tasks for one in (task / "children").read_text().split())]


def memory(pid: int) -> float:
    """Memory of a process and its children in MB, what several share counted once (Linux)."""
    found = 0
    for one in family(pid):
        with suppress(OSError):  # it may just have ended
            rollup = Path(f"/proc/{one}/smaps_rollup").read_text()
            found += sum(int(kb) for kb in re.findall(r"^Pss:\s+(\d+) kB", rollup, re.M))
    return found / 1000


def cpu_s(pid: int) -> float:
    """Seconds of processor time that a process and its children have used (Linux)."""
    ticks = 0
    for one in family(pid):
        with suppress(OSError):
            fields = Path(f"/proc/{one}/stat").read_text().rsplit(")", 1)[1].split()
            ticks += sum(map(int, fields[11:15] if one == pid else fields[11:13]))
    return ticks / os.sysconf("SC_CLK_TCK")


def report(held: Held, turns: int, pid: int) -> None:
    pupils, live, load = held.pupils, held.live, held.load
    by_verdict = waits_s(pupils)
    waits = by_verdict["any verdict"]
    ends = [[p.ends[turn] for p in pupils if turn in p.ends] for turn in range(turns)]
    answers = live["answers"]
    heard = heard_as_said(held)
    verdicts = {v: sum(a["verdict"] == v for a in answers) for v in ("right", "wrong", "unclear")}
    rows = [
        ("pupils, sums each", f"{len(pupils)}, {turns}"),
        ("voices of a sum end within", f"{max(max(e) - min(e) for e in ends):.2f} s"),
        ("verdicts shown", f"{len(waits)} of {len(pupils) * turns}"),
        ("heard as said", f"{heard} of {len(answers)}"),
        ("right / wrong / unclear", " / ".join(str(n) for n in verdicts.values())),
        ("asked again", str(sum(p.asked for p in pupils))),
        *(
            (
                f"end of voice to {shown}, p50, p95, max",
                ", ".join(f"{np.quantile(times, q):.3f}" for q in (0.5, 0.95, 1)) + " s",
            )
            for shown, times in by_verdict.items()
        ),
        ("cores the server and its helpers used", f"{load:.2f}"),
        ("cores the clients used", f"{held.clients:.2f}"),
        ("core time per second and pupil", f"{1000 * load / len(pupils):.1f} ms"),
        ("memory at the round's end and after it", f"{held.memory:.0f}, {memory(pid):.0f} MB"),
    ]
    for name, value in rows:
        print(f"{name:<46} {value}")


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--pupils", type=int, default=30)
    parser.add_argument("--sums", type=int, default=3)
    parser.add_argument("--no-limit", action="store_true", help="however many pupils there are")
    parser.add_argument("--server-cores", type=cores, help="Cores of the server, as in 0-11.")
    parser.add_argument("--clients-core", type=cores, help="The core of all pupils' pages.")
    wanted = parser.parse_args()
    program = "tests.benchmarks.server_without_limit" if wanted.no_limit else "oralquiz"
    names = [f"Pupil {k:02}" for k in range(wanted.pupils)]
    if wanted.server_cores:
        os.sched_setaffinity(0, wanted.server_cores)
    with served(names, program) as (url, pid):
        if wanted.clients_core:
            os.sched_setaffinity(0, wanted.clients_core)
        asyncio.run(once(url, names, wanted.sums, pid))


def cores(text: str) -> set[int]:
    """The cores that ``text`` names: 3, or 0-11."""
    first, _, last = text.partition("-")
    return set(range(int(first), int(last or first) + 1))


@contextmanager
def served(names: Sequence[str], program: str = "oralquiz") -> Iterator[tuple[str, int]]:
    """A server with these pupils in a folder of its own: its address and its process."""
    with tempfile.TemporaryDirectory(prefix="oralquiz-") as home:
        db = open_records(Path(home) / "data" / "records.db")
        for name in names:
            add_pupil(db, name, created="2026-01-05T09:00:00+00:00", class_name="3B", consent=True)
        db.close()
        server = subprocess.Popen(
            [sys.executable, "-m", program, "serve", "--port", "0", "--json"],
            env=os.environ | {"ORALQUIZ_HOME": home},
            stdout=subprocess.PIPE,
            text=True,
        )
        try:
            assert server.stdout is not None
            yield json.loads(server.stdout.readline())["urls"][0], server.pid
        finally:
            server.terminate()
            server.wait(20)


if __name__ == "__main__":
    main()
