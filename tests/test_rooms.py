"""Imports point one way, along the flow; and a room's package is quick to import."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

import oralquiz

PACKAGE = Path(oralquiz.__file__).parent
ROOMS = [
    "beads",
    "compose",
    "speak",
    "listen",
    "judge",
    "session",
    "replay",
    "learn",
    "records",
    "report",
    "web",
    "cli",
]
SHARED = {"errors", "folders", "__version__"}  # anybody may import these


def room_of(module: str) -> str:
    return module.split(".")[1] if "." in module else "__version__"


def imports(path: Path) -> set[str]:
    """Our own modules that ``path`` imports, anywhere in it."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative imports hide where things come from"
            found.add(node.module or "")
    return {name for name in found if name.split(".")[0] == "oralquiz"}


def rooms_present() -> list[str]:
    return sorted(p.name for p in PACKAGE.iterdir() if (p / "__init__.py").exists())


def test_every_room_is_known() -> None:
    assert [room for room in rooms_present() if room not in ROOMS] == []


@pytest.mark.parametrize("room", [room for room in ROOMS if (PACKAGE / room).exists()])
def test_imports_point_along_the_flow(room: str) -> None:
    allowed = {*ROOMS[: ROOMS.index(room) + 1], *SHARED}
    if room == "cli":
        allowed.add("demo")
    wrong = [
        f"{path.relative_to(PACKAGE)} imports {name}"
        for path in (PACKAGE / room).rglob("*.py")
        for name in imports(path)
        if room_of(name) not in allowed
    ]
    assert wrong == []


def test_the_check_sees_a_wrong_import(tmp_path: Path) -> None:
    path = tmp_path / "wrong.py"
    path.write_text("def f():\n    from oralquiz.web.app import x\n")
    assert imports(path) == {"oralquiz.web.app"}


def test_help_imports_nothing_heavy() -> None:
    heavy = "{'numpy','scipy','vosk','sounddevice','pyttsx3','sqlite_utils'}"
    code = f"import sys, oralquiz.cli; print(sorted({heavy} & set(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
