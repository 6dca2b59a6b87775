"""What practice knows of each pupil: worked out from the answers, and kept so that only new ones
have to be taken in.

What is kept can always be derived from the answers. When an answer that was taken in is corrected,
erased, or comes late from another computer, what is kept no longer fits (``digest``) and is worked
out again.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from typing import Any

from sqlite_utils import Database

from oralquiz.beads import ALL_RULES, Rule, Sum, Syllabus
from oralquiz.compose import load_syllabus, shipped_syllabi
from oralquiz.learn import Practice, PracticeSettings, Skill, Task
from oralquiz.records.database import changing
from oralquiz.records.practice_sets import PracticeSet, todays_set
from oralquiz.records.pupil_list import Pupil, pupils

MOST_TOLD = 400
"""The most answers that are worked through again: older ones say little about today."""


@dataclass(frozen=True)
class Learner:
    """The practice of one pupil and the ``step`` up to which everything is practised."""

    pupil: Pupil
    step: str
    practice: Practice


def follow(db: Database, pupil: Pupil, syllabus: Syllabus) -> Learner:
    """Bring what practice knows of ``pupil`` up to date with the answers in the records."""
    db.execute("update learners set behind = 0 where pupil_id = ?", [pupil.id])
    step, settings = reached_step(db, pupil, syllabus), _settings(db, pupil)
    taught = step if syllabus.taught(step) else ALL_RULES  # a course that adds none, only drills
    practice = Practice(syllabus, taught, settings, seed=pupil.id)
    rows = _rows(db, pupil.id, practice.columns)
    begun = f"{syllabus.name} {step} {json.dumps(asdict(settings))}"
    kept = next(db.query("select * from learners where pupil_id = ?", [pupil.id]), None)
    first, told = max(0, len(rows) - MOST_TOLD), 0
    if kept is not None:
        known = rows[kept["first"] : kept["first"] + kept["told"]]
        if len(known) == kept["told"] and _digest(begun, known) == kept["digest"]:
            practice = Practice.from_json(kept["state"])
            first, told = kept["first"], kept["told"]
    new = rows[first + told :]
    if new or not told:
        for row in new:
            _tell(practice, row)
        done = {"first": first, "told": len(rows) - first, "digest": _digest(begun, rows[first:])}
        _keep(db, pupil, practice, {**done, "course": syllabus.name})
    return Learner(pupil, step, practice)


def class_skills(db: Database, class_name: str) -> dict[str, dict[Rule, Skill]]:
    """What was known of each pupil of a class, by name, when the pupil was last followed."""
    states = rule_states(db)
    return {pupil.name: states.get(pupil.id, {}) for pupil in pupils(db, class_name)}


def class_paces(db: Database, class_name: str) -> dict[str, float]:
    """The pace in seconds that suits each pupil of a class who has answered, by name."""
    kept = {row["pupil_id"]: row["state"] for row in db.query("select * from learners where told")}
    return {
        pupil.name: Practice.from_json(kept[pupil.id]).pace_for()
        for pupil in pupils(db, class_name)
        if pupil.id in kept
    }


def rule_states(db: Database) -> dict[int, dict[Rule, Skill]]:
    """By a pupil's number, what was known of each rule when the pupil was last followed."""
    found: dict[int, dict[Rule, Skill]] = {}
    for row in db.query("select * from rule_states"):
        due = datetime.fromisoformat(row["due"]) if row["due"] else None
        skill = Skill(row["mean"], row["sd"], bool(row["mastered"]), due, row["uses"])
        found.setdefault(row["pupil_id"], {})[Rule.parse(row["rule"])] = skill
    return found


def follow_new(db: Database, syllabus: Syllabus | None = None) -> None:
    """Follow every pupil with answers that were not taken in yet: on ``syllabus`` or, where that is
    None, each on the course used before."""
    for pupil in pupils_behind(db):
        follow(db, pupil, syllabus or _course_of(db, pupil))


