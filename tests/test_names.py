"""One name, one thing: no two public classes or modules of the program have the same name."""

from __future__ import annotations

import ast
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path

import pytest

import oralquiz

PACKAGE = Path(oralquiz.__file__).parent


def modules(package: Path) -> Iterator[tuple[str, str]]:
    """Name and place of every module and room. Those of ``cli`` are named after their command,
    which may be the word for what a room does."""
    for path in package.rglob("*.py"):
        place = path.relative_to(package)
        if place.parts[0] != "cli" and not path.stem.startswith("_"):
            yield path.stem, str(place)
    for path in package.rglob("__init__.py"):
        yield path.parent.name, str(path.parent.relative_to(package))


def classes(package: Path) -> Iterator[tuple[str, str]]:
    """Name and place of every public class."""
    for path in package.rglob("*.py"):
        for node in ast.parse(path.read_text(encoding="utf-8")).body:
            if isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
                yield node.name, f"{path.relative_to(package)}:{node.lineno}"


def said_twice(package: Path) -> dict[str, list[str]]:
    """The names that stand for two things, with where."""
    found: defaultdict[str, list[str]] = defaultdict(list)
    for name, place in [*modules(package), *classes(package)]:
        found[name].append(place)
    return {name: places for name, places in found.items() if len(places) > 1}


def test_no_name_stands_for_two_things() -> None:
    assert said_twice(PACKAGE) == {}


@pytest.mark.parametrize("second", ["two/box.py", "two/crate.py"])
def test_the_check_sees_a_name_that_is_said_twice(tmp_path: Path, second: str) -> None:
    for place, text in {"one/box.py": "class Crate: ...", second: "class Crate: ..."}.items():
        path = tmp_path / place
        path.parent.mkdir(exist_ok=True)
        path.write_text(text)
    assert "Crate" in said_twice(tmp_path)
    assert ("box" in said_twice(tmp_path)) is (second == "two/box.py")
