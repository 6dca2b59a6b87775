"""Sound is resampled, converted and mixed in this room only."""

from __future__ import annotations

import ast
from pathlib import Path

import oralquiz

PACKAGE = Path(oralquiz.__file__).parent
SOUND_FILES = {"sound", "session", "replay"}
"""Rooms that know a kind of sound file: any, the session's FLAC, a page's MP3."""
PCM = {"sound", "listen"}
"""Rooms that make 16-bit samples: for what is recorded, and as the model was trained to hear."""


def rooms_that(import_or_number: object) -> set[str]:
    """The rooms in whose code a module is imported, or a number stands."""
    found = set()
    for path in PACKAGE.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            names: list[object] = []
            if isinstance(node, ast.Import):
                names = [alias.name for alias in node.names]
            elif isinstance(node, ast.ImportFrom):
                names = [node.module]
            elif isinstance(node, ast.Constant):
                names = [node.value]
            if import_or_number in names:
                found.add(path.relative_to(PACKAGE).parts[0])
    return found


def test_one_room_resamples() -> None:
    assert rooms_that("soxr") == {"sound"}


def test_one_room_knows_full_scale() -> None:
    assert rooms_that(32768) | rooms_that(32767) <= PCM


def test_few_rooms_know_sound_files() -> None:
    assert rooms_that("soundfile") <= SOUND_FILES