def pupils_behind(db: Database) -> list[Pupil]:
    """The pupils for whom something was stored since they were last followed."""
    rows = db.query(
        """
        select distinct sums.pupil_id from sums
          left join learners on learners.pupil_id = sums.pupil_id
        where verdict is not null and coalesce(behind, 1)
        """
    )
    behind = {row["pupil_id"] for row in rows}
    return [pupil for pupil in pupils(db) if pupil.id in behind]


def _course_of(db: Database, pupil: Pupil) -> Syllabus:
    """The shipped course on which the pupil was followed last; otherwise the default one."""
    courses = db.query("select course from learners where pupil_id = ?", [pupil.id])
    shipped = [row["course"] for row in courses if row["course"] in shipped_syllabi()]
    return load_syllabus(*shipped)


def reached_step(db: Database, pupil: Pupil, syllabus: Syllabus) -> str:
    """How far the pupil has been taught: the furthest step among the class's practice set and the
    pupil's rounds; else the course's first."""
    order = [step.name for step in syllabus.steps]
    steps = {
        row["step"]
        for row in db.query(
            """
            select distinct step from rounds
            where id in (select round_id from sums where pupil_id = ?)
            """,
            [pupil.id],
        )
    }
    today = todays_set(db, pupil.class_name)
    reached = [order.index(step) for step in {*steps, today.step if today else ""} & {*order}]
    return order[max(reached, default=0)]


def _settings(db: Database, pupil: Pupil) -> PracticeSettings:
    """From the set that the teacher gave the class: the most terms of a sum, the pace to begin
    with."""
    today = todays_set(db, pupil.class_name) or PracticeSet("")
    usual = PracticeSettings()
    first = min(max(today.pace_s, usual.fastest_s), usual.slowest_s)
    return PracticeSettings(terms=(min(3, today.terms), today.terms), first_pace_s=first)


def _rows(db: Database, pupil: int, columns: int) -> list[dict[str, Any]]:
    """Every judged sum of the pupil on a frame of ``columns``, in the order in which it was
    asked."""
    return list(
        db.query(
            """
            select round_id, turn, terms, verdict, value, latency_s,
              coalesce(began, rounds.created) as began,
              coalesce(sums.pace_s, rounds.pace_s) as pace_s,
              coalesce(sums.rule, '') as rule, coalesce(sums.reason, '') as reason
            from sums join rounds on rounds.id = round_id
            where pupil_id = ? and verdict is not null and rounds.columns = ?
            order by began, round_id, turn
            """,
            [pupil, columns],
        )
    )


def _tell(practice: Practice, row: dict[str, Any]) -> None:
    when = datetime.fromisoformat(row["began"]).astimezone()
    task = Task(Sum.parse(row["terms"]), row["pace_s"], row["rule"], row["reason"])
    practice.tell(task, row["verdict"], row["value"], row["latency_s"], when)


def _digest(begun: str, rows: Sequence[dict[str, Any]]) -> str:
    told = [[row["round_id"], row["turn"], row["verdict"], row["value"]] for row in rows]
    return hashlib.sha256(f"{begun} {json.dumps(told)}".encode()).hexdigest()


def _keep(db: Database, pupil: Pupil, practice: Practice, done: dict[str, Any]) -> None:
    state = {"state": practice.to_json(), **done}
    with changing(db):
        if not db.table("pupils").count_where("id = ?", [pupil.id]):
            return  # erased meanwhile
        db.execute("delete from rule_states where pupil_id = ?", [pupil.id])
        db.table("learners").upsert({"pupil_id": pupil.id, **state}, pk="pupil_id")
        db.table("rule_states").insert_all(
            {
                "pupil_id": pupil.id,
                "rule": rule,
                "mean": skill.mean,
                "sd": skill.sd,
                "uses": skill.uses,
                "mastered": int(skill.mastered),
                "due": skill.due.astimezone(UTC).isoformat() if skill.due else None,
            }
            for rule, skill in practice.skills().items()
        )
