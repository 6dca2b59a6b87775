"""Small runs of the campaigns, and every input in ``faults``, each of which once broke
something."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from oralquiz.cli import main
from tests.campaigns import bad_inputs, erasing, kills, visitors
from tests.sizes import size

pytestmark = pytest.mark.slow

FAULTS = Path(__file__).parent / "faults"


def test_bad_inputs() -> None:
    here, demo = sorted(Path.cwd().iterdir()), bad_inputs.SESSION.read_bytes()
    tally = bad_inputs.campaign(size(180, 360), 1)
    assert tally.failures == []
    assert (sorted(Path.cwd().iterdir()), bad_inputs.SESSION.read_bytes()) == (here, demo)
    assert tally.tried == size(180, 360)
    assert len(tally.outcomes) >= 36


def test_visitors() -> None:
    tally = visitors.campaign(150, 2)
    assert tally.failures == []
    assert tally.tried == 150


def test_a_visitor_who_sees_too_much_is_found(monkeypatch: pytest.MonkeyPatch) -> None:
    """Shows that the campaign can fail."""
    monkeypatch.setattr("oralquiz.web.result_pages.sees", lambda *_: True)
    assert len(visitors.campaign(150, 2).failures) == 1


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
