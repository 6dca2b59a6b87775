"""A class at once: real WebSocket clients on loopback that answer within the same second.

    python -m tests.benchmarks.bench_web [--pupils 30] [--sums 3] [--no-limit]
                                         [--server-cores 0-11 --clients-core 12-15]

Starts `oralquiz serve` as its own process, has that many pupils join over HTTP, streams a
microphone for each (in real time, packets as long as a page's), reads what the pages would be
told, and has everybody answer in a synthetic voice, every third answer five off, so that all voices
end within one second. A hundred pupils share a process. Prints one table: the time from the end of
the voice in the microphone to the verdict on the page (a wrong number may be taken back for 0.45 s
first), what was heard, packets lost or doubled, and the server's memory.
"""

from __future__ import annotations

import argparse
import asyncio
import json
import multiprocessing
import os
import re
import subprocess
import sys
import tempfile
import time
from collections.abc import AsyncGenerator, Iterator, Sequence
from contextlib import aclosing, contextmanager, suppress
from dataclasses import dataclass
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

import httpx2 as httpx
import numpy as np
import websockets

from oralquiz.records.database import open_records
from oralquiz.records.pupil_list import add_pupil
from oralquiz.sound.clip import Samples
from oralquiz.sound.resampling import at_session_rate
from oralquiz.speak.reading import number_words
from oralquiz.speak.voices import pupil_voices
from tests.benchmarks.web_pupils import Answers, Pupil, pages

STEP = "direct"
PUPILS_EACH = 100
"""Pupils in one process: more would wait for each other."""


@dataclass(frozen=True)
class Held:
    """A finished round: who took part, the teacher's last view of it, the cores used by the
    server and its helpers, by its own process alone (it has the connections) and by the clients,
    the memory taken when it was over."""

    pupils: list[Pupil]
    live: dict[str, Any]
    load: float
    connections: float
    clients: float
    memory: float


class Clients:
    """Processes of pupils."""

    def __init__(self, url: str, code: str, names: Sequence[str]) -> None:
        context = multiprocessing.get_context("spawn")
        self._pipes: list[Connection] = []
        self._processes = []
        count = -(-len(names) // PUPILS_EACH)
        for number in range(count):
            ours, theirs = context.Pipe()
            args = (theirs, url, code, names[number::count])
            self._processes.append(context.Process(target=pages, args=args, daemon=True))
            self._pipes.append(ours)
            self._processes[-1].start()
            theirs.close()

    def tell(self, what: Any) -> None:
        for pipe in self._pipes:
            pipe.send(what)

    async def told(self) -> list[Any]:
        """What each says next."""
        return await asyncio.gather(*(asyncio.to_thread(pipe.recv) for pipe in self._pipes))

    def end(self) -> None:
        self.tell(0)
        for process in self._processes:
            process.join(10)


class Answering:
    """What the pupils say: the right answer, or every third time five off."""

    def __init__(self) -> None:
        self._voices = pupil_voices()
        # rendered beforehand, so that no voice is late
        self._clips = {
            (voice, value): self._say(voice, value)
            for voice in range(len(self._voices))
            for value in range(100)
        }

    def answers(self, names: Sequence[str], rows: Sequence[Any], turn: int) -> Answers:
        right = {row["pupil"]: row["right_value"] for row in rows}
        said = {}
        for number, name in enumerate(names):
            value = right[name]
            if (number + turn) % 3 == 0:
                value += 5 if value < 50 else -5
            said[name] = value, self._clips[number % len(self._voices), value]
        return said

    def _say(self, voice: int, value: int) -> Samples:
        clip = at_session_rate(self._voices[voice].say(number_words(value))).samples
        loud: Samples = (0.3 * clip / np.abs(clip).max()).astype(np.float32)
        return loud


async def classroom(url: str, names: list[str], turns: int, pid: int) -> AsyncGenerator[Held, None]:
    """Rounds with the same pupils, one after another, as long as more are asked for."""
    answering = Answering()
    live: dict[str, Any] = {}
    origin = {"origin": url}
    async with httpx.AsyncClient(base_url=url, headers=origin, timeout=60) as teacher:
        await teacher.get("/class")
        await teacher.post("/class", data={"what": "open"})
        found = re.search(r'<p class="code">([A-Z0-9]{6})</p>', (await teacher.get("/class")).text)
        assert found is not None
        plan = {"step": STEP, "count": turns, "terms": "3", "pace": "1.5", "way": "own"}
        plan["within"] = "25"  # quick pupils wait for those who are asked again
        watching = await websockets.connect(
            url.replace("http", "ws") + "/ws/teacher", origin=websockets.Origin(url), max_size=None
        )

        async def watch() -> None:
            async for raw in watching:
                data = json.loads(raw)
                if data["t"] == "live" and data["lesson"]:
                    live.update(data["lesson"])
                elif data["t"] == "note":
                    raise SystemExit(data["text"])  # it did not begin: there is no round to time

        clients = Clients(url, found[1], names)
        await clients.told()
        watcher = asyncio.create_task(watch())
        try:
            while True:
                await teacher.post("/plan", data=plan)
                clients.tell(turns)
                await clients.told()
                await watching.send(json.dumps({"t": "do", "name": "begin"}))
                used, ours, since = cpu_s(pid), own_cpu_s(pid), time.monotonic()
                round_ = answer(clients, answering, names, live, turns)
                ended = await asyncio.wait_for(round_, 60 + 60 * turns)
                took_s = time.monotonic() - since
                load, connections = cpu_s(pid) - used, own_cpu_s(pid) - ours
                highest = memory(pid)
                await asyncio.sleep(1.0)  # until the teacher's page has the last verdicts
                yield Held(
                    [pupil for pupils, _ in ended for pupil in pupils],
                    dict(live),
                    load / took_s,
                    connections / took_s,
                    sum(seconds for _, seconds in ended) / took_s,
                    highest,
                )
        finally:
            watcher.cancel()
            await watching.close()
            clients.end()


async def answer(
    clients: Clients, answering: Answering, names: list[str], live: dict[str, Any], turns: int
) -> list[tuple[list[Pupil], float]]:
    """Have everybody answer each sum so that all voices end within one second; what the clients
    say in the end."""
    for turn in range(turns):
        ends_s = max(await clients.told())
        while any(row["turn"] != turn and row["phase"] != "over" for row in live["rows"]):
            await asyncio.sleep(0.02)  # until the teacher's page has the sums
        common_s = max(ends_s, time.monotonic()) + 1.6
        clients.tell((common_s, answering.answers(names, live["rows"], turn)))
    return await clients.told()


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
    return own_cpu_s(pid, 4) + sum(own_cpu_s(one) for one in family(pid)[1:])


def own_cpu_s(pid: int, fields: int = 2) -> float:
    """The same of a process alone; with 4 ``fields``, and of its children that have ended."""
    with suppress(OSError):  # it may just have ended
        stat = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
        return sum(map(int, stat[11 : 11 + fields])) / os.sysconf("SC_CLK_TCK")
    return 0.0


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
        ("of them the process that has the connections", f"{held.connections:.2f}"),
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
    parser.add_argument("--clients-core", type=cores, help="The cores of all pupils' pages.")
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
