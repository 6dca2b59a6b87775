"""Years of records: how long lists, scores, pages and erasing take with very many sessions.

    python tests/benchmarks/bench_records.py [--sessions 50000] [--pupils 200]

Makes the rows of that many sessions (eight sums each, by one pupil or four, as a school has after
some years), without their files, and times what commands and pages ask of them, the best of three.
Erasing is measured once on a pupil with 25 session files (copies of a demo session) and once on one
whose files are gone. Needs some 500 MB of disk.
"""

from __future__ import annotations

import argparse
import random
import shutil
import tempfile
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from sqlite_utils import Database

from oralquiz.records import (
    answers_of,
    bests,
    erase_pupil,
    held,
    open_records,
    pupils,
    recent_sums,
    scores,
    store,
    voices_kept,
    waiting,
)
from oralquiz.session import open_session

SUMS = 8
RULES = ("direct", "five:+4", "five:+3", "ten:+9", "ten:-1", "five:-2")
DEMO = Path(__file__).parents[2] / "demo_sessions" / "one-wrong.zip"


def make(db: Database, sessions: int, count: int, folder: Path) -> None:
    """Rows of ``sessions`` sessions and ``count`` pupils, the oldest three years old."""
    rng = random.Random(1)
    begun = datetime(2023, 9, 1, 8, tzinfo=UTC)
    with db.atomic():
        for number in range(1, count + 1):
            db.execute(
                "insert into pupils (id, name, consent, created) values (?, ?, 1, ?)",
                [number, f"Pupil {number}", begun.isoformat()],
            )
        sum_id = 0
        for number in range(sessions):
            round_id = f"{number:032x}"
            created = (begun + timedelta(minutes=20 * number)).isoformat()
            db.execute(
                "insert into rounds (id, created, name, step, rule, columns, pace_s, voice, model, "
                "file, voices) values (?, ?, 'r', ?, 'direct', 2, 1.5, 'v', 'm', ?, ?)",
                [round_id, created, RULES[number % 6], f"{folder}/{number}.zip", number % 2],
            )
            who = rng.sample(range(1, count + 1), 4 if number % 10 == 0 else 1)
            for turn in range(SUMS):
                sum_id += 1
                _sum(db, rng, sum_id, round_id, turn, who[turn % len(who)])


def _sum(
    db: Database, rng: random.Random, sum_id: int, round_id: str, turn: int, pupil: int
) -> None:
    verdict = rng.choices(("right", "wrong", "unclear", "silent"), (80, 12, 5, 3))[0]
    latency = round(rng.lognormvariate(0, 0.4), 3) if verdict in ("right", "wrong") else None
    terms = [rng.randint(1, 99) for _ in range(5)]
    db.execute(
        "insert into sums (id, round_id, turn, pupil_id, terms, answer, ended, verdict, value, "
        "latency_s) values (?, ?, ?, ?, ?, ?, 1, ?, ?, ?)",
        [sum_id, round_id, turn, pupil, " + ".join(map(str, terms)), sum(terms), verdict,
         sum(terms), latency],
    )  # fmt: skip
    db.execute(
        "insert into answers (sum_id, attempt, verdict, latency_s, typed) values (?, 0, ?, ?, 0)",
        [sum_id, verdict, latency],
    )
    db.execute(
        "insert into named (round_id, turn, name) values (?, ?, ?)",
        [round_id, turn, f"Pupil {pupil}"],
    )
    rules = rng.sample(RULES, 3)
    for term in range(5):
        db.execute(
            'insert into rule_uses (sum_id, term, "column", rule, carry) values (?, ?, 0, ?, 0)',
            [sum_id, term, rules[term % 3]],
        )
    for rule in sorted(rules):
        db.execute(
            "insert into rule_answers (sum_id, pupil_id, rule, verdict, latency_s) "
            "values (?, ?, ?, ?, ?)",
            [sum_id, pupil, rule, verdict, latency],
        )


def real_sessions(db: Database, folder: Path, count: int) -> str:
    """``count`` sessions with files, all with the same pupil; returns the pupil's name."""
    folder.mkdir(parents=True, exist_ok=True)
    for number in range(count):
        file = Path(shutil.copy(DEMO, folder / f"real-{number}.zip"))
        session = open_session(file)
        head = {**session.header, "id": f"f{number:031x}"}
        store(db, type(session)(**{**vars(session), "header": head}), file)
    return session.turns[0].pupil


def measured(db: Database, folder: Path) -> Iterator[tuple[str, Callable[[], Any]]]:
    now = datetime(2026, 11, 28, tzinfo=UTC)
    yield "list of pupils", lambda: pupils(db)
    yield "scores of all, rule by rule", lambda: scores(db)
    yield "scores of one", lambda: scores(db, pupil=7)
    yield "page of results", lambda: held(db, limit=61)
    yield "page of results, the last", lambda: held(db, limit=61, skip=49_000)
    yield "a pupil's rounds", lambda: held(db, pupil=7, limit=6)
    yield "a pupil's bests", lambda: bests(db, 7)
    yield "a pupil's answers", lambda: answers_of(db, "Pupil 7")
    yield "a pupil's recent sums", lambda: recent_sums(db, "Pupil 7", 10)
    yield (
        "sessions with old voices",
        lambda: voices_kept(db, older_than_days=30, now=now, folder=folder),
    )
    yield "what waits to be imported", lambda: waiting(db, folder)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sessions", type=int, default=50_000)
    parser.add_argument("--pupils", type=int, default=200)
    parser.add_argument("--real", type=int, default=25, help="Sessions of one pupil with files.")
    wanted = parser.parse_args()
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made) / "sessions"
        db = open_records(Path(made) / "records.db")
        since = time.perf_counter()
        make(db, wanted.sessions, wanted.pupils, folder)
        name = real_sessions(db, folder, wanted.real)
        size = (Path(made) / "records.db").stat().st_size / 1e6
        print(f"{wanted.sessions} sessions, {size:.0f} MB, in {time.perf_counter() - since:.0f} s")
        for what, work in measured(db, folder):
            times = []
            for _ in range(3):
                since = time.perf_counter()
                work()
                times.append(time.perf_counter() - since)
            print(f"{what:<30} {min(times):7.3f} s")
        for pupil in (name, "Pupil 9"):
            since = time.perf_counter()
            erased = erase_pupil(db, pupil, folder)
            took = time.perf_counter() - since
            files = f"{len(erased.changed)} files changed, {len(erased.missing)} missing"
            print(f"{'erasing ' + pupil:<30} {took:7.3f} s ({files})")


if __name__ == "__main__":
    main()
