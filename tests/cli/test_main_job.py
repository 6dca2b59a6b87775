"""The main job as a script would call it: the demonstration, its records, corrections by the
teacher's ear."""

from __future__ import annotations

import json
import shutil
import sqlite3
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from oralquiz.beads import Rule
from oralquiz.cli import main
from oralquiz.judge.slip import SlipKind
from oralquiz.learn.progress_words import weakness_words
from oralquiz.learn.weakness import Weakness
from oralquiz.session.file import open_session
from oralquiz.session.reruns import rerun

pytestmark = pytest.mark.slow


def call(*arguments: str, code: int = 0) -> Result:
    result = CliRunner().invoke(main, list(arguments))
    assert result.exit_code == code, result.output + result.stderr
    return result


@pytest.fixture(scope="module")
def shown(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """What `demo --fast --json` printed, once for all tests here."""
    out = tmp_path_factory.mktemp("demo") / "out"
    result: dict[str, Any] = json.loads(
        call("demo", "--fast", "--seed", "4", "--out", str(out), "--json").stdout
    )
    return result


def test_the_demo_counts_what_it_stored(shown: dict[str, Any]) -> None:
    (file,) = shown["session_files"]
    session = open_session(Path(file))
    assert shown["answers"] == len(session.turns) == 12
    verdicts = [turn.verdict for turn in session.turns]
    for verdict in ("right", "wrong", "unclear", "silent"):
        assert shown[verdict] == verdicts.count(verdict)  # type: ignore[arg-type]
    assert sum(shown[v] for v in ("right", "wrong", "unclear", "silent")) == 12
    with sqlite3.connect(shown["database"]) as db:
        stored = db.execute("select verdict, count(*) from counted group by verdict").fetchall()
    assert dict(stored) == {v: n for v in set(verdicts) if (n := verdicts.count(v))}


def test_the_demo_hears_its_pupils(shown: dict[str, Any]) -> None:
    """Synthetic voices in a quiet room: most answers are settled, none as the wrong number."""
    assert shown["misheard"] == 0
    assert shown["right"] + shown["wrong"] >= 8


def test_the_demo_replays(shown: dict[str, Any]) -> None:
    assert rerun(open_session(Path(shown["session_files"][0]))).difference == ""
    page = Path(shown["replay"]).read_text(encoding="utf-8")
    assert page.startswith("<!DOCTYPE html>")
    assert len(page) < 1_500_000


def test_a_demo_never_overwrites_another(shown: dict[str, Any]) -> None:
    out = str(Path(shown["database"]).parent)
    assert "this folder is not empty" in call("demo", "--fast", "--out", out, code=2).stderr


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("ORALQUIZ_HOME", str(tmp_path / "home"))
    return tmp_path


def test_pupils_are_kept(home: Path) -> None:
    call("pupils", "add", "Asha", "--class", "Monday")
    call("pupils", "consent", "Asha")
    (asha,) = json.loads(call("pupils", "--json").stdout)
    assert (asha["pupil"], asha["class"], asha["consent"]) == ("Asha", "Monday", True)
    call("pupils", "consent", "Asha", "--withdraw")
    assert json.loads(call("pupils", "show", "Asha", "--json").stdout)["consent"] is False
    assert call("pupils", "show", "Asha").stdout.endswith("No answers yet.\n")
    erased = call("pupils", "erase", "Asha", "--yes").stdout
    assert erased.startswith("Asha is erased; changed or removed: 0 session files\n")
    assert json.loads(call("pupils", "--json").stdout) == []
    assert "no pupil 'Asha'" in call("pupils", "show", "Asha", code=2).stderr


@pytest.mark.parametrize(
    ("kind", "rule", "name"),
    [
        (SlipKind.FIVE_NOT_MOVED, "five:+3", "five not moved at five:+3"),
        (SlipKind.CARRY_FORGOTTEN, None, "carry forgotten"),
        (None, "ten:-7", "ten:-7"),
    ],
)
def test_what_repeats_has_a_name_in_words(
    kind: SlipKind | None, rule: str | None, name: str
) -> None:
    assert weakness_words(Weakness(kind, Rule.parse(rule) if rule else None, (), 0, 0)) == name


def test_a_correction_of_a_strangers_session_stays_in_its_file(
    home: Path, shown: dict[str, Any]
) -> None:
    file = home / "copy.zip"
    shutil.copy(shown["session_files"][0], file)
    answer = open_session(file).turns[0].sum.answer
    done = call("correct", str(file), "--sum", "1", "--verdict", "right", "--value", str(answer))
    assert "in the file only" in done.stdout
    assert open_session(file).turns[0].corrections[-1].value == answer
    assert json.loads(call("pupils", "--json").stdout) == []


def test_what_waits_for_the_ear_is_listed(home: Path, shown: dict[str, Any]) -> None:
    listed = json.loads(call("correct", shown["session_files"][0], "--all", "--json").stdout)
    assert [row["sum"] for row in listed] == list(range(1, 13))
    waiting = json.loads(call("correct", shown["session_files"][0], "--json").stdout)
    assert [row["sum"] for row in waiting] == [
        row["sum"] for row in listed if row["verdict"] == "unclear"
    ]
