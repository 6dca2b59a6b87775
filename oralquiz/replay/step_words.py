"""A step in words that a child of seven reads: why the column moves so, and what moves.

The sentences are data, one TOML file a language in the folder ``languages``.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any, Literal

from oralquiz.beads import BeadStep, Kind, Move
from oralquiz.errors import BadInput
from oralquiz.replay.story import Role, StoryStep

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


Form = Literal["hands", "frame"]
"""What is drawn and named: two hands (up to two columns) or the bead frame."""

HAND_COLUMNS = 2


@dataclass(frozen=True)
class Words:
    """One step in words. ``where``: the column; ``why``: the rule; ``do``: what moves."""

    where: str
    why: str
    do: str


def form_for(columns: int) -> Form:
    """Two hands show two columns; more columns need the frame."""
    return "hands" if columns <= HAND_COLUMNS else "frame"


def words(step: StoryStep, form: Form, table: StepPhrases) -> Words:
    """``step`` in the words of ``table``, for hands or for the frame."""
    move = step.move
    return Words(
        where=table.item(form, "column", move.column),
        why=_why(step, form, table),
        do=_do(move, form, table),
    )


def spoken(text: str, table: StepPhrases) -> str:
    """``text`` for a voice: signs before numbers become words."""
    text = text.replace(f"+{SPACE}", table.text("signs", "plus") + " ")
    return text.replace(f"{MINUS}{SPACE}", table.text("signs", "minus") + " ")


def change(move: Move) -> int:
    """What the move adds to its own column, signed: the sum of its gestures."""
    return sum(value(gesture) for gesture in move.beads)


def value(gesture: BeadStep) -> int:
    """What one gesture is worth in its column, signed."""
    return (5 if gesture.bead == "five" else 1) * gesture.count


def _why(step: StoryStep, form: Form, table: StepPhrases) -> str:
    move, n = step.move, abs(step.move.digit)
    if step.role is Role.OWN:
        key = "more" if move.digit > 0 else "less"
        if move.rule.kind is Kind.DIRECT:
            return table.text("why", key, n=n)
        return table.text("why", f"{key}_five", n=n, **_halves(move, form, table))
    if step.role is Role.BORROW:
        return _borrow(step, form, table)
    if step.role is Role.RETURN:
        sentence = table.text("why", "return", n=n, change=signed(change(move)))
    elif step.role is Role.ARRIVE:
        sentence = table.text("why", "arrive", come=_place("from", move.column - 1, form, table))
    else:
        sentence = table.text(
            "why",
            str(step.role),
            n=n,
            change=signed(change(move)),
            one=signed(1),
            on=_place("on", move.column + 1, form, table),
            come=_place("from", move.column - 1, form, table) if move.column else "",
        )
    return " ".join([sentence, *_then_five(move, form, table)])


def _borrow(step: StoryStep, form: Form, table: StepPhrases) -> str:
    asker, *on_the_way = step.asked
    sentences = [
        table.text("why", "borrow", n=abs(asker.digit), on=_place("on", asker.column, form, table)),
        *(
            table.text("why", "borrow_on", on=_place("on", empty.column, form, table))
            for empty in on_the_way
        ),
        table.text("why", "borrow_take", come=_place("from", step.move.column, form, table)),
        *_then_five(step.move, form, table),
    ]
    return " ".join(sentences)


def _then_five(move: Move, form: Form, table: StepPhrases) -> list[str]:
    """The extra sentence when the change itself is made with the five."""
    if not _hidden(move):
        return []
    return [
        table.text("why", "then_five", change=signed(change(move)), **_halves(move, form, table))
    ]


def _hidden(move: Move) -> bool:
    return len(move.beads) == 2 and (move.beads[0].count > 0) != (move.beads[1].count > 0)


def _halves(move: Move, form: Form, table: StepPhrases) -> dict[str, str]:
    first, second = move.beads
    return {
        "short": table.text(form, "short"),
        "first": signed(value(first)),
        "second": signed(value(second)),
    }


def _place(key: str, column: int, form: Form, table: StepPhrases) -> str:
    return table.item(form, key, column)


def _do(move: Move, form: Form, table: StepPhrases) -> str:
    parts = [_gesture(gesture, form, table) for gesture in move.beads]
    if len(parts) == 1:
        sentence = table.text("do", "one", first=parts[0])
    else:
        key = "two" if _hidden(move) else "together"
        sentence = table.text("do", key, first=parts[0], second=parts[1])
    return sentence[0].upper() + sentence[1:]


def _gesture(gesture: BeadStep, form: Form, table: StepPhrases) -> str:
    way = "in" if gesture.count > 0 else "out"
    if gesture.bead == "five":
        return table.text(form, f"five_{way}")
    return table.item(form, f"ones_{way}", abs(gesture.count) - 1)
