"""Bad input gets one clear line on stderr that says what is wrong and where, and the right exit
status."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from oralquiz.cli import main

ONE_WRONG = str(Path(__file__).parents[2] / "demo_sessions" / "one-wrong.zip")


def is_one_line(stderr: str, says: str) -> bool:
    (line,) = [line for line in stderr.splitlines() if line.strip()]
    return says in line and line.startswith("oralquiz: ")


@pytest.mark.parametrize(
    ("arguments", "code", "says"),
    [
        (["explain", ""], 2, "the sum is empty"),
        (["explain", "34 + x"], 2, "at character 4"),
        (["explain", "-34 + 50"], 2, "term 1 (-34) goes below zero"),
        (["explain", "34 + 80"], 2, "34 + 80 = 114 cannot be shown on 2 columns"),
        (["explain", "3", "--columns", "12"], 2, "--columns"),
        (["explain"], 2, "SUM"),
        (["nosuch"], 2, "nosuch"),
        (["compose", "--step", "five:+9"], 2, "has no step 'five:+9'"),
        (["dictate", "1 + 2", "--pace", "nan", "--out", "x.wav"], 2, "--pace"),
        (["dictate", "1 + 2", "--pace", "1e9", "--out", "x.wav"], 2, "--pace"),
        (["demo", "--seed", "-1"], 2, "--seed"),
        (["compose", "--seed", "-1"], 2, "--seed"),
        (["sheet", "--seed", "-1"], 2, "--seed"),
        (["round", "--pupil", "Nobody", "--seed", "-1"], 2, "--seed"),
        (["demo", "--fast", "--out", "{file}"], 2, "--out"),
        (["correct", "nosuch.zip"], 2, "nosuch.zip"),
        (["correct", ONE_WRONG, "--all"], 2, "there is no terminal to take keys from"),
        (["correct", ONE_WRONG, "--sum", "1"], 2, "go together"),
        (["correct", ONE_WRONG, "--sum", "9", "--verdict", "right"], 2, "no sum 9"),
        (["replay", "nosuch.zip"], 2, "nosuch.zip"),
        (["round", "--pupil", "Nobody"], 2, "no pupil 'Nobody'"),
        (["round", "--pupil", "Nobody", "--pace", "0"], 2, "--pace"),
        (["pupils", "erase", "Nobody", "--yes"], 2, "no pupil 'Nobody'"),
        (["hear", "--range", "9..0", "x.wav"], 2, "--range"),
    ],
)
def test_one_line_and_the_right_status(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, arguments: list[str], code: int, says: str
) -> None:
    file = tmp_path / "file"
    file.write_text("something")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("ORALQUIZ_HOME", str(tmp_path / "home"))
    done = CliRunner().invoke(main, [a.replace("{file}", str(file)) for a in arguments])
    assert done.exit_code == code
    assert is_one_line(done.stderr, says)


@pytest.mark.parametrize(
    ("arguments", "code", "says"),
    [
        (["explain", ""], 2, "the sum is empty"),
        (["compose", "--seed", "-1"], 2, "--seed"),
        (["round", "--pupil", "Nobody"], 2, "no pupil 'Nobody'"),
    ],
)
def test_a_process_of_its_own_says_the_same(
    tmp_path: Path, arguments: list[str], code: int, says: str
) -> None:
    done = subprocess.run(
        [sys.executable, "-c", "from oralquiz.cli import main; main()", *arguments],
        capture_output=True,
        text=True,
        stdin=subprocess.DEVNULL,
        cwd=tmp_path,
        env={**os.environ, "ORALQUIZ_HOME": str(tmp_path / "home")},
        check=False,
    )
    assert done.returncode == code
    assert is_one_line(done.stderr, says)


def test_a_home_that_is_not_a_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    file = tmp_path / "file"
    file.write_text("something")
    monkeypatch.setenv("ORALQUIZ_HOME", str(file))
    done = CliRunner().invoke(main, ["pupils"])
    assert done.exit_code == 2
    assert "Traceback" not in done.stderr
    assert str(file) in done.stderr
