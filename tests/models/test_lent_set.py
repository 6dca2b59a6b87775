"""Voices that pupils lend: what is written here is what the training reads."""

from __future__ import annotations

from importlib import import_module
from pathlib import Path

import numpy as np
import pytest
from sqlite_utils import Database

from oralquiz.errors import BadInput
from oralquiz.judge.verdict import Verdict
from oralquiz.records.database import open_records
from oralquiz.records.erasure import erase_pupil
from oralquiz.records.lent_recordings import (
    agree_to_lend,
    confirmed,
    lend,
    lends,
    lent_numbers,
    write_set,
)
from oralquiz.records.pupil_list import Pupil, add_pupil, pupils, set_consent
from oralquiz.session.correction import correct
from oralquiz.session.file import open_session
from oralquiz.sound.clip import Samples
from oralquiz.sound.sound_files import read_recording
from tests.records.fresh import fresh_records
from tests.session.room import make_round, run

WHEN = "2026-01-05T09:00:00+00:00"


@pytest.fixture
def db(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Database:
    monkeypatch.setenv("ORALQUIZ_HOME", str(tmp_path / "home"))
    return open_records(fresh_records(tmp_path / "records.db"))


def lender(db: Database, name: str) -> Pupil:
    pupil = add_pupil(db, name, created=WHEN, consent=True)
    agree_to_lend(pupil, WHEN)
    return pupil


def hum(level: float) -> Samples:
    return np.full(8000, level, np.float32)


def test_what_a_pupil_lends_is_what_the_training_reads(tmp_path: Path, db: Database) -> None:
    asha, ben = lender(db, "Asha Rao"), lender(db, "Ben")
    for value in (0, 13, 42, 42):
        lend(asha, value, hum(0.5))
    lend(ben, 90, hum(0.25))
    assert lent_numbers("Asha Rao") == {0, 13, 42}
    data = tmp_path / "data"
    assert write_set(data / "lent_numbers", pupils(db), []) == (5, 2)
    read = list(import_module("people").recordings(data))
    by_speaker: dict[str, list[tuple[str, ...]]] = {}
    for clip in read:
        by_speaker.setdefault(clip.speaker, []).append(clip.words)
        assert "asha" not in clip.path.name.lower() and clip.kind == "number"
    assert sorted(map(sorted, by_speaker.values()), key=len) == [
        [("ninety",)],
        [("forty", "two"), ("forty", "two"), ("thirteen",), ("zero",)],
    ]
    ninety = next(clip.path for clip in read if clip.words == ("ninety",))
    assert np.allclose(read_recording(ninety, 16_000), hum(0.25), atol=1e-4)


def test_answers_that_the_teacher_listened_to_are_lent_with_their_number(
    tmp_path: Path, db: Database
) -> None:
    lender(db, "Mia")
    file = run(tmp_path / "s", make_round("1 + 2", "3 + 2", pupil="Mia"), [3, 7])[0]
    assert list(confirmed(open_session(file))) == []
    correct(file, 0, Verdict.RIGHT, by="t", when=WHEN)
    correct(file, 1, Verdict.WRONG, by="t", when=WHEN, value=17)
    said = list(confirmed(open_session(file)))
    assert [one.value for one in said] == [3, 17]
    # the room's voice says 7 as a pulse of this level
    assert float(np.median(said[1].samples[4000:-4000])) == pytest.approx(9 / 200, abs=2e-3)
    assert write_set(tmp_path / "set", pupils(db), [open_session(file)]) == (2, 1)


def test_nobody_lends_without_being_asked(tmp_path: Path, db: Database) -> None:
    silent = add_pupil(db, "Tom", created=WHEN)
    with pytest.raises(BadInput, match="may not be recorded"):
        agree_to_lend(silent, WHEN)
    kept = add_pupil(db, "Ida", created=WHEN, consent=True)  # recorded in rounds, not lent
    with pytest.raises(BadInput, match="nobody has agreed"):
        lend(kept, 3, hum(0.5))
    file = run(tmp_path / "s", make_round("1 + 2", pupil="Ida"), [3])[0]
    correct(file, 0, Verdict.RIGHT, by="t", when=WHEN)
    assert write_set(tmp_path / "set", pupils(db), [open_session(file)]) == (0, 0)


@pytest.mark.parametrize("how", ["erased", "withdrawn"])
def test_who_is_erased_or_withdraws_is_in_no_set(tmp_path: Path, db: Database, how: str) -> None:
    asha, ben = lender(db, "Asha"), lender(db, "Ben")
    lend(asha, 7, hum(0.5))
    lend(ben, 8, hum(0.5))
    assert write_set(tmp_path / "set", pupils(db), []) == (2, 2)
    if how == "erased":
        erase_pupil(db, "Asha")
    else:
        set_consent(db, "Asha", False)
        set_consent(db, "Asha", True)
    assert not lends("Asha") and lends("Ben")
    assert len(list((tmp_path / "home").rglob("*.flac"))) == 1
    assert write_set(tmp_path / "set", pupils(db), []) == (1, 1)
    assert len(list((tmp_path / "set").glob("*.flac"))) == 1


def test_a_folder_that_holds_something_else_is_left_as_it_is(tmp_path: Path, db: Database) -> None:
    (tmp_path / "mine_one_1.flac").touch()
    with pytest.raises(BadInput, match="holds something else"):
        write_set(tmp_path, pupils(db), [])
    assert (tmp_path / "mine_one_1.flac").exists()
