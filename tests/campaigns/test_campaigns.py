"""Small runs of the campaigns, and every input in ``faults``, each of which once broke
something."""

from __future__ import annotations

import sys
from pathlib import Path
from random import Random

import pytest
from click.testing import CliRunner
from starlette.requests import HTTPConnection

from oralquiz.cli import main
from oralquiz.records.database import open_records
from oralquiz.records.session_rows import store_file
from oralquiz.web.identity import Who
from tests.campaigns import bad_inputs, erasing, kills, serve_kills, visitors
from tests.campaigns.tally import Tally
from tests.session.room import make_round, run
from tests.sizes import size

pytestmark = pytest.mark.slow

FAULTS = Path(__file__).parent / "faults"


def test_bad_inputs() -> None:
    here, demo = sorted(Path.cwd().iterdir()), bad_inputs.SESSION.read_bytes()
    tally = bad_inputs.campaign(size(120, 360), 1)
    assert tally.failures == []
    assert (sorted(Path.cwd().iterdir()), bad_inputs.SESSION.read_bytes()) == (here, demo)
    assert tally.tried == size(120, 360)
    assert len(tally.outcomes) >= 36


def test_visitors() -> None:
    tally = visitors.campaign(size(80, 300), 2)
    assert tally.failures == []
    assert tally.tried == size(80, 300)


def test_a_visitor_who_sees_too_much_is_found(monkeypatch: pytest.MonkeyPatch) -> None:
    """Shows that the campaign can fail."""
    monkeypatch.setattr("oralquiz.web.result_pages.sees", lambda *_: True)
    assert len(visitors.campaign(150, 2).failures) == 1


def test_a_visitor_who_may_command_too_much_is_found(monkeypatch: pytest.MonkeyPatch) -> None:
    async def teacher(_: HTTPConnection) -> Who:
        return Who(teacher=True)

    monkeypatch.setattr("oralquiz.web.sockets.who", teacher)
    assert len(visitors.campaign(50, 2).failures) == 1


def test_erasing() -> None:
    tally = erasing.campaign(1, 1)
    assert tally.failures == []
    assert tally.outcomes["erasing"]["done"] == 1
    assert tally.outcomes["file searched"]["without the name"] >= 4


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no such processes")
def test_kills() -> None:
    tally = kills.campaign(size(1, 2), 1)
    assert tally.failures == []
    assert tally.tried == size(1, 2)


def test_what_a_killed_server_lost_is_found(tmp_path: Path) -> None:
    """Shows that the campaign of the real server, which takes minutes, can fail."""
    home = serve_kills.Home(tmp_path)
    home.add()
    left = home.data / "sessions" / "2026-01-05-090000-key-1"
    file, _, _ = run(left, make_round("1 + 2", pupil=home.names[0]), [3])
    db = open_records(home.data / "records.db")
    store_file(db, file)
    db.close()
    home.shown, home.whose = {("key-1", 0): ("right", 3)}, {"key-1": home.names[0]}
    trial = serve_kills.Trial(Tally(1), home, Random(1), 0)
    trial.everything_is_listed()
    trial.compare({"key-1"})
    assert trial.tally.failures == []
    home.shown["key-1", 0] = ("wrong", 4)
    trial.compare({"key-1"})
    assert len(trial.tally.failures) == 2  # not in the file, not in the records
    (file.parent / "unknown").mkdir()
    home.gone.append(home.names[0])
    trial.everything_is_listed()
    (tmp_path / "said.txt").write_text("oralquiz: stopped\n")
    trial.end()
    assert "unknown is not in" in trial.tally.failures[2]
    assert any("Zyxomma 0 Erasmus is in" in failure for failure in trial.tally.failures)


@pytest.mark.parametrize("name", ["0f432d7733.zip", "572412ff59.zip"])
@pytest.mark.parametrize(
    "arguments",
    [["replay"], ["replay", "--html", "page.html"], ["replay", "--check"], ["correct", "--json"],
     ["enter"]],
)  # fmt: skip
def test_session_files_that_broke_something(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str, arguments: list[str]
) -> None:
    monkeypatch.setenv("ORALQUIZ_HOME", str(tmp_path / "home"))
    monkeypatch.chdir(tmp_path)
    done = CliRunner().invoke(main, [arguments[0], str(FAULTS / name), *arguments[1:]])
    assert done.exception is None or isinstance(done.exception, SystemExit), done.exception
    assert done.exit_code in (0, 1, 2)
    assert done.exit_code != 2 or len(done.stderr.splitlines()) == 1


@pytest.mark.parametrize("name", ["be5e1a7bec.aud", "cb8098f127.aud"])
def test_recordings_that_broke_something(name: str) -> None:
    done = CliRunner().invoke(main, ["hear", str(FAULTS / name)])
    assert done.exception is None or isinstance(done.exception, SystemExit), done.exception
    assert len(done.stdout.splitlines()) == 1
