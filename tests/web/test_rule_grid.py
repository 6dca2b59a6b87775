"""The grid of pupils and rules on the class's page, and the plan that comes from it."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from oralquiz.records.learners import follow
from oralquiz.records.pupil_list import find_pupil
from oralquiz.records.session_rows import store_file
from oralquiz.web.classroom import Classroom
from tests.session.room import make_round, run

pytestmark = pytest.mark.slow


def practised(classroom: Classroom, client: TestClient, folder: Path) -> None:
    """Asha had + 4 eight times; Ben has not answered yet."""
    round_ = replace(make_round(*["11 + 4"] * 8, pupil="Asha Rao"), step="five:+4")
    path, _, _ = run(folder / "s", round_, [15] * 8)

    def enter(db) -> None:  # type: ignore[no-untyped-def]
        store_file(db, path)
        follow(db, find_pupil(db, "Asha Rao"), classroom.syllabus)

    assert client.portal is not None
    client.portal.call(lambda: classroom.records.do(enter))


def test_the_class_sees_who_can_do_what(
    classroom: Classroom, teacher: TestClient, tmp_path: Path
) -> None:
    assert "Who can do what" not in teacher.get("/class").text
    practised(classroom, teacher, tmp_path)
    page = teacher.get("/class").text
    cells = re.findall(r'<td title="([^"]*)">', page)
    assert cells == [
        "Asha Rao, a move whose beads are free: growing",
        "Asha Rao, + 4 is + 5 - 1: due",
        "Ben, a move whose beads are free: not yet",
        "Ben, + 4 is + 5 - 1: not yet",
    ]
    assert "Plan this lesson" in page


def test_the_plan_is_filled_in_from_the_grid(
    classroom: Classroom, teacher: TestClient, tmp_path: Path
) -> None:
    practised(classroom, teacher, tmp_path)
    proposed = teacher.get("/plan").text
    assert "+ 4 is + 5 - 1 is due for 1 of 2" in proposed
    assert "Needed by Asha Rao." in proposed
    plan = teacher.get("/plan?step=five:%2B4").text
    assert '<option value="five:+4" selected>' in plan
    asha, ben = re.findall(r'name="pupil" value="\d+"( checked)?', plan)
    assert (asha, ben) == (" checked", "")
    pace = re.search(r'name="pace" [^>]* value="([0-9.]+)"', plan)
    assert pace is not None
    assert float(pace[1]) != 2.5
    assert teacher.get("/plan?step=nothing").status_code == 200
