"""Kills of the recorder and of the server at random moments: no answer that was reported is lost.

A process holds a round and reports every answer once it has its verdict; it is killed (SIGKILL).
What it left is then recovered as at the next start, and must hold everything that was reported.

    python -m tests.campaigns.kills --count 200 --seed 1
"""

from __future__ import annotations

import asyncio
import tempfile
import time
from multiprocessing import get_context
from multiprocessing.connection import Connection
from pathlib import Path
from random import Random
from typing import Any

from oralquiz.records.database import open_records
from oralquiz.session import leftovers, open_session, recover, rerun
from tests.campaigns import holders
from tests.campaigns.tally import Tally, command
from tests.web.room import make_classroom


def campaign(count: int, seed: int) -> Tally:
    """``count`` kills, of the recorder and the server in turn."""
    tally = Tally(seed)
    processes = get_context("forkserver")
    processes.set_forkserver_preload([holders.__name__])
    for number in range(count):
        random = Random(f"{seed} {number}")
        with tempfile.TemporaryDirectory() as name:
            server = number % 2 == 1
            here, there = processes.Pipe()
            holder = processes.Process(
                target=holders.serve if server else holders.record,
                args=(there, Path(name)),
                daemon=True,
            )
            holder.start()
            there.close()
            told = listen(here, random)
            holder.kill()
            told += drain(here)
            holder.join()
            kind = "server" if server else "recorder"
            wrong = (served if server else recorded)(Path(name), told)
            if wrong:
                tally.fail(kind, f"number {number}: {wrong}")
            else:
                tally.add(kind, f"all there, killed {moment(told)}")
    return tally


def moment(told: list[Any]) -> str:
    """When it was killed, judging by what it had reported."""
    if "packed" in told:
        return "after the end"
    return "while packing" if "over" in told else "in the midst" if told else "before any answer"


def listen(here: Connection, random: Random) -> list[Any]:
    """Wait for some of the reports, and a moment longer."""
    told = []
    for _ in range(random.randrange(2 * holders.SUMS + 2)):
        try:
            told.append(here.recv())
        except EOFError:
            return told
    time.sleep(random.random() * 0.02)
    return told


def drain(here: Connection) -> list[Any]:
    """What was reported since, and arrived whole."""
    told = []
    try:
        while here.poll():
            told.append(here.recv())
    except (EOFError, OSError):
        pass
    return told


# --- the recorder ---------------------------------------------------------------------------


def recorded(folder: Path, told: list[Any]) -> str:
    """What is wrong with what the recorder left; empty if nothing."""
    left, packed = folder / "sessions" / "s", folder / "sessions" / "s.zip"
    if not (left / "session.json").is_file() and not packed.is_file():
        return f"told {told}, and there is no session" if told else ""
    path = recover(left).file if (left / "session.json").is_file() else packed
    session = open_session(path)
    ended = [turn.index for turn in session.turns if turn.ended]
    wanted = [one for one in told if isinstance(one, int)]
    if ended[: len(wanted)] != wanted:
        return f"told {wanted}, and {ended} are there"
    if wanted and (difference := rerun(session).difference):
        return f"it does not run again: {difference}"
    if "over" in told and session.why_ended != "finished":
        return f"told that it was over, and {session.damage} is there"
    return ""


# --- the server -----------------------------------------------------------------------------


def served(folder: Path, told: list[Any]) -> str:
    """What is wrong with the records after the next start; empty if nothing."""

    async def start() -> str:
        classroom = make_classroom(folder)
        said = await classroom.bookkeeper.enter_waiting()
        await classroom.close()
        return said

    said = asyncio.run(start())
    db = open_records(folder / "records.db")
    rows = db.query(
        "select name, turn, verdict, value from sums join pupils on pupils.id = pupil_id"
    )
    there = {(r["name"], r["turn"], r["verdict"], r["value"]) for r in rows}
    db.close()
    missing = set(map(tuple, told)) - there
    if missing:
        return f"{sorted(missing)} are not in the records ({said})"
    return f"left over: {left}" if (left := leftovers(folder / "sessions")) else ""


if __name__ == "__main__":
    command(campaign, 200)
