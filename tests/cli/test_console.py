"""What commands print reaches people, whatever the terminal, the pipe and the pupils' names."""

from __future__ import annotations

import io
import os
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner
from rich.console import Console

from oralquiz.audio import sound_card as soundcard
from oralquiz.cli import main
from oralquiz.cli.console import console_for
from oralquiz.cli.screen import Screen
from oralquiz.judge.verdict import Verdict
from oralquiz.records.database import open_records
from oralquiz.records.session_rows import store
from oralquiz.rounds.commands import Command
from oralquiz.rounds.events import Judged, SumBegun, SumEnded
from oralquiz.session.file import open_session
from tests.rounds.test_runner import Desk
from tests.session.room import make_round
from tests.sizes import size

pytestmark = pytest.mark.slow

ONE_WRONG = Path(__file__).parents[2] / "demo_sessions" / "one-wrong.zip"


ENCODINGS = ("ascii", "cp1252", "cp437")
PRINTED = [
    (("explain", "3 + 4"), "3 > 7"),
    (("diagnose", "34 + 13 - 22", "--heard", "30"), "34 + 13 - 22 is 25, not 30."),
    (("replay", str(ONE_WRONG), "--only", "wrong"), "Start"),
    (("syllabus", "--no-counts"), "five:+3"),
]


@pytest.mark.parametrize("encoding", ENCODINGS)
@pytest.mark.parametrize(("arguments", "says"), PRINTED)
def test_a_terminal_of_few_characters_gets_the_nearest_ones(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    arguments: tuple[str, ...],
    says: str,
    encoding: str,
) -> None:
    monkeypatch.setenv("ORALQUIZ_HOME", str(tmp_path))
    done = CliRunner(charset=encoding).invoke(main, arguments)
    assert done.stderr == ""
    assert done.exit_code == 0
    assert says in done.stdout.replace("\N{RIGHTWARDS ARROW}", ">")


@pytest.mark.parametrize(("encoding", "printed"), list(zip(ENCODINGS, PRINTED, strict=False)))
def test_so_does_the_terminal_of_another_process(
    tmp_path: Path, encoding: str, printed: tuple[tuple[str, ...], str]
) -> None:
    arguments, says = printed
    done = subprocess.run(
        [sys.executable, "-c", "from oralquiz.cli import main; main()", *arguments],
        capture_output=True,
        encoding=encoding,
        stdin=subprocess.DEVNULL,
        env={**os.environ, "ORALQUIZ_HOME": str(tmp_path), "PYTHONIOENCODING": encoding},
        check=False,
    )
    assert (done.stderr, done.returncode) == ("", 0)
    assert says in done.stdout.replace("\N{RIGHTWARDS ARROW}", ">")


WIDTHS = [(60, 1), (80, 3), (120, 3), (40, 0)]


@pytest.mark.parametrize(("width", "counts"), size(WIDTHS[:2], WIDTHS))
def test_a_narrow_window_shows_what_a_step_teaches_rather_than_every_count(
    monkeypatch: pytest.MonkeyPatch, width: int, counts: int
) -> None:
    monkeypatch.setenv("COLUMNS", str(width))
    shown = CliRunner().invoke(main, ["syllabus"]).stdout
    words = " ".join("".join(c if c.isalnum() else " " for c in shown).split())
    assert "free" in words
    assert max(map(len, shown.splitlines())) <= width
    left_out = "The window is too narrow for" in " ".join(shown.split())
    assert left_out == (counts < 3)
    assert ("130,331,277" in shown) == (counts > 0)
    assert ("8.18 x 10^15" in shown) == (counts == 3)


def test_a_line_of_a_round_is_as_wide_as_its_sums(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "60")
    round_ = make_round("44 - 31 + 38 - 20", "94 - 80 + 58 + 20", pupil="Tomaz")
    printed = io.StringIO()
    screen = Screen(Console(file=printed, width=60), round_)
    screen.watch(0, SumBegun(0, "Tomaz", (44, -31, 38, -20)))
    screen.watch(0, Judged(0, 0, Verdict.RIGHT, 31, 0.7))
    screen.watch(1, SumEnded(0))
    assert printed.getvalue() == "   1/2  Tomaz  44 - 31 + 38 - 20   31  right after 0.70 s\n"


@pytest.mark.parametrize("command", [("explain",), ("diagnose", "--heard", "3")])
def test_a_sum_without_quotation_marks_gets_a_hint_to_use_them(command: tuple[str, ...]) -> None:
    done = CliRunner().invoke(main, [*command, "34", "+", "13"])
    assert done.exit_code == 2
    assert done.stderr.endswith('; a sum goes in quotation marks: "34 + 13 - 22"\n')


