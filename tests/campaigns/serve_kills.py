"""Kills of `oralquiz serve` and of the processes that hear, while a class answers: nothing that a
pupil was shown is lost, nothing is left behind, and erasing still works.

    python -m tests.campaigns.serve_kills --count 200 --seed 7

The server is the real one: its own process, with hearing processes, voices and model, in a folder
of its own (Linux). Pupils answer aloud, one types. At a random moment the server or one hearing
process gets SIGKILL; then the server is started again, and what it has is compared with what the
pages showed. Every fourth kill is of a hearing process; some are followed by another while the
server enters what was left, some come while a pupil is being erased, and after some a pupil is
erased before the server is started again.
"""

from __future__ import annotations

import asyncio
import os
import signal
import time
import traceback
import zipfile
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory

from click.testing import CliRunner

from oralquiz.cli import main
from oralquiz.folders import HOME_VARIABLE
from oralquiz.records import unfinished, unrecorded_sessions
from oralquiz.records.database import open_records
from oralquiz.records.pupil_list import add_pupil
from oralquiz.session import leftovers, open_session
from oralquiz.session.file import CUT_SHORT
from tests.campaigns.live_class import CLASS, LiveClass, Server, Shown, Voices, processes
from tests.campaigns.tally import Tally, command

PUPILS = 5
"""More than one process hears, so that there are two."""
SUMS = 2
PREPARING_S = 5.0
"""Seconds that a round needs to its first answer, about."""
ROUND_S = 120.0
"""Seconds that a round of SUMS takes at most, on a busy machine too."""
ENDING_S = 15.0
"""Seconds that helpers have to end when their server is gone."""
ENTERING_S = 120.0


@dataclass
class Home:
    """The folder of a server, the pupils in it, and what their pages have shown."""

    folder: Path
    names: list[str] = field(default_factory=list)
    shown: Shown = field(default_factory=dict)
    whose: dict[str, str] = field(default_factory=dict)
    """Whose round a key names."""
    gone: list[str] = field(default_factory=list)
    """The pupils who were erased."""

    @property
    def data(self) -> Path:
        return self.folder / "data"

    @property
    def said(self) -> str:
        """What all servers here have written to the terminal."""
        return (self.folder / "said.txt").read_text()

    def add(self) -> None:
        """Pupils in the places of those who were erased."""
        db = open_records(self.data / "records.db")
        while len(self.names) < PUPILS:
            name = f"Zyxomma {len(self.names) + len(self.gone)} Erasmus"
            add_pupil(db, name, created="2026-01-05T09:00:00+00:00", class_name=CLASS, consent=True)
            self.names.append(name)
        db.close()

    def called(self, *arguments: str) -> tuple[int, str]:
        """Exit status and output of a command in this home."""
        done = CliRunner().invoke(main, list(arguments), env={HOME_VARIABLE: str(self.folder)})
        return done.exit_code, done.output

    def unfinished(self) -> list[str]:
        """What a check shows, and whatever else is in the records or among the sessions only (a
        check does not show what is just being entered)."""
        db, folder = open_records(self.data / "records.db"), self.data / "sessions"
        found = [*leftovers(folder), *unrecorded_sessions(db, folder), *unfinished(db)]
        listed = {Path(row["file"]) for row in db.query("select file from rounds")}
        db.close()
        there = {path for path in sessions(self) if not path.name.startswith(".")}
        return [str(one) for one in (*found, *(listed ^ there))]

    def forget(self, name: str) -> None:
        """``name`` is erased: what was shown to that pupil need not be there."""
        self.names.remove(name)
        self.gone.append(name)
        self.shown = {key: one for key, one in self.shown.items() if self.whose[key[0]] != name}


def campaign(count: int, seed: int) -> Tally:
    """``count`` kills, in two homes side by side."""
    tally = Tally(seed)
    asyncio.run(_side_by_side(tally, count, min(2, count)))
    return tally


async def _side_by_side(tally: Tally, count: int, homes: int) -> None:
    voices = Voices()
    await asyncio.gather(
        *(_in_one_home(tally, range(first, count, homes), voices) for first in range(homes))
    )


async def _in_one_home(tally: Tally, numbers: range, voices: Voices) -> None:
    with TemporaryDirectory(prefix="oralquiz-") as folder:
        home = Home(Path(folder))
        home.add()
        server = await Server.started(home.folder)
        try:
            for number in numbers:
                trial = Trial(tally, home, Random(f"{tally.seed} {number}"), number)
                server = await trial.held(server, voices)
            await server.ended()
            trial.end()
        except Exception as error:  # the next trials of this home would be of no use
            told = "".join(traceback.format_exception(error)[-3:])
            tally.fail("trial", f"number {number}: {told}; the server said: {home.said[-2000:]}")
        finally:
            for pid in processes(home.folder):
                with suppress(ProcessLookupError):
                    os.kill(pid, signal.SIGKILL)


