"""The step sheet: every move of a sum as a row of pictures and words, for paper."""

from __future__ import annotations

from typing import Any

from markupsafe import Markup

from oralquiz.beads import BeadStep, MoveOrder, digit_at
from oralquiz.replay import picture as pictures
from oralquiz.replay.drawing import tag
from oralquiz.replay.outcome import detail_words, heard_words, possible_words, turn_title
from oralquiz.replay.step_words import Form, StepPhrases, term_written, words, written
from oralquiz.replay.turn_story import ORDERS, TurnStory


class Symbols:
    """The pictures of a sheet: every column that comes up is drawn once and used many times."""

    def __init__(self, columns: int, form: Form) -> None:
        self._columns, self._form = columns, form
        self._cells: dict[str, str] = {}

    def picture(self, value: int, gestures: tuple[BeadStep, ...] = ()) -> Markup:
        drawn = ""
        if self._form == "frame":
            self._cells.setdefault("rim", pictures.behind(self._columns, self._form))
            drawn = tag("use", href="#rim")
        for place in reversed(range(self._columns)):
            own = tuple(g for g in gestures if g.column == place)
            digit = digit_at(value, place)
            name = f"c{place}-{digit}" + "".join(f"-{g.bead[0]}{g.count:+d}" for g in own)
            name = name.replace("+", "p").replace("--", "-m")
            if name not in self._cells:
                self._cells[name] = pictures.cell(place, digit, self._form, own)
            x = pictures.origin(place, self._columns, self._form)
            drawn += tag("use", href=f"#{name}", x=x or None)
        return Markup(pictures.whole(drawn, self._columns, self._form, ""))

    def drawn(self) -> str:
        """The definitions that the pictures use. Each is a picture to the style sheet, which
        looks no further than the definition itself."""
        return "".join(
            tag("g", inside, id=name, class_="picture") for name, inside in self._cells.items()
        )


def sheet(
    told: TurnStory, order: MoveOrder, form: Form, table: StepPhrases, symbols: Symbols
) -> dict[str, Any]:
    turn = told.turn
    story = told.stories[ORDERS.index(order)]
    rows: list[dict[str, Any]] = []
    for step in story.steps:
        said = words(step, form, table)
        first = not rows or step.term != story.steps[step.number - 2].term
        rows.append(
            {
                "first": first,
                "term": term_written(turn.sum.terms, step.term) if first else "",
                "before": symbols.picture(step.before),
                "moving": symbols.picture(step.before, step.gestures),
                "after": symbols.picture(step.after),
                "where": said.where,
                "why": said.why,
                "do": said.do,
                "shows": step.after,
            }
        )
    result = f"{heard_words(turn, table)} ({detail_words(turn, table)})"
    return {
        "title": turn_title(turn, table),
        "sum": f"{written(turn.sum.terms)} = {turn.sum.answer}",
        "result": result,
        "maybe": [possible_words(told, n, form, table) for n in range(len(told.possible))],
        "rows": rows,
    }
