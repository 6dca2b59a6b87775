"""Which sums a pupil has had lately, session by session."""

from __future__ import annotations

from pathlib import Path

import pytest

from oralquiz.errors import BadInput
from oralquiz.records.database import open_records
from oralquiz.records.practised_sums import had_lately, recent_sums
from oralquiz.records.pupil_list import add_pupil


def test_the_sums_of_the_last_sessions(tmp_path: Path) -> None:
    db = open_records(tmp_path / "records.db")
    ada = add_pupil(db, "Ada", created="2026-01-01T00:00:00+00:00")
    ben = add_pupil(db, "Ben", created="2026-01-01T00:00:00+00:00")
    sessions = [
        ("r1", "2026-01-05", [(ada, "12 + 13"), (ben, "90 - 50")]),
        ("r3", "2026-01-07", [(ada, "34 + 13 - 22"), (ada, "12 + 13")]),
        ("r2", "2026-01-06", [(ada, "55 - 11")]),
        ("r4", "2026-01-08", [(ben, "20 + 20")]),
    ]
    for name, created, sums in sessions:
        db.table("rounds").insert({"id": name, "created": created, "name": name, "file": name})
        for turn, (pupil, terms) in enumerate(sums):
            db.table("sums").insert(
                {
                    "round_id": name,
                    "turn": turn,
                    "pupil_id": pupil.id,
                    "terms": terms,
                    "answer": 0,
                }
            )
    assert recent_sums(db, "Ada", 1) == {(34, 13, -22), (12, 13)}
    assert recent_sums(db, "Ada", 2) == {(34, 13, -22), (12, 13), (55, -11)}
    assert recent_sums(db, "Ada", 9) == {(34, 13, -22), (12, 13), (55, -11)}
    assert recent_sums(db, "Ben", 1) == {(20, 20)}
    assert had_lately(db, ["Ada", "Ben"]) == {
        "Ada": {(34, 13, -22), (12, 13), (55, -11)},
        "Ben": {(20, 20), (90, -50)},
    }
    with pytest.raises(BadInput, match="no pupil 'Cem'"):
        recent_sums(db, "Cem", 1)