class Trial:
    """One round, one kill, and what is left of it."""

    def __init__(self, tally: Tally, home: Home, random: Random, number: int) -> None:
        self.tally = tally
        self._home, self._random, self._number = home, random, number

    async def held(self, server: Server, voices: Voices) -> Server:
        """Hold a round at ``server`` and kill. Returns the server that goes on."""
        home, random = self._home, self._random
        home.add()
        gone_before = set(home.gone)
        live = LiveClass(server, home.names, voices, random)
        try:
            await live.sign_in()
            await live.begin(SUMS)
            await self._wait(live)
            if self._number % 4 == 3:
                await self._kill_hearing(live)
            else:
                await self._kill_server(live)
                server = await self._started_again()
        finally:
            await live.close()
        await self._entered()
        self.compare(set(live.whose))
        self._search(set(home.gone) - gone_before)
        return server

    async def _wait(self, live: LiveClass) -> None:
        """Until so many verdicts were shown, or a pupil's round is over, and a moment longer."""
        verdicts = self._random.choice([0, *range(PUPILS * SUMS), PUPILS * SUMS])
        await live.until(lambda: len(live.shown) >= verdicts or len(live.over) > 0, ROUND_S)
        longest_s = PREPARING_S if not verdicts else 0.3 if live.over else 1.0
        await asyncio.sleep(self._random.uniform(0, longest_s))

    # --- kills ------------------------------------------------------------------------------

    async def _kill_server(self, live: LiveClass) -> None:
        what, erasing = "server killed", None
        if self._random.random() < 0.15:
            what, erasing = "server killed while it erases", self._random.choice(self._home.names)
            await self._begin_erasing(live, erasing)
        helpers = set(processes(self._home.folder))
        await live.server.killed()
        self._note(live)
        self.tally.add(what, moment(live))
        helpers |= set(processes(self._home.folder))
        await self._helpers_end(len(helpers) - 1)
        self.everything_is_listed()
        if erasing is None and self._random.random() < 0.15:
            self._erase(self._random.choice(self._home.names))

    async def _begin_erasing(self, live: LiveClass, name: str) -> None:
        """Stop the round, and ask for ``name`` to be erased without waiting for it."""
        await live.stop()
        sent = asyncio.create_task(
            live.teacher.post("/class", data={"what": "erase", "pupil": name})
        )
        await asyncio.sleep(self._random.random() * 0.4)
        sent.add_done_callback(lambda done: done.cancelled() or done.exception())

    async def _kill_hearing(self, live: LiveClass) -> None:
        hearing = processes(self._home.folder, "hearing_helper")
        when = moment(live) if hearing else "there was none"  # not yet, or not any more
        for pid in self._random.sample(hearing, min(1, len(hearing))):
            os.kill(pid, signal.SIGKILL)
        over = await live.until(lambda: len(live.over) == PUPILS, ROUND_S)
        self._note(live)
        if "ended unexpectedly" in live.note:
            self.tally.add("hearing process killed", "before the round began")
            return
        self.tally.add("hearing process killed", when)
        if not over or live.note:
            self._fail("hearing process killed", f"{live.phases}: {live.trouble!r}, {live.note!r}")
        cut = [name for name, phase in live.phases.items() if phase == "trouble"]
        if cut and "ended unexpectedly" not in live.trouble:
            self._fail("hearing process killed", f"the teacher was told {live.trouble!r}")

    def _note(self, live: LiveClass) -> None:
        self._home.shown |= live.shown
        self._home.whose |= live.whose
        self.tally.add("verdict shown to a pupil", "kept", len(live.shown))

    async def _helpers_end(self, helpers: int) -> None:
        """Wait until every process of the server has ended."""
        begun = time.monotonic()
        while left := processes(self._home.folder):
            if time.monotonic() - begun > ENDING_S:
                self._fail("helper", f"{len(left)} are alive after {ENDING_S:.0f} s")
                return
            await asyncio.sleep(0.05)
        late = time.monotonic() - begun
        self.tally.add("helper", f"ended within {1 if late < 1 else ENDING_S:.0f} s", helpers)

    async def _started_again(self) -> Server:
        """Start the server; sometimes kill it once more while it enters what was left."""
        server = await Server.started(self._home.folder)
        if self._random.random() < 0.2:
            await asyncio.sleep(self._random.random() * 0.5)
            await server.killed()
            self.tally.add("server killed while it starts", "started again")
            server = await Server.started(self._home.folder)
        return server

    # --- what is left -----------------------------------------------------------------------

    def everything_is_listed(self) -> None:
        """Whatever lies among the sessions is in the records or shown by a check."""
        db = open_records(self._home.data / "records.db")
        known = {Path(row["file"]).name for row in db.query("select file from rounds")}
        db.close()
        _, listed = self._home.called("check", "sessions")
        for path in sessions(self._home):
            if path.name in known or path.name in listed:
                self.tally.add("session or leftover", "listed")
            else:
                self._fail("session or leftover", f"{path.name} is not in {listed!r}")

    async def _entered(self) -> None:
        """Wait until the server has entered what was left."""
        begun = time.monotonic()
        while left := await asyncio.to_thread(self._home.unfinished):
            if time.monotonic() - begun > ENTERING_S:
                self._fail("records", f"not entered: {left}")
                return
            await asyncio.sleep(0.3)

    def compare(self, keys: set[str]) -> None:
        """The files of the rounds ``keys`` and the records have what was shown, and the records are
        sound."""
        home = self._home
        db = open_records(home.data / "records.db")
        known = {row["name"] for row in db.query("select name from pupils")}
        for name in set(home.names) - known:  # the erasing that was cut short has been finished
            home.forget(name)
        rows = db.query(
            "select file, turn, verdict, value from sums join rounds on rounds.id = round_id"
        )
        there = {
            ((run_of(Path(row["file"])), row["turn"]), (row["verdict"], row["value"]))
            for row in rows
        }
        if missing := set(home.shown.items()) - there:
            self._fail("records", f"not there: {sorted(missing)}")
        for check in ("pragma_foreign_key_check", "pragma_quick_check where quick_check <> 'ok'"):
            if wrong := list(db.query(f"select * from {check}")):
                self._fail("records", f"{wrong}")
        db.close()
        files = {run_of(path): path for path in sessions(home)}
        for key in keys & {run for run, _ in home.shown}:
            self._compare_file(files.get(key), key)
        self.tally.add("records", "have what was shown")

    def _compare_file(self, path: Path | None, key: str) -> None:
        shown = {turn: one for (run, turn), one in self._home.shown.items() if run == key}
        if path is None:
            self._fail("session", f"no file of {key}, where {shown} was shown")
            return
        session = open_session(path)
        found = {turn.index: (str(turn.verdict), turn.value) for turn in session.turns}
        if not shown.items() <= found.items():
            self._fail("session", f"{path.name}: shown {shown}, found {found}")
        if session.damage not in ("", CUT_SHORT):
            self._fail("session", f"{path.name}: {session.damage}")

    # --- erasing ----------------------------------------------------------------------------

    def _erase(self, name: str) -> None:
        """Erase a pupil while no server runs."""
        status, said = self._home.called("pupils", "erase", name, "--yes")
        if status:
            self._fail("erasing before the next start", f"status {status}: {said!r}")
        self._home.forget(name)
        self._search({name})
        self.tally.add("erasing before the next start", "done")

    def _search(self, names: set[str]) -> None:
        """Look for ``names`` in every byte."""
        if not names:
            return
        for path in sorted(p for p in self._home.data.rglob("*") if p.is_file()):
            found = contents(path)
            for name in sorted(names):
                if any(name.encode() in content for content in found):
                    self._fail("erasing", f"{name} is in {path.relative_to(self._home.folder)}")

    def end(self) -> None:
        """The server has ended as it should: everything is there, nothing is left, nothing went
        wrong unseen."""
        self.compare(set(self._home.whose))
        self._search(set(self._home.gone))
        if left := processes(self._home.folder):
            self._fail("helper", f"{len(left)} outlive the server that was ended")
        if "Traceback" in self._home.said:
            self._fail("what the server says", self._home.said[-2_000:])
        self.tally.add("home", f"{len(self._home.gone)} erased in it")

    def _fail(self, what: str, why: str) -> None:
        self.tally.fail(what, f"number {self._number}: {why}")


def contents(path: Path) -> list[bytes]:
    """What is in a file, and in what is packed in it; nothing of one that is just removed."""
    try:
        found = [path.read_bytes()]
        if zipfile.is_zipfile(path):
            with zipfile.ZipFile(path) as archive:
                found += [archive.read(one) for one in archive.namelist()]
    except FileNotFoundError:
        return []
    return found


def moment(live: LiveClass) -> str:
    """When it was killed, judging by what the pages had shown."""
    if len(live.over) == PUPILS:
        return "after the end"
    if live.over:
        return "while some are packed"
    return "in the midst" if live.shown else "before any answer"


def run_of(session: Path) -> str:
    """The key of the round whose session this is."""
    return session.stem.split("-", 4)[-1]


def sessions(home: Home) -> list[Path]:
    """Whatever lies among the sessions."""
    folder = home.data / "sessions"
    return sorted(folder.iterdir()) if folder.is_dir() else []


if __name__ == "__main__":
    command(campaign, 200)
