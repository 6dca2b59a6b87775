"""What `oralquiz round` does around the round itself, which tests/session holds on a virtual sound
card."""

from __future__ import annotations

import contextlib
import json
import sqlite3
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace

import pytest
from click.testing import CliRunner

from oralquiz.cli import main
from oralquiz.records import open_records, rule_states

ONE_WRONG = Path(__file__).parents[2] / "demo_sessions" / "one-wrong.zip"


@pytest.fixture
def held(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A computer on which every round becomes the session ONE_WRONG."""
    monkeypatch.setenv("ORALQUIZ_HOME", str(tmp_path))

    @contextlib.contextmanager
    def card(*_: object) -> Iterator[SimpleNamespace]:
        yield SimpleNamespace(
            output_name="out", input_name="in", measure_lag=lambda: 0, xruns=0, lost=0
        )

    monkeypatch.setattr("oralquiz.audio.SoundCard", card)

    @contextlib.contextmanager
    def opened(*_: object, **__: object) -> Iterator[SimpleNamespace]:
        yield SimpleNamespace(run=lambda card, mend: None, finish=lambda: ONE_WRONG)

    monkeypatch.setattr("oralquiz.session.open_round", opened)
    monkeypatch.setattr("oralquiz.listen.open_recognizer", lambda *_: None)
    CliRunner().invoke(main, ["pupils", "add", "Asha", "--consent"])


@pytest.mark.usefixtures("held")
def test_a_round_reports_its_scores_and_its_file() -> None:
    done = CliRunner().invoke(main, ["round", "--pupil", "Asha", "--step", "five:+3"])
    assert done.exit_code == 0
    assert "median latency" in done.stdout
    assert str(ONE_WRONG) in done.stdout
    assert rule_states(open_records())


@pytest.mark.usefixtures("held")
def test_a_round_that_the_records_do_not_take_says_where_it_is(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def busy(*_: object) -> None:
        raise sqlite3.OperationalError("database is locked")

    monkeypatch.setattr("oralquiz.records.store_file", busy)
    done = CliRunner().invoke(main, ["round", "--pupil", "Asha", "--step", "five:+3"])
    assert done.exit_code == 1
    assert f"{ONE_WRONG}: kept, but not in the records (database is locked)" in done.stderr


@pytest.mark.usefixtures("held")
def test_practice_reports_its_scores_and_its_file() -> None:
    done = CliRunner().invoke(main, ["practice", "--pupil", "Asha", "--count", "3"])
    assert done.exit_code == 0, done.output
    assert "Practice up to direct" in done.stdout
    assert "median latency" in done.stdout
    assert str(ONE_WRONG) in done.stdout


@pytest.mark.usefixtures("held")
def test_practice_shows_its_plan_and_why() -> None:
    plan = ["practice", "--pupil", "Asha", "--count", "3", "--plan"]
    shown = CliRunner().invoke(main, plan)
    assert shown.exit_code == 0, shown.output
    assert "a move whose beads are free is new" in shown.stdout
    told = json.loads(CliRunner().invoke(main, [*plan, "--json"]).stdout)
    slower = json.loads(CliRunner().invoke(main, [*plan, "--json", "--slower"]).stdout)
    assert [sum(one["terms"]) for one in told["sums"]] == [one["answer"] for one in told["sums"]]
    assert len(told["sums"]) == 3
    assert slower["pace_s"] > told["pace_s"]


@pytest.mark.usefixtures("held")
def test_a_rule_that_has_not_been_taught_is_not_practised() -> None:
    done = CliRunner().invoke(main, ["practice", "--pupil", "Asha", "--rule", "ten:+9"])
    assert (done.exit_code, done.stderr) == (2, "oralquiz: ten:+9 was not taught yet\n")
