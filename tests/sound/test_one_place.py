"""Sound is resampled, converted and mixed in the room ``sound`` only."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

import oralquiz

pytestmark = pytest.mark.slow

PACKAGE = Path(oralquiz.__file__).parent
SOUND_FILES = {"sound", "session", "replay"}
"""Rooms that know a kind of sound file: any, the session's FLAC, a page's MP3."""
PCM = {"sound", "listen"}
"""Rooms that make 16-bit samples: for what is recorded, and as the model was trained to hear."""


def imported_or_numbers(tree: ast.AST) -> Iterator[tuple[type, object]]:
    """Every module that is imported and every constant, with its type: 1 is not True."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from ((str, alias.name) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            yield str, node.module
        elif isinstance(node, ast.Constant):
            yield type(node.value), node.value


@cache
def found() -> dict[tuple[type, object], set[str]]:
    """The rooms whose code imports a module, or contains a number."""
    rooms: dict[tuple[type, object], set[str]] = {}
    for path in PACKAGE.rglob("*.py"):
        room = path.relative_to(PACKAGE).parts[0]
        for key in imported_or_numbers(ast.parse(path.read_text(encoding="utf-8"))):
            rooms.setdefault(key, set()).add(room)
    return rooms


def rooms_that(import_or_number: str | int) -> set[str]:
    return found().get((type(import_or_number), import_or_number), set())


def test_one_room_resamples() -> None:
    assert rooms_that("soxr") == {"sound"}


def test_one_room_knows_full_scale() -> None:
    assert rooms_that(32768) | rooms_that(32767) <= PCM


def test_few_rooms_know_sound_files() -> None:
    assert rooms_that("soundfile") <= SOUND_FILES
