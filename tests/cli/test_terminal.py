"""No name, class or file from elsewhere can send commands to the terminal that shows it."""

from __future__ import annotations

import ast
import json
import unicodedata
import zipfile
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from rich.console import Console
from rich.control import Control

from oralquiz.cli import main
from oralquiz.cli.common import print_json
from oralquiz.cli.console import console_for
from oralquiz.records.database import open_records
from oralquiz.rounds.control_characters import DIRECTIONS

ONE_WRONG = Path(__file__).parents[2] / "demo_sessions" / "one-wrong.zip"

EVIL = "\x1b[2J\x1b]0;x\x07\x9b31m\r\N{RIGHT-TO-LEFT OVERRIDE}"


def commands(text: str) -> list[str]:
    """The characters of ``text`` that a terminal obeys, apart from ends of lines."""
    return [c for c in text if (unicodedata.category(c) == "Cc" and c != "\n") or c in DIRECTIONS]


@pytest.fixture
def hostile(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A session file whose every free text holds terminal commands; an empty home."""
    monkeypatch.setenv("ORALQUIZ_HOME", str(tmp_path / "home"))
    with zipfile.ZipFile(ONE_WRONG) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    head = json.loads(parts["session.json"])
    for at in ("software", "voice", "model"):
        head[at] = EVIL + str(head[at])
    for at in ("name", "step", "rule"):
        head["round"][at] = EVIL + str(head["round"][at])
    for turn in head["round"]["turns"]:
        turn["pupil"] = EVIL + turn["pupil"]
    parts["session.json"] = json.dumps(head).encode()
    events = [_hostile(json.loads(line)) for line in parts["events.jsonl"].splitlines()]
    parts["events.jsonl"] = "\n".join(map(json.dumps, events)).encode()
    path = tmp_path / "hostile.zip"
    with zipfile.ZipFile(path, "w") as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
    return path


def _hostile(event: dict[str, Any]) -> dict[str, Any]:
    free = ("pupil", "name", "why", "words", "by")
    event = {k: EVIL + v if k in free and isinstance(v, str) else v for k, v in event.items()}
    for each in event.get("guesses", []):
        each["words"] = EVIL + each["words"]
    return event


@pytest.mark.parametrize(
    "arguments",
    [("replay",), ("replay", "--check"), ("replay", "--json"), ("correct", "--all"),
     ("correct", "--all", "--json"), ("enter",), ("enter", "--json")],
)  # fmt: skip
def test_a_session_file_from_elsewhere(
    hostile: Path, arguments: tuple[str, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("oralquiz.audio.sound_card.sound_devices", list)
    monkeypatch.setattr("oralquiz.cli.correct.by_keys", lambda: True)
    monkeypatch.setattr("click.getchar", lambda: "x")
    done = CliRunner().invoke(main, [arguments[0], str(hostile), *arguments[1:]])
    assert (done.exit_code, done.exception) in ((0, None), (1, done.exception)), done.output
    assert done.output
    assert commands(done.output) == []
    if "--json" in arguments:
        json.loads(done.stdout)


def test_names_that_older_records_hold(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("ORALQUIZ_HOME", str(tmp_path / "home"))
    assert CliRunner().invoke(main, ["enter", str(ONE_WRONG)]).exit_code == 0
    db = open_records()
    db.table("pupils").update(1, {"name": f"Asha{EVIL}"})
    db.execute("update classes set name = ?", [f"3B{EVIL}"])
    db.conn.commit()
    db.close()
    for arguments in (
        ["pupils"],
        ["pupils", "--json"],
        ["pupils", "show", f"Asha{EVIL}"],
        ["pupils", "show", f"Asha{EVIL}", "--json"],
        ["pupils", "consent", f"Asha{EVIL}", "--withdraw"],
        ["pupils", "erase", f"Asha{EVIL}"],
        ["pupils", "erase", f"Asha{EVIL}", "--yes"],
    ):
        done = CliRunner().invoke(main, arguments, input="n\n")
        assert "Asha" in done.output or arguments[-1] == "--yes", done.output
        assert commands(done.output) == [], arguments


def test_json_says_the_same_and_commands_nothing(capsys: pytest.CaptureFixture[str]) -> None:
    value = {"name": f"Ася {EVIL}", "list": [EVIL, 1]}
    print_json(value)
    out = capsys.readouterr().out
    assert json.loads(out) == value
    assert commands(out) == []
    assert "Ася" in out


def test_a_console_commands_and_its_text_does_not(capsys: pytest.CaptureFixture[str]) -> None:
    console: Console = console_for()
    console.print(f"a{EVIL}b\nc")
    out = capsys.readouterr().out
    assert commands(out) == []
    assert out.endswith("b\nc\n")
    console.control(Control.home())  # its own control sequences pass, on a terminal
    assert console.render_str(EVIL).cell_len == len(EVIL)


def test_commands_print_in_one_place_only() -> None:
    """Everything that a command prints goes through ``echo``, ``agreed``, ``print_json`` or
    ``console_for``: there it is made harmless."""
    import oralquiz.cli

    folder = Path(str(oralquiz.cli.__file__)).parent
    for path in folder.glob("*.py"):
        if path.name in ("common.py", "console.py"):
            continue
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            called = ast.unparse(node.func) if isinstance(node, ast.Call) else ""
            assert called not in (
                "print", "click.echo", "click.secho", "click.confirm", "Console",
                "sys.stdout.write", "sys.stderr.write",
            ), f"{path.name}:{getattr(node, 'lineno', 0)}"  # fmt: skip
