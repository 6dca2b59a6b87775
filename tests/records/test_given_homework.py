"""Sessions that were held at home: only what can have come of a page that was given is taken, and
what the file says of consent and pupils is not believed."""

from __future__ import annotations

import json
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from sqlite_utils import Database

from oralquiz.errors import BadInput, OralquizError
from oralquiz.records.database import open_records
from oralquiz.records.erasure import erase_pupil
from oralquiz.records.given_homework import AlteredSession, note_homework
from oralquiz.records.import_sessions import import_session
from oralquiz.records.pupil_list import Pupil, add_pupil, pupils, set_consent
from oralquiz.session.file import open_session

DEMO = Path(__file__).parents[2] / "demo_sessions" / "one-wrong.zip"
GIVEN = "0123456789abcdef" * 2
WHEN = "2026-01-05T09:00:00+00:00"

Change = Callable[[dict[str, Any]], None]


@pytest.fixture
def db(tmp_path: Path) -> Database:
    (tmp_path / "sessions").mkdir()
    return open_records(tmp_path / "records.db")


@pytest.fixture
def pupil(db: Database) -> Pupil:
    """The pupil of DEMO, to whom its sums were given on a page."""
    session = open_session(DEMO)
    pupil = add_pupil(db, session.round.turns[0].pupil, created=WHEN, consent=True)
    head = {**session.header, "homework": GIVEN}
    for key in ("id", "created"):
        del head[key]
    note_homework(db, pupil, head)
    return pupil


def nothing(_: Any) -> None:
    """Changes nothing."""


def back(tmp_path: Path, change: Change = nothing, events: Callable[[str], str] = str) -> Path:
    """DEMO as the page would have saved it, with its head and its events changed."""
    path = tmp_path / "back.zip"
    with zipfile.ZipFile(DEMO) as old, zipfile.ZipFile(path, "w") as new:
        for name in old.namelist():
            raw = old.read(name)
            if name == "session.json":
                head = {**json.loads(raw), "homework": GIVEN}
                head["options"]["answer_within_s"] = int(head["options"]["answer_within_s"])
                change(head)
                raw = json.dumps(head).encode()
            elif name == "events.jsonl":
                raw = events(raw.decode()).encode()
            new.writestr(name, raw)
    return path


def enter(db: Database, tmp_path: Path, path: Path) -> Any:
    return import_session(db, path, tmp_path / "sessions")


def test_what_was_given_is_taken_and_known_as_held_at_home(
    db: Database, pupil: Pupil, tmp_path: Path
) -> None:
    entered = enter(db, tmp_path, back(tmp_path))
    assert entered.new and entered.at_home
    assert entered.answers == len(open_session(DEMO).turns)
    assert not enter(db, tmp_path, DEMO).at_home


def _terms(head: dict[str, Any]) -> None:
    head["round"]["turns"][0]["terms"] = [1, 1]


def _lenient(head: dict[str, Any]) -> None:
    head["options"]["policy"]["right_from"] = 0.02


def _another(head: dict[str, Any]) -> None:
    for turn in head["round"]["turns"]:
        turn["pupil"] = "Somebody"


def _consenting(head: dict[str, Any]) -> None:
    head["round"]["turns"][0]["consent"] = not head["round"]["turns"][0]["consent"]


@pytest.mark.parametrize("change", [_terms, _lenient, _another, _consenting])
def test_a_changed_head_is_found(
    db: Database, pupil: Pupil, tmp_path: Path, change: Change
) -> None:
    with pytest.raises(AlteredSession, match="its sums, pupil or rules were changed"):
        enter(db, tmp_path, back(tmp_path, change))
    assert [one.name for one in pupils(db)] == [pupil.name]
    assert not list((tmp_path / "sessions").iterdir())


def test_a_changed_verdict_is_found(db: Database, pupil: Pupil, tmp_path: Path) -> None:
    changed = back(tmp_path, events=lambda text: text.replace('"wrong"', '"right"'))
    with pytest.raises(AlteredSession, match="does not come out again"):
        enter(db, tmp_path, changed)
    cut = back(tmp_path, events=lambda text: text[: len(text) // 2])
    with pytest.raises(AlteredSession, match="not whole"):
        enter(db, tmp_path, cut)


def test_homework_of_another_computer_is_not_taken(
    db: Database, pupil: Pupil, tmp_path: Path
) -> None:
    other = back(tmp_path, lambda head: head.update(homework="f" * 32))
    with pytest.raises(BadInput, match="not given here"):
        enter(db, tmp_path, other)


def test_an_erased_pupil_does_not_come_back_with_homework(
    db: Database, pupil: Pupil, tmp_path: Path
) -> None:
    erase_pupil(db, pupil.name, tmp_path / "sessions")
    with pytest.raises(OralquizError, match="erased"):
        enter(db, tmp_path, back(tmp_path))
    assert pupils(db) == []
    assert db.table("homework").count == 0


def test_the_voice_stays_out_when_the_consent_was_withdrawn(
    db: Database, pupil: Pupil, tmp_path: Path
) -> None:
    set_consent(db, pupil.name, False)
    entered = enter(db, tmp_path, back(tmp_path))
    kept = open_session(entered.file)
    assert open_session(DEMO).audio[:, 1].any() and not kept.audio[:, 1].any()
    assert entered.answers == len(kept.turns)
    assert not pupils(db)[0].consent