def test_an_answer_without_a_loudspeaker_is_judged_unheard(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("ORALQUIZ_HOME", str(tmp_path))
    monkeypatch.setattr(soundcard, "sound_devices", list)
    monkeypatch.setattr("oralquiz.cli.correct.by_keys", lambda: True)
    monkeypatch.setattr("click.getchar", lambda: "x")
    done = CliRunner().invoke(main, ["correct", str(ONE_WRONG), "--all"])
    assert done.exit_code == 0
    assert done.stdout.count("  this computer has no loudspeaker: plug one in") >= 1


def test_a_typed_answer_is_reported_as_typed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("ORALQUIZ_HOME", str(tmp_path / "home"))
    monkeypatch.setattr(soundcard, "sound_devices", list)
    monkeypatch.setattr("oralquiz.cli.correct.by_keys", lambda: True)
    monkeypatch.setattr("click.getchar", lambda: "x")
    desk = Desk(tmp_path / "s", "4 + 3")
    desk.for_seconds(2.5)
    desk.runner.command(Command("typed", 8))
    desk.for_seconds(2.0)
    done = CliRunner().invoke(main, ["correct", str(desk.recorder.finish()), "--all"])
    assert done.exit_code == 0
    assert "  typed: 8\n" in done.stdout
    assert "heard:" not in done.stdout


def test_without_a_terminal_nothing_is_played_first(monkeypatch: pytest.MonkeyPatch) -> None:
    def play(*_: object) -> None:
        raise AssertionError("played to nobody")

    monkeypatch.setattr("oralquiz.audio.say_aloud", play)
    done = CliRunner().invoke(main, ["correct", str(ONE_WRONG), "--all"])
    assert done.exit_code == 2
    assert "there is no terminal to take keys from" in done.stderr
    assert done.stdout == ""


def test_brackets_in_names_are_text(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("ORALQUIZ_HOME", str(tmp_path))
    course = tmp_path / "course.toml"
    course.write_text(
        'name = "c"\ntitle = "[b]"\n[[step]]\nname = "s"\ntitle = "a [/x] b"\nadds = ["direct"]\n'
    )
    shown = CliRunner().invoke(main, ["syllabus", str(course), "--no-counts"])
    assert shown.exit_code == 0
    assert "[b]" in shown.stdout
    assert "a [/x] b" in shown.stdout


def test_a_pupil_may_be_called_ben_b(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("ORALQUIZ_HOME", str(tmp_path))
    db = open_records()
    store(db, open_session(ONE_WRONG), ONE_WRONG)
    db.table("pupils").update(1, {"name": "Ben [b] [/x]"})
    db.close()
    shown = CliRunner().invoke(main, ["pupils"])
    assert shown.exit_code == 0
    assert shown.stdout.count("Ben [b] [/x]") == 2  # in the list and in the scores


def test_a_reader_that_closes_the_pipe_stops_nothing() -> None:
    """As in `oralquiz round | head`: the round still runs to its end."""
    script = (
        "from oralquiz.cli.console import console_for\n"
        "import sys\n"
        "console = console_for()\n"
        "console.print('begun')\n"
        "sys.stdin.readline()\n"
        "for n in range(100): console.print(n)\n"
        "print('held', file=sys.stderr)\n"
    )
    with subprocess.Popen(
        [sys.executable, "-c", script],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    ) as running:
        assert running.stdin and running.stdout and running.stderr
        assert running.stdout.readline() == "begun\n"
        running.stdout.close()
        running.stdin.close()  # only now is the rest printed
        assert running.stderr.read() == "held\n"
    assert running.returncode == 0


def test_records_that_are_busy_are_one_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("ORALQUIZ_HOME", str(tmp_path))

    def busy(*_: object, **__: object) -> None:
        raise sqlite3.OperationalError("database is locked")

    monkeypatch.setattr("oralquiz.records.add_pupil", busy)
    done = CliRunner().invoke(main, ["pupils", "add", "Asha"])
    assert done.exit_code == 1
    assert done.stderr == "oralquiz: the records cannot be used just now: database is locked\n"


def test_the_console_takes_no_markup(capsys: pytest.CaptureFixture[str]) -> None:
    console_for().print("[bold]x[/bold]")
    assert capsys.readouterr().out == "[bold]x[/bold]\n"
