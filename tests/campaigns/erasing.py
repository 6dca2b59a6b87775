"""Erasing while others write: afterwards the erased name is nowhere in what is kept.

Two processes correct answers of another pupil and one brings in copies of sessions; in the middle
of this a pupil is erased. Then every file is searched, and packed ones are unpacked and searched
too.

    python -m tests.campaigns.erasing --count 50 --seed 1
"""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
import tempfile
import zipfile
from pathlib import Path
from random import Random
from typing import Any

from oralquiz.errors import BadInput
from oralquiz.judge import Verdict
from oralquiz.records.database import open_records
from oralquiz.records.erasure import erase_pupil
from oralquiz.records.import_sessions import import_session, waiting
from oralquiz.records.pupil_list import pupils
from oralquiz.records.session_rows import store_file
from oralquiz.rounds import Round
from oralquiz.session import ERASED, correct, open_session
from tests.campaigns.tally import Tally, command
from tests.session.room import make_round, run

STAYS, GOES = "Ashavari", "Zyxomma Erasmus"
CORRECTORS = 2
SESSIONS = 3


# --- the processes that write ---------------------------------------------------------------


def work() -> None:
    """Do the jobs that come as lines of JSON; print each thing that was done, then ``end``."""
    print("ready", flush=True)
    for line in sys.stdin:
        job = json.loads(line)
        (bring_in if job["what"] == "bring in" else correct_all)(job)
        print("end", flush=True)


def correct_all(job: dict[str, Any]) -> None:
    db = open_records(Path(job["db"]))
    for value, file in enumerate(job["files"], start=job["first"]):
        try:
            correct(Path(file), 0, Verdict.WRONG, by="t", when="2026-01-05", value=value)
            store_file(db, Path(file))
        except BadInput:
            continue  # not done, and not reported as done
        print(json.dumps([file, value]), flush=True)
    db.close()


def bring_in(job: dict[str, Any]) -> None:
    db = open_records(Path(job["db"]))
    for file in job["files"]:
        print(
            json.dumps([str(import_session(db, Path(file), Path(job["into"])).file), 0]), flush=True
        )
    db.close()


class Worker:
    """One of these processes."""

    def __init__(self) -> None:
        self.process = subprocess.Popen(
            [sys.executable, "-m", "tests.campaigns.erasing", "--worker"],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
        )  # fmt: skip
        assert self.said() == "ready"

    def begin(self, **job: Any) -> None:
        assert self.process.stdin is not None
        self.process.stdin.write(json.dumps(job) + "\n")
        self.process.stdin.flush()

    def said(self) -> str:
        assert self.process.stdout is not None
        line = self.process.stdout.readline().strip()
        if not line:
            raise AssertionError("a process that writes has died")
        return line

    def rest(self) -> list[tuple[str, int]]:
        """What it reports as done, up to its end."""
        found = []
        while (line := self.said()) != "end":
            file, value = json.loads(line)
            found.append((file, value))
        return found

    def close(self) -> None:
        with self.process:  # closes its pipes, and waits
            pass


# --- one erasing ----------------------------------------------------------------------------


def campaign(count: int, seed: int) -> Tally:
    """``count`` erasings."""
    tally = Tally(seed)
    workers = [Worker() for _ in range(CORRECTORS + 1)]
    try:
        for number in range(count):
            with tempfile.TemporaryDirectory() as name:
                erase_once(tally, Path(name), workers, Random(f"{seed} {number}"), number)
    finally:
        for worker in workers:
            worker.close()
    return tally


def erase_once(
    tally: Tally, folder: Path, workers: list[Worker], random: Random, number: int
) -> None:
    sessions = folder / "kept" / "sessions"
    records = str(folder / "kept" / "records.db")
    db = open_records(Path(records))
    files = [recorded(sessions / f"s{k}") for k in range(SESSIONS)]
    for file in files:
        store_file(db, file)
    copies = [folder / f"copy{k}.zip" for k in range(SESSIONS)]
    for file, copy in zip(files, copies, strict=True):
        shutil.copyfile(file, copy)
    copies.append(recorded(folder / "elsewhere"))  # the records have never known this one
    *correctors, bringer = workers
    for k, worker in enumerate(correctors, start=1):
        order = [str(random.choice(files)) for _ in range(6)]
        worker.begin(
            what="correct", db=str(folder / "kept" / "records.db"), files=order, first=100 * k
        )
    done = [tuple(json.loads(correctors[0].said())) for _ in range(random.randrange(4))]
    bringer.begin(
        what="bring in", db=records,
        files=[str(copy) for copy in random.sample(copies, len(copies))], into=str(sessions),
    )  # fmt: skip
    for _ in range(random.randrange(3)):
        bringer.said()
    erased = erase_pupil(db, GOES, sessions)
    for worker in correctors:
        done += worker.rest()
    bringer.rest()
    for path in waiting(db, sessions):
        import_session(db, path, sessions)
    what = f"number {number}"
    if erased.unreadable or erased.missing:
        tally.fail("erasing", f"{what}: {erased}")
    if [pupil.name for pupil in pupils(db)] != [STAYS]:
        tally.fail("erasing", f"{what}: in the records: {pupils(db)}")
    db.close()
    search(tally, folder / "kept", what)
    voices(tally, sessions, what)
    for path, value in done:
        there = [c.value for c in open_session(Path(path)).turns[0].corrections]
        if value in there:
            tally.add("correction reported as done", "in the file")
        else:
            tally.fail("correction reported as done", f"{what}: {value} is not in {path}: {there}")
    tally.add("erasing", "done")


def recorded(folder: Path) -> Path:
    """A session of one pupil who stays and one who is erased."""
    turns = [turn for name in (STAYS, GOES) for turn in make_round("1 + 2", pupil=name).turns]
    both = Round("both", "2026-01-05T09:00:00+00:00", tuple(turns), step="direct", rule="direct")
    return run(folder, both, [3, 3])[0]


def search(tally: Tally, folder: Path, what: str) -> None:
    """Look for the name in every byte."""
    wanted = GOES.encode()
    for path in sorted(p for p in folder.rglob("*") if p.is_file()):
        contents = [path.read_bytes()]
        if zipfile.is_zipfile(path):
            with zipfile.ZipFile(path) as archive:
                contents += [archive.read(name) for name in archive.namelist()]
        if any(wanted in content for content in contents):
            tally.fail("file searched", f"{what}: the name is in {path.relative_to(folder)}")
        else:
            tally.add("file searched", "without the name")


def voices(tally: Tally, sessions: Path, what: str) -> None:
    """Look for the voice, and for anything left half done."""
    for path in sorted(sessions.iterdir()):
        if path.suffix != ".zip":
            if not path.name.startswith("."):
                tally.fail("session", f"{what}: {path.name} was left over")
            continue
        session = open_session(path)
        gone = session.turns[1]
        if gone.pupil != ERASED or session.audio[gone.start :, 1].any() or session.damage:
            tally.fail("session", f"{what}: {path.name}: {gone.pupil}, {session.damage}")
        else:
            tally.add("session", "without the voice")


if __name__ == "__main__":
    work() if sys.argv[1:] == ["--worker"] else command(campaign, 50)
