"""`oralquiz demo` when it is stopped; tests/cli/test_main_job.py lets it run to its end."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from oralquiz.cli import main
from oralquiz.cli.screen import Screen
from oralquiz.rounds.events import Dictated, Event
from oralquiz.session.file import open_session
from tests.session.room import PulseRecognizer
from tests.sizes import size

pytestmark = pytest.mark.slow


@pytest.mark.parametrize("answered", [1, *size([], [0])])
def test_a_demonstration_that_is_stopped_says_so_and_where_it_is(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, answered: int
) -> None:
    def stop(self: Screen, at: int, event: Event) -> None:
        if isinstance(event, Dictated) and event.turn == answered:
            raise KeyboardInterrupt

    monkeypatch.setattr(Screen, "watch", stop)
    monkeypatch.setattr("oralquiz.listen.open_recognizer", PulseRecognizer)
    done = CliRunner().invoke(main, ["demo", "--fast", "--out", str(tmp_path / "out")])
    assert done.exit_code == 1
    assert f"Stopped at the keyboard: {answered} of 12 sums answered.\n" in done.stdout
    assert ("median latency" in done.stdout) is bool(answered)
    assert ("of 1 answer\n" in done.stdout) is bool(answered)
    file = tmp_path / "out" / "round.zip"
    assert f"Session:  {file}\n" in done.stdout
    assert open_session(file).why_ended == "stopped at the keyboard"

    other = str(tmp_path / "other")
    told = CliRunner().invoke(main, ["demo", "--fast", "--json", "--out", other])
    assert told.exit_code == 1
    result = json.loads(told.stdout)
    assert (result["answers"], result["ended"]) == (answered, "stopped at the keyboard")
