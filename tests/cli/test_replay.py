"""`oralquiz replay`, as a teacher calls it."""

from __future__ import annotations

import json
import os
import re
import select
import subprocess
import sys
import time
import zipfile
from dataclasses import replace
from pathlib import Path

import click
import pytest
from rich.cells import cell_len
from rich.console import Console, RenderableType

from oralquiz.cli import main
from oralquiz.cli.replay import step_through
from oralquiz.judge.verdict import PRACTICE
from oralquiz.replay.step_words import phrases
from oralquiz.replay.terminal import TerminalReplay
from oralquiz.replay.turn_story import tell_turns
from tests.replay.made import made
from tests.session.room import make_round, run

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def session_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    # 20 is part of 25, so it is asked about once, and then counts as wrong under this policy
    policy = replace(PRACTICE, part_waits=False)
    path, _, _ = run(
        tmp_path_factory.mktemp("r") / "s",
        make_round("34 + 13 - 22", "7 + 6"),
        [20, 20, 13],
        policy=policy,
    )
    return path


def call(*args: object) -> int:
    with pytest.raises(SystemExit) as left:
        main([*map(str, args)])
    code = left.value.code
    assert isinstance(code, int)
    return code


def test_without_a_terminal_every_step_is_printed(
    session_file: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    assert call("replay", session_file) == 0
    out = capsys.readouterr().out
    assert "3 more: not enough fingers, so +\xa05 and −\xa02." in out
    assert "Thumb up, then 2 fingers down." in out
    assert "Maybe the thumb did not move. Then it would show 42 after +\xa013." in out
    assert re.findall(r"move (\d) of", out) == list("123456123")
    assert max(map(len, out.splitlines())) <= 80
    assert "\x1b" not in out  # no colour, no control characters


@pytest.mark.parametrize(
    ("width", "titles"),
    [
        (79, ["before 0", "now", "after 30"]),
        (60, ["now", "after 30"]),
        (53, ["now", "after 30"]),
        (40, ["now"]),
    ],
)
def test_a_narrow_window_shows_whole_pictures(
    session_file: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    width: int,
    titles: list[str],
) -> None:
    monkeypatch.setenv("COLUMNS", str(width))
    assert call("replay", session_file) == 0
    lines = capsys.readouterr().out.splitlines()
    shown = next(line for line in lines if line.split()[-1:] == titles[-1].split()[-1:])
    assert re.split(r"\s{2,}", shown.strip()) == titles
    boxes = [line for line in lines if "┌" in line]
    assert all(line.count("┌") == line.count("┐") for line in boxes)


def test_a_page_is_written(session_file: Path, tmp_path: Path) -> None:
    out = tmp_path / "page.html"
    assert call("replay", session_file, "--html", out, "--only", "wrong") == 0
    page = out.read_text(encoding="utf-8")
    assert "Asha, sum 1" in page
    assert "Asha, sum 2" not in page


def test_json_has_the_steps_and_what_may_have_happened(
    session_file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert call("replay", session_file, "--json") == 0
    told = json.loads(capsys.readouterr().out)
    first = told["sums"][0]
    assert (first["answer"], first["heard"], first["verdict"]) == (25, 20, "wrong")
    assert first["steps"][3]["rule"] == "five:+3"
    assert first["possible"][0]["slips"] == ["five-not-moved"]
    assert first["possible"][0]["steps"] == [4]
    assert told["sums"][1]["possible"] == []


def test_the_check_says_whether_it_comes_out_the_same(
    session_file: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    import zipfile

    assert call("replay", session_file, "--check") == 0
    assert "comes out the same" in capsys.readouterr().out
    altered = tmp_path / "altered.zip"
    with zipfile.ZipFile(session_file) as source, zipfile.ZipFile(altered, "w") as target:
        for name in source.namelist():
            content = source.read(name)
            if name == "events.jsonl":
                content = content.replace(b'"verdict":"wrong"', b'"verdict":"right"')
            target.writestr(name, content)
    assert call("replay", altered, "--check", "--json") == 1
    told = json.loads(capsys.readouterr().out)
    assert told["same"] is False
    assert "verdict" in told["difference"]


@pytest.mark.parametrize(
    ("args", "message"),
    [
        (["gone.zip"], "gone.zip: there is no such session file"),
        (["FILE", "--language", "tlh"], "no phrases in 'tlh'"),
        (["FILE", "--pupil", "Nobody"], "no sum of 'Nobody'; there are Asha"),
        (["FILE", "--spoken"], "--spoken goes with --html"),
        (["FILE", "--html", "/no/such/folder/x.html"], "cannot be written"),
    ],
)
def test_bad_input_is_one_line(
    session_file: Path, args: list[str], message: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert call("replay", *[session_file if arg == "FILE" else arg for arg in args]) == 2
    captured = capsys.readouterr()
    assert message in captured.err
    assert captured.err.count("\n") == 1
    assert captured.out == ""


def test_a_damaged_file_is_shown_and_reported_as_damaged(
    session_file: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    cut = tmp_path / "cut.zip"
    raw = session_file.read_bytes()
    cut.write_bytes(raw[: len(raw) // 2])
    assert call("replay", cut) == 0
    captured = capsys.readouterr()
    assert "audio.flac is damaged or cut off" in captured.err
    assert "3 more" in captured.out


RIGHT, LEFT, UP, DOWN = "\x1b[C", "\x1b[D", "\x1b[A", "\x1b[B"


def test_keys_walk_through_the_cards(monkeypatch: pytest.MonkeyPatch) -> None:
    session = made(["34 + 13 - 22", "7 + 6"], [20, 13])
    stage = TerminalReplay(
        tell_turns(session, session.turns), session.round.move_order, 2, phrases("en"), "utf-8"
    )
    keys = iter([RIGHT, RIGHT, LEFT, DOWN, LEFT, " ", UP, "x", "q"])
    monkeypatch.setattr(click, "getchar", lambda: next(keys))
    seen: list[tuple[int, int]] = []
    card = TerminalReplay.card

    def watched(self: TerminalReplay, turn: int, n: int) -> RenderableType:
        seen.append((turn, n))
        return card(self, turn, n)

    monkeypatch.setattr(TerminalReplay, "card", watched)
    step_through(Console(force_terminal=True, width=80, height=24), stage, phrases("en"))
    assert seen == [
        (0, 0),
        (0, 1),
        (0, 2),
        (0, 1),
        (1, 0),
        (0, 7),  # back over the beginning of a sum: the answer to the one before
        (1, 0),
        (0, 0),
        (0, 0),  # a key without a meaning
    ]


@pytest.mark.skipif(sys.platform == "win32", reason="needs a pseudo terminal")
def test_in_a_real_terminal_of_80_by_24(session_file: Path) -> None:
    import fcntl
    import pty
    import struct
    import termios

    ours, theirs = pty.openpty()
    fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 80, 0, 0))
    environment = {**os.environ, "TERM": "xterm-256color", "PYTHONUTF8": "1"}
    environment.pop("COLUMNS", None)
    code = "import sys; from oralquiz.cli import main; main(sys.argv[1:])"
    process = subprocess.Popen(
        [sys.executable, "-c", code, "replay", str(session_file)],
        stdin=theirs,
        stdout=theirs,
        stderr=theirs,
        env=environment,
        close_fds=True,
    )
    os.close(theirs)
    try:
        read_screen(ours)
        for _ in range(4):
            press(ours, RIGHT)
            shown = read_screen(ours)
        assert "not enough fingers" in shown
        assert "Maybe the thumb did not move." in shown
        assert "q: quit" in shown
        press(ours, "q")
        assert process.wait(timeout=60) == 0
    finally:
        process.kill()
        process.wait()
        os.close(ours)


def press(terminal: int, key: str) -> None:
    """Press ``key`` once the program waits for it: keys that come earlier are dropped."""
    import termios

    deadline = time.monotonic() + 60
    while termios.tcgetattr(terminal)[3] & termios.ICANON:
        assert time.monotonic() < deadline, "no key is waited for"
        time.sleep(0.01)
    os.write(terminal, key.encode())


def read_screen(terminal: int) -> str:
    """The next screen, once all its 24 lines are there; no line is wider than 80 columns."""
    got = b""
    deadline = time.monotonic() + 60
    while got.rpartition(b"\x1b[H")[2].count(b"\n") < 23 or b"\x1b[H" not in got:
        assert time.monotonic() < deadline, got.decode("utf-8", "replace")
        if select.select([terminal], [], [], 0.5)[0]:
            got += os.read(terminal, 65_536)
    screen = got.rpartition(b"\x1b[H")[2].decode("utf-8", "ignore")
    lines = re.sub(r"\x1b\[[0-9;?]*[A-Za-z]", "", screen).split("\r\n")
    assert len(lines) == 24
    assert all(cell_len(line) <= 80 for line in lines)
    return screen


def test_a_session_read_by_the_web_apps_usual_voice_can_be_explained_aloud(
    session_file: Path, tmp_path: Path
) -> None:
    """Older files call it "default", which is not a voice that can be opened."""
    old, page = tmp_path / "old.zip", tmp_path / "page.html"
    with zipfile.ZipFile(session_file) as now, zipfile.ZipFile(old, "w") as then:
        for name in now.namelist():
            content = now.read(name)
            if name == "session.json":
                content = json.dumps({**json.loads(content), "voice": "default"}).encode()
            then.writestr(name, content)
    assert call("replay", old, "--html", page, "--spoken") == 0
    assert page.is_file()
