"""Erasing a pupil is one thing, on the page and at the command line."""

from __future__ import annotations

import zipfile
from pathlib import Path

import pytest
from click.testing import CliRunner
from starlette.testclient import TestClient

from oralquiz.cli import main
from oralquiz.records.cards import Cards
from oralquiz.records.database import open_records
from oralquiz.records.pupil_list import Pupil, add_pupil, pupils
from oralquiz.session.folder_lock import locked
from oralquiz.web.classroom import Classroom
from oralquiz.web.credentials import Codes
from tests.session.room import make_round, run

WHEN = "2026-01-05T09:00:00+00:00"


def test_erasing_at_the_command_line_takes_the_card_from_a_running_server(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("ORALQUIZ_HOME", str(tmp_path))
    records = tmp_path / "data" / "records.db"
    db = open_records(records)
    asha, ben = (add_pupil(db, name, created=WHEN) for name in ("Asha", "Ben"))
    db.close()
    server = Codes(cards=Cards(records))
    of_asha, _ = server.for_pupil(asha)
    of_ben, _ = server.for_pupil(ben)
    of_class, _ = server.for_class("3B")
    assert CliRunner().invoke(main, ["pupils", "erase", "Ben", "--yes"]).exit_code == 0
    assert server.open(of_ben) is None
    assert server.card_of(ben) is None
    assert server.open(of_asha) is not None
    assert server.open(of_class) is not None
    for file in filter(Path.is_file, tmp_path.rglob("*")):
        assert b"Ben" not in file.read_bytes(), file


def test_nobody_is_erased_on_the_page_while_another_program_holds_a_round(
    classroom: Classroom, teacher: TestClient
) -> None:
    whole, _, _ = run(classroom.sessions / "s", make_round("1 + 2", pupil="Ben"), [3])
    with zipfile.ZipFile(whole) as parts:
        parts.extractall(classroom.sessions / "held")
    ben = next(p for p in open_pupils(classroom) if p.name == "Ben")
    card, _ = classroom.codes.for_pupil(ben)
    with locked(classroom.sessions / "held"):
        teacher.post("/class", data={"what": "erase", "pupil": "Ben"})
        assert "nothing has been erased" in teacher.get("/class").text
        assert whole.exists()
        assert classroom.codes.open(card) is not None
    assert len(open_pupils(classroom)) == 2
    teacher.post("/class", data={"what": "erase", "pupil": "Ben"})
    assert "Ben is erased" in teacher.get("/class").text
    assert classroom.codes.open(card) is None
    assert list(classroom.sessions.iterdir()) == []


def open_pupils(classroom: Classroom) -> list[Pupil]:
    db = open_records(classroom.sessions.parent / "records.db")
    try:
        return pupils(db)
    finally:
        db.close()
