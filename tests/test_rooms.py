"""Imports point down one tree of rooms, through each room's face; a room is quick to import."""

from __future__ import annotations

import ast
import importlib
import re
import subprocess
import sys
from functools import cache
from pathlib import Path

import pytest

import oralquiz

PACKAGE = Path(oralquiz.__file__).parent
PICTURE = Path(__file__).parents[1] / "DEVELOPERS.md"


def picture() -> dict[str, set[str]]:
    """Each room and the rooms it stands on, from the first table of DEVELOPERS.md."""
    rows = re.findall(r"^\| `(\w+)` \| ([^|]*)\|", PICTURE.read_text("utf-8"), re.MULTILINE)
    return {room: set(re.findall(r"`(\w+)`", below)) for room, below in rows}


BELOW = picture()
SHARED = {"errors", "folders", "__version__"}  # any room may import these


def allowed(room: str) -> set[str]:
    """Every room below ``room``."""
    below = set(BELOW[room])
    for other in BELOW[room]:
        below |= allowed(other)
    return below


def room_of(module: str) -> str:
    return module.split(".")[1] if "." in module else "__version__"


@cache
def tree_of(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


@cache
def imports(path: Path) -> set[str]:
    """Our own modules that ``path`` imports, anywhere in it."""
    found: set[str] = set()
    for node in ast.walk(tree_of(path)):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative imports hide where things come from"
            found.add(node.module or "")
    return {name for name in found if name.split(".")[0] == "oralquiz"}


def modules(room: str) -> list[Path]:
    """A room's own files; ``demo`` and ``api`` are rooms of one file."""
    return sorted((PACKAGE / room).rglob("*.py")) or [PACKAGE / f"{room}.py"]


def exported(room: str) -> dict[str, str]:
    """What ``room`` shows to the others: name -> the inner module it comes from."""
    tree = tree_of(PACKAGE / room / "__init__.pyi")
    return {
        alias.name: str(node.module)
        for node in tree.body
        if isinstance(node, ast.ImportFrom)
        for alias in node.names
    }


def test_every_room_is_known() -> None:
    present = {p.name for p in PACKAGE.iterdir() if (p / "__init__.py").exists()}
    assert present | {"demo", "api"} == set(BELOW)


@pytest.mark.parametrize("room", BELOW)
def test_imports_point_down_the_tree(room: str) -> None:
    wrong = [
        f"{path.relative_to(PACKAGE)} imports {name}"
        for path in modules(room)
        for name in imports(path)
        if room_of(name) not in {room, *allowed(room), *SHARED}
    ]
    assert wrong == []


@pytest.mark.parametrize("room", BELOW)
def test_a_room_uses_what_it_stands_on(room: str) -> None:
    used = {room_of(name) for path in modules(room) for name in imports(path)}
    assert BELOW[room] - used == set()


@pytest.mark.parametrize("room", [*BELOW, "errors", "folders"])
def test_a_room_is_entered_through_its_face(room: str) -> None:
    wrong = [
        f"{path.relative_to(PACKAGE)} imports {name}"
        for path in modules(room)
        for name in imports(path)
        if name.count(".") > 1 and room_of(name) != room
    ]
    assert wrong == []


@pytest.mark.parametrize(
    "room", [room for room in BELOW if (PACKAGE / room).is_dir() and room != "cli"]
)
def test_a_face_shows_what_is_there(room: str) -> None:
    face = importlib.import_module(f"oralquiz.{room}")
    inner = {path.stem for path in modules(room)}
    for name in exported(room):
        assert getattr(face, name) is not None
        assert name not in inner, f"{room}.{name} is a module and something else"


GUIDES = [PICTURE, PACKAGE / "EXTENDING.md"]


def missing_files(text: str) -> list[str]:
    """Files of ours named in ``text``, as ``room/name.py`` or ``name.toml``, that are not there."""
    named = set(re.findall(r"`([\w./-]+\.(?:pyi?|toml|js|json|md|png))`", text))
    root = PACKAGE.parent
    ours = (
        path for folder in ("oralquiz", "tests", "models") for path in root.glob(f"{folder}/**/*")
    )
    present = [*root.glob("*.*"), *(path for path in ours if "node_modules" not in path.parts)]
    ends = {"/".join(path.parts[-k:]) for path in present for k in range(1, 6)}
    return sorted(name for name in named if name.removeprefix("../") not in ends)


@pytest.mark.parametrize("guide", GUIDES, ids=lambda path: path.name)
def test_every_file_that_a_guide_names_is_there(guide: Path) -> None:
    assert missing_files(guide.read_text(encoding="utf-8")) == []
    assert missing_files("see `rounds/no_such_thing.py`") == ["rounds/no_such_thing.py"]


def test_the_check_sees_a_wrong_import(tmp_path: Path) -> None:
    path = tmp_path / "wrong.py"
    path.write_text("def f():\n    from oralquiz.web.app import x\n")
    assert imports(path) == {"oralquiz.web.app"}


def test_help_imports_nothing_heavy() -> None:
    heavy = "{'numpy','scipy','vosk','sounddevice','pyttsx3','sqlite_utils'}"
    code = f"import sys, oralquiz.cli; print(sorted({heavy} & set(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def loads_at_once(path: Path) -> set[str]:
    """Parts of scipy, and packages that load them, that ``path`` loads when it is imported itself.
    They take a second; ``import scipy`` loads them when they are first used."""
    found: set[str] = set()
    for node in tree_of(path).body:
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            found.add(f"{node.module}.")
    return {name for name in found if name.startswith(("scipy.", "pyloudnorm"))}


@pytest.mark.parametrize("room", BELOW)
def test_what_takes_a_second_to_load_is_loaded_when_it_is_used(room: str) -> None:
    assert {path.name: loads for path in modules(room) if (loads := loads_at_once(path))} == {}


def test_the_check_sees_what_is_loaded_at_once(tmp_path: Path) -> None:
    path = tmp_path / "wrong.py"
    path.write_text("import scipy\nimport scipy.signal\nfrom scipy import stats\n")
    assert loads_at_once(path) == {"scipy.signal", "scipy."}


SQL = re.compile(
    r"\s*(select\s.+\sfrom|insert\s+(or\s+\w+\s+)?into|update\s+\w+\s+set|delete\s+from|pragma"
    r"|create\s+(table|view|index)|drop\s+(table|view|index)|begin\s+immediate)\b",
    re.IGNORECASE | re.DOTALL,
)
ON_A_DATABASE = {"query", "execute", "executescript", "executemany", "table", "create_view"}


def sql_in(path: Path) -> list[str]:
    """Where ``path`` has an SQL statement, or asks a database for rows without one."""
    found = []
    for node in ast.walk(tree_of(path)):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and SQL.match(node.value):
            found.append(f"{path.name}:{node.lineno}: {node.value[:40]!r}")
        if not isinstance(node, ast.Call):
            continue
        asked = node.func
        if isinstance(asked, ast.Attribute) and asked.attr in ON_A_DATABASE:
            name = asked.value.attr if isinstance(asked.value, ast.Attribute) else asked.value
            if (name.id if isinstance(name, ast.Name) else name) in ("db", "_db", "conn"):
                found.append(f"{path.name}:{node.lineno}: {ast.unparse(asked)}")
    return found


@pytest.mark.parametrize("room", [room for room in BELOW if room != "records"])
def test_every_sql_statement_lives_in_records(room: str) -> None:
    assert [place for path in modules(room) for place in sql_in(path)] == []


def test_the_check_sees_sql(tmp_path: Path) -> None:
    assert sum(len(sql_in(path)) for path in modules("records")) > 50
    call, statement = tmp_path / "wrong.py", tmp_path / "statement.py"
    call.write_text("def f(db):\n    return db.table('pupils')\n")
    assert sql_in(call) == ["wrong.py:2: db.table"]
    statement.write_text("STATEMENT = 'select name from pupils'\n")
    assert len(sql_in(statement)) == 1
