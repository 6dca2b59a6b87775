"""`oralquiz pupils show`, as a teacher reads it."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from click.testing import CliRunner

from oralquiz.cli import main
from oralquiz.records.database import open_records
from oralquiz.records.session_rows import store
from oralquiz.session.file import open_session
from tests.session.room import make_round, run

pytestmark = pytest.mark.slow


@pytest.fixture
def six_lessons(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Asha on six days, three and a half days apart: quicker each time, one sum in three wrong."""
    monkeypatch.setenv("ORALQUIZ_HOME", str(tmp_path))
    db = open_records()
    for lesson in range(6):
        round_ = make_round(*["12 + 21"] * 3, pupil="Asha")
        file, _, _ = run(tmp_path / f"s{lesson}", round_, [33, 33, 38], 2.0 - 0.2 * lesson)
        session = open_session(file)
        store(db, session, file)
        day = datetime(2026, 1, 5, 10, tzinfo=UTC) + timedelta(days=3.5 * lesson)
        db.table("rounds").update(session.header["id"], {"created": day.isoformat()})
    db.close()


def show(*more: str) -> str:
    result = CliRunner().invoke(main, ["pupils", "show", "Asha", *more])
    assert result.exit_code == 0, result.output
    return result.stdout


@pytest.mark.usefixtures("six_lessons")
def test_speed_and_accuracy_are_reported_together_with_their_intervals(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("COLUMNS", "120")
    told = " ".join(show().split())
    # Wilson (1927): 12 of 18 is 44 to 84 %
    assert "12 of 18 right (44 to 84 %)." in told
    assert "Half of the right answers within 1.5 s (1.2 to 1.8)." in told
    assert "The quickest third: 4 of 6 right at about" in told
    # 0.2 s in three days or four, each time
    assert "Speed over the weeks: quicker by 0.4 s a week (0.3 to 0.5)." in told
    # two of three right each day: no change, but 18 answers say little
    assert "no sure change, between 24 in 100 fewer and 24 in 100 more a week." in told
    for monday in ("2026-01-05", "2026-01-12", "2026-01-19"):
        assert monday in told
    assert "Right answers (o right, out of right and wrong, (--) 95 % confidence limits; " in told
    # Wilson (1927): 4 of 6 is 30 to 90 %
    assert "5 Jan | (--------o-----) | 12 Jan | (--------o-----) |" in told


@pytest.mark.usefixtures("six_lessons")
def test_the_same_for_other_programs() -> None:
    told = json.loads(show("--json"))
    both = told["speed_and_accuracy"]
    assert (both["right"], both["wrong"], both["early"], both["early_right"]) == (12, 6, 0, 0)
    assert len(both["speed"]["quantiles"]) == 5
    assert both["speed"]["trimmed_mean"] == pytest.approx(1.5, abs=0.01)
    assert [third["count"] for third in both["thirds"]] == [6, 6, 6]
    assert [(week["monday"], week["days"]) for week in told["weeks"]] == [
        ("2026-01-05", 2), ("2026-01-12", 2), ("2026-01-19", 2),
    ]  # fmt: skip
    assert told["latency_change_per_week"]["per_week"] == pytest.approx(-0.4, abs=0.01)
