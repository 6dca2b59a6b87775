"""The table of what is said around the numbers, by language; a teacher's own edits win."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from oralquiz.errors import BadInput
from oralquiz.folders import data_folder

STYLES = ("plus_minus", "add_take", "minus_only")


@dataclass(frozen=True)
class DictationPhrases:
    """One language's row: see the head of phrases.toml for what each field means."""

    language: str
    name: str
    numbers: str
    engine: str
    lead_in: str
    count_in: tuple[str, ...]
    closing: str
    plus_minus: tuple[str, str]
    add_take: tuple[str, str]
    minus_only: tuple[str, str]

    def signs(self, style: str) -> tuple[str, str]:
        """How a term added and a term taken away are said in ``style``, ``{n}`` for the number."""
        if style not in STYLES:
            raise BadInput(f"'{style}' is not a way to say signs: use {', '.join(STYLES)}")
        signs: tuple[str, str] = getattr(self, style)
        return signs


def own_table() -> Path:
    """Where a teacher's own edits are looked for."""
    return data_folder() / "phrases.toml"


def phrases(language: str, table: Path | None = None) -> DictationPhrases:
    """The row of ``language`` (``en_IN``, also written ``en-IN``), edits of ``table`` applied.

    ``table`` None means the teacher's own table, if there is one. Raises BadInput, naming what is
    wrong with the table or which languages there are.
    """
    code = language.replace("-", "_")
    shipped = _read(Path(__file__).with_name("phrases.toml"))
    path = table or own_table()
    own = _read(path) if table or path.exists() else {}
    row = {**shipped.get(code, {}), **own.get(code, {})}
    if not row:
        known = ", ".join(sorted({*shipped, *own}))
        raise BadInput(f"no phrases for the language '{language}': there are {known}")
    return _checked(code, row, path)


def languages() -> tuple[str, ...]:
    """The codes of the languages that come with the package."""
    return tuple(_read(Path(__file__).with_name("phrases.toml")))


@cache
def _read_at(path: Path, changed_ns: int) -> dict[str, dict[str, Any]]:
    try:
        with path.open("rb") as file:
            return tomllib.load(file)
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise BadInput(f"{path}: not a table of phrases: {error}") from error
    except ValueError as error:  # a number of more digits than Python reads
        raise BadInput(f"{path}: not a table of phrases: a number is too long") from error


def _read(path: Path) -> dict[str, dict[str, Any]]:
    try:
        return _read_at(path, path.stat().st_mtime_ns)
    except OSError as error:
        raise BadInput(f"{path}: cannot be read: {error.strerror}") from error


def _checked(code: str, row: dict[str, Any], path: Path) -> DictationPhrases:
    texts = ("name", "numbers", "engine", "lead_in", "closing")
    for key in texts:
        if not isinstance(row.get(key), str) or not row[key].strip():
            raise BadInput(f"{path}: [{code}] {key} must be text")
    for key in ("count_in", *STYLES):
        value = row.get(key)
        if not isinstance(value, list) or not all(isinstance(v, str) and v for v in value):
            raise BadInput(f"{path}: [{code}] {key} must be a list of texts")
    for key in STYLES:
        if len(row[key]) != 2 or any(text.count("{n}") != 1 for text in row[key]):
            raise BadInput(f"{path}: [{code}] {key} must be two texts with one {{n}} each")
    unknown = set(row) - {*texts, "count_in", *STYLES}
    if unknown:
        raise BadInput(f"{path}: [{code}] has no such key: {', '.join(sorted(unknown))}")
    fields: dict[str, Any] = {k: tuple(v) if isinstance(v, list) else v for k, v in row.items()}
    return DictationPhrases(language=code, **fields)
