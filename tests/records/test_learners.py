"""What practice knows of a pupil, worked out from the records."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from zipfile import ZipFile

import pytest
from sqlite_utils import Database

from oralquiz.beads import DIRECT
from oralquiz.compose import load_syllabus
from oralquiz.judge import Verdict
from oralquiz.learn import Standing, standing_of
from oralquiz.records.database import open_records
from oralquiz.records.erasure import erase_pupil
from oralquiz.records.learners import follow, follow_new, pupils_behind, reached_step, rule_states
from oralquiz.records.migrations import migrations
from oralquiz.records.practice_sets import PracticeSet, give_set
from oralquiz.records.pupil_list import add_pupil, find_pupil
from oralquiz.records.session_rows import store_file
from oralquiz.rounds.round import Round, Turn
from oralquiz.session.correction import correct
from tests.records.fresh import fresh_records
from tests.session.room import make_round, run

pytestmark = pytest.mark.slow

WHEN = "2026-01-05T09:00:00+00:00"
COURSE = load_syllabus()


@pytest.fixture
def db(tmp_path: Path) -> Database:
    return open_records(fresh_records(tmp_path / "records.db"))


def at_home(*sums: str, pupil: str = "Asha") -> Round:
    turns = tuple(
        replace(turn, rule="direct", reason="a move whose beads are free is new")
        for turn in make_round(*sums, pupil=pupil).turns
    )
    return replace(make_round(*sums, pupil=pupil), turns=turns, place="home")


def held(db: Database, folder: Path, round_: Round, values: list[int | None]) -> Path:
    path, _, _ = run(folder, round_, values)
    store_file(db, path)
    return path


def test_the_records_say_where_when_how_and_why_each_sum_was_asked(
    db: Database, tmp_path: Path
) -> None:
    held(db, tmp_path / "s", at_home("1 + 2", "3 + 1"), [3, 4])
    held(db, tmp_path / "c", make_round("2 + 2"), [4])
    home, second, unplaced = db.query("select * from sums")
    assert (home["place"], home["pace_s"], home["deadline_s"]) == ("home", 1.0, 3.0)
    assert (home["policy"], home["rule"]) == ("practice", "direct")
    assert home["reason"] == "a move whose beads are free is new"
    assert home["began"] == WHEN
    assert second["began"] > home["began"]
    assert (unplaced["place"], unplaced["reason"]) == ("", "")


def test_every_record_of_an_older_version_stays(tmp_path: Path) -> None:
    path = tmp_path / "records.db"
    db = open_records(path)
    held(db, tmp_path / "s", make_round("1 + 2", "3 + 1"), [3, 5])
    older = ["id", "round_id", "turn", "pupil_id", "terms", "answer", "verdict", "value"]
    before = list(db.query(f"select {', '.join(older)} from sums"))
    for table in ("learners", "rule_states"):
        db.table(table).drop()
    for column in ("pace_s", "deadline_s", "policy", "began", "place", "rule", "reason"):
        db.execute(f"alter table sums drop column {column}")
    newer = "('practice_that_adapts', 'who_is_behind')"
    db.execute(f"delete from _sqlite_migrations where name in {newer}")
    db.conn.commit()
    db.close()
    again = open_records(path)
    assert migrations.pending(again) == []
    assert list(again.query(f"select {', '.join(older)} from sums")) == before
    assert {(row["pace_s"], row["began"]) for row in again.query("select * from sums")} == {
        (1.0, WHEN)
    }
    learner = follow(again, find_pupil(again, "Asha"), COURSE)
    assert learner.practice.skills()["direct"].uses > 0


def test_only_new_answers_are_taken_in(db: Database, tmp_path: Path) -> None:
    held(db, tmp_path / "s", make_round("1 + 2", "3 + 1"), [3, 4])
    asha = find_pupil(db, "Asha")
    first = follow(db, asha, COURSE).practice.skills()["direct"]
    assert follow(db, asha, COURSE).practice.skills()["direct"] == first
    held(db, tmp_path / "t", make_round("2 + 2"), [4])
    both = follow(db, asha, COURSE).practice
    db.execute("delete from learners")
    assert follow(db, asha, COURSE).practice.to_json() == both.to_json()
    assert both.skills()["direct"].uses > first.uses


def test_only_pupils_with_something_new_are_followed(db: Database, tmp_path: Path) -> None:
    path = held(db, tmp_path / "s", make_round("1 + 2", "3 + 1"), [3, 4])
    wide = replace(make_round("120 + 3", pupil="Asha"), columns=3)  # not what is practised
    held(db, tmp_path / "w", wide, [123])
    held(db, tmp_path / "b", make_round("2 + 2", pupil="Ben"), [4])
    assert [pupil.name for pupil in pupils_behind(db)] == ["Asha", "Ben"]
    follow_new(db)
    assert pupils_behind(db) == []
    assert len(rule_states(db)) == 2
    correct(path, 0, Verdict.WRONG, by="Ms Rao", when=WHEN)
    store_file(db, path)
    assert [pupil.name for pupil in pupils_behind(db)] == ["Asha"]
    follow_new(db, load_syllabus("bead-frame"))
    assert pupils_behind(db) == []


def test_a_pupil_is_followed_on_the_course_that_was_followed_before(
    db: Database, tmp_path: Path
) -> None:
    held(db, tmp_path / "s", make_round("1 + 2"), [3])
    follow_new(db, load_syllabus("bead-frame"))
    held(db, tmp_path / "t", make_round("2 + 2"), [4])
    follow_new(db)
    assert [row["course"] for row in db.query("select course from learners")] == ["bead-frame"]


def test_a_correction_is_worked_in(db: Database, tmp_path: Path) -> None:
    path = held(db, tmp_path / "s", make_round("1 + 2", "3 + 1"), [3, 4])
    asha = find_pupil(db, "Asha")
    before = follow(db, asha, COURSE).practice.skills()["direct"]
    correct(path, 0, Verdict.WRONG, by="Ms Rao", when=WHEN)
    store_file(db, path)
    assert follow(db, asha, COURSE).practice.skills()["direct"].mean < before.mean


def test_the_furthest_step_taught_is_practised(db: Database, tmp_path: Path) -> None:
    asha = add_pupil(db, "Asha", created=WHEN, class_name="3B")
    assert reached_step(db, asha, COURSE) == COURSE.steps[0].name
    held(db, tmp_path / "s", replace(make_round("1 + 2"), step="five:+3"), [3])
    assert reached_step(db, asha, COURSE) == "five:+3"
    give_set(db, "3B", PracticeSet("five:+4", created=WHEN))  # taught before
    assert reached_step(db, asha, COURSE) == "five:+3"
    give_set(db, "3B", PracticeSet("five:-4", terms=4, pace_s=2.0, created=WHEN))
    learner = follow(db, asha, COURSE)
    assert learner.step == "five:-4"
    tasks = learner.practice.plan(6, datetime(2026, 1, 6, tzinfo=UTC))
    assert len(tasks) == 6
    assert all(3 <= len(task.sum.terms) <= 4 for task in tasks)
    assert len({task.sum.answer for task in tasks}) == 6


def test_what_is_known_of_each_rule_is_kept_and_erased(db: Database, tmp_path: Path) -> None:
    both = (*make_round("1 + 2", "3 + 1", "2 + 2").turns, *make_round("2 + 1", pupil="Ben").turns)
    held(db, tmp_path / "s", replace(make_round("1 + 1"), turns=both), [3, 4, 4, 3])
    for name in ("Asha", "Ben"):
        follow(db, find_pupil(db, name), COURSE)
    asha, ben = (find_pupil(db, name).id for name in ("Asha", "Ben"))
    states = rule_states(db)
    now = datetime(2026, 1, 5, tzinfo=UTC)
    assert standing_of(DIRECT, states[asha][DIRECT], now) is Standing.GROWING
    assert standing_of(DIRECT, states[ben][DIRECT], now) is Standing.NOT_YET
    erase_pupil(db, "Asha", tmp_path)
    assert set(rule_states(db)) == {ben}
    assert db.table("learners").count == 1


def test_erasing_takes_the_reason_out_of_the_file(db: Database, tmp_path: Path) -> None:
    both = (*at_home("1 + 2").turns, Turn("Ben", make_round("2 + 1").turns[0].sum))
    path = held(db, tmp_path / "s", replace(at_home("1 + 2"), turns=both), [3, 3])
    assert b"beads are free is new" in _head(path)
    erase_pupil(db, "Asha", tmp_path)
    assert b"beads are free is new" not in _head(path)


def _head(path: Path) -> bytes:

    with ZipFile(path) as file:
        return file.read("session.json")
