"""The phrase tables: every sentence of the replay, as data, one TOML file a language."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

from oralquiz.errors import BadInput

DEFAULT_LANGUAGE = "en"
SPACE = "\N{NO-BREAK SPACE}"
MINUS = "\N{MINUS SIGN}"


@dataclass(frozen=True)
class StepPhrases:
    """The sentences of one language. ``tables`` is the TOML file: tables of texts and lists."""

    language: str
    tables: Mapping[str, Mapping[str, Any]]

    def text(self, table: str, key: str, **values: object) -> str:
        """One text with its {placeholders} filled in."""
        return str(self.tables[table][key]).format(**values)

    def item(self, table: str, key: str, index: int) -> str:
        """One text of a list."""
        return str(self.tables[table][key][index])

    def decimal(self, number: float) -> str:
        """A number with at most one decimal, as this language writes it."""
        return f"{round(number, 1):g}".replace(".", self.text("signs", "decimal"))


def languages() -> tuple[str, ...]:
    """The codes (BCP 47) of the languages there is a table for."""
    folder = files(__package__).joinpath("languages")
    return tuple(sorted(f.name[:-5] for f in folder.iterdir() if f.name.endswith(".toml")))


@cache
def phrases(language: str = DEFAULT_LANGUAGE) -> StepPhrases:
    """The phrase table of ``language``. Raises BadInput if there is none."""
    if language not in languages():
        raise BadInput(f"no phrases in '{language}': there are {', '.join(languages())}")
    raw = files(__package__).joinpath("languages", f"{language}.toml").read_text("utf-8")
    return StepPhrases(language, tomllib.loads(raw))


def signed(number: int) -> str:
    """A number as an action: ``+ 5``, ``− 2``, never broken over a line."""
    return f"{'+' if number > 0 else MINUS}{SPACE}{abs(number)}"


def term_written(terms: tuple[int, ...], index: int) -> str:
    """One term as it stands in its sum: the first without a plus."""
    return written(terms[:1]) if index == 0 else signed(terms[index])


def written(terms: tuple[int, ...]) -> str:
    """A sum as it is written on the board: ``34 + 13 − 22``."""
    first = str(terms[0]) if terms[0] > 0 else signed(terms[0])
    return " ".join([first, *(signed(term) for term in terms[1:])])
