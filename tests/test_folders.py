"""Nobody else on this computer can read what is kept: records, sessions, voices, keys."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from oralquiz.folders import (
    cache_folder,
    data_folder,
    private_folder,
    replacing,
    sessions_folder,
)
from oralquiz.records.database import open_records
from oralquiz.records.import_sessions import import_session
from oralquiz.sound.clip import Clip
from oralquiz.sound.sound_files import wav_bytes
from oralquiz.speak.clip_cache import kept
from oralquiz.speak.own_voice import keep_word
from oralquiz.web.certificate import own_certificate
from oralquiz.web.credentials import load_keys
from tests.session.room import make_round, run

ONE_WRONG = Path(__file__).parents[1] / "demo_sessions" / "one-wrong.zip"

pytestmark = pytest.mark.skipif(os.name == "nt", reason="Windows has other permissions")


@pytest.fixture(autouse=True)
def careless(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """A private home, on a computer whose users let everybody read and write by default."""
    monkeypatch.setenv("ORALQUIZ_HOME", str(tmp_path / "home"))
    before = os.umask(0)
    yield
    os.umask(before)


def use_everything() -> None:
    db = open_records()
    import_session(db, ONE_WRONG, sessions_folder())
    db.close()
    run(sessions_folder() / "held", make_round("12 + 21"), [33])
    tone = (np.sin(np.arange(4_000) / 5) / 2).astype(np.float32)
    kept(("a", "word"), lambda: wav_bytes(tone, 16_000))
    keep_word("mine", "en", "two", Clip(tone, 16_000))
    load_keys(data_folder() / "web" / "keys.json")
    own_certificate(data_folder() / "web", ["localhost"])


def open_to_others() -> list[str]:
    """What others could look into: by a folder they may enter or a file they may read, all the way
    down from the folders of this program."""
    found = []
    for top in (data_folder(), cache_folder()):
        for path in (top, *top.rglob("*")):
            rights = path.stat().st_mode & 0o077
            if rights and (
                path.is_dir() or any(p.stat().st_mode & 0o011 for p in path.parents[:1])
            ):
                found.append(f"{path} {rights:o}")
    return found


def test_everything_is_for_this_user_only_from_the_first_byte() -> None:
    use_everything()
    assert open_to_others() == []


def test_folders_that_an_older_version_left_open_are_closed_when_they_are_used() -> None:
    use_everything()
    for top in (data_folder(), cache_folder()):
        for path in (top, *top.rglob("*")):
            path.chmod(0o755 if path.is_dir() else 0o644)
    assert open_to_others()
    open_records().close()
    assert data_folder().stat().st_mode & 0o077 == 0
    assert (data_folder() / "records.db").stat().st_mode & 0o077 == 0
    run(sessions_folder() / "another", make_round("12 + 21"), [33])
    assert sessions_folder().stat().st_mode & 0o077 == 0
    kept(("another", "word"), lambda: wav_bytes(np.full(4_000, 0.5, dtype=np.float32), 16_000))
    assert (cache_folder() / "clips").stat().st_mode & 0o077 == 0


def test_somebodys_own_folder_stays_as_it_is(tmp_path: Path) -> None:
    shared = tmp_path / "shared"
    shared.mkdir(mode=0o755)
    assert private_folder(shared).stat().st_mode & 0o777 == 0o755


def test_a_file_takes_its_place_whole_and_for_this_user_only(tmp_path: Path) -> None:
    path = tmp_path / "s.zip"
    path.write_text("old")
    with replacing(path) as part:
        part.write_text("new")
        assert path.read_text() == "old"
    assert [p.name for p in tmp_path.iterdir()] == ["s.zip"]
    assert path.read_text() == "new"
    assert path.stat().st_mode & 0o777 == 0o600


def test_what_was_written_before_a_failure_is_removed(tmp_path: Path) -> None:
    path = tmp_path / "s.zip"
    path.write_text("old")
    with pytest.raises(KeyboardInterrupt), replacing(path) as part:
        part.write_text("half a voice")
        raise KeyboardInterrupt
    assert [p.name for p in tmp_path.iterdir()] == ["s.zip"]
    assert path.read_text() == "old"
