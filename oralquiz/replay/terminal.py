"""The replay in a terminal: the same steps, in words and text pictures."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import chain

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.text import Text

from oralquiz.beads import MoveOrder
from oralquiz.replay.outcome import GLYPHS, detail_words, heard_words, possible_words, turn_title
from oralquiz.replay.step_words import Form, StepPhrases, form_for, term_written, words
from oralquiz.replay.story import Story, StoryStep
from oralquiz.replay.text_pictures import FULL, PLAIN, Strokes, text_picture
from oralquiz.replay.turn_story import ORDERS, TurnStory

BETWEEN = "  "  # two pictures


def strokes_for(encoding: str) -> Strokes:
    """The strokes that a terminal of this encoding can show."""
    try:
        "".join(chain.from_iterable(vars(FULL).values())).encode(encoding)
    except (UnicodeEncodeError, LookupError):
        return PLAIN
    return FULL


class TerminalReplay:
    """Renders the cards of turns: first the start, then one for each move, finally the answer.

    Three pictures of two hands take 79 of ``width`` characters; if there are fewer, the picture
    before the move is left out (the card before ends with it), then the one after it.
    """

    def __init__(
        self,
        told: Sequence[TurnStory],
        order: MoveOrder,
        columns: int,
        table: StepPhrases,
        encoding: str,
        width: int = 80,
    ) -> None:
        self.told = told
        self._order = ORDERS.index(order)
        self._columns = columns
        self._width = width
        self._form: Form = form_for(columns)
        self._table = table
        self._strokes = strokes_for(encoding)
        self._glyph = {v: g if self._strokes is FULL else "" for v, g in GLYPHS.items()}

    def story(self, turn: int) -> Story:
        return self.told[turn].stories[self._order]

    def cards(self, turn: int) -> int:
        """How many cards a turn has."""
        return len(self.story(turn).steps) + 2

    def head(self, turn: int, term: int | None = None) -> RenderableType:
        """Whose sum it is, the sum with its running totals, and what was heard."""
        one, table = self.told[turn], self._table
        terms = one.turn.sum.terms
        board = Text("  ")
        for n, total in enumerate(one.turn.sum.totals):
            written = f"[{term_written(terms, n)}]" if n == term else term_written(terms, n)
            board.append(written, style="bold reverse" if n == term else "bold")
            board.append(f" = {total}   ", style="dim")
        title = Text(turn_title(one.turn, table), style="bold")
        title.append(f"   {self._glyph[one.turn.verdict]} ", style="not bold")
        title.append(heard_words(one.turn, table), style="not bold")
        title.append(f", {detail_words(one.turn, table)}", style="not bold")
        return Group(title, board)

    def card(self, turn: int, card: int) -> RenderableType:
        """One card: why, what moves, and the pictures before, moving and after."""
        one, table, form = self.told[turn], self._table, self._form
        steps = self.story(turn).steps
        if not 0 < card <= len(steps):
            place, value = ("start", 0) if card == 0 else ("end", one.turn.sum.answer)
            return Group(
                Text(table.text("page", f"{place}_where"), style="bold"),
                Text(table.text("page", f"{place}_{form}", value=value)),
                "",
                Padding(self._picture(value), (0, 2)),
                *self._maybe(turn, card),
            )
        step = steps[card - 1]
        said = words(step, form, table)
        where = Text(said.where, style="bold")
        count = table.text("page", "step_of", n=step.number, count=len(steps))
        where.append(f"   {count}", style="not bold dim")
        return Group(
            where,
            Text(said.why, style="bold"),
            Text(said.do),
            "",
            self._pictures(step),
            *self._maybe(turn, card),
        )

    def term_of(self, turn: int, card: int) -> int | None:
        """The index of the term that a card belongs to."""
        steps = self.story(turn).steps
        return steps[card - 1].term if 0 < card <= len(steps) else None

    def _pictures(self, step: StoryStep) -> Text:
        pictures = [
            self._lines(step.before),
            self._lines(step.before, step),
            self._lines(step.after),
        ]
        titles = [
            f"{self._table.text('page', 'before')} {step.before}",
            self._table.text("page", "moving"),
            f"{self._table.text('page', 'after')} {step.after}",
        ]
        for lines, title in zip(pictures, titles, strict=True):
            lines.append(title.center(len(lines[0])))
        room = (self._width + len(BETWEEN)) // (len(pictures[0][0]) + len(BETWEEN))
        if room < len(pictures):
            pictures = pictures[1:3] if room == 2 else pictures[1:2]
        return self._coloured("\n".join(BETWEEN.join(row) for row in zip(*pictures, strict=True)))

    def _picture(self, value: int) -> Text:
        return self._coloured("\n".join(self._lines(value)))

    def _lines(self, value: int, step: StoryStep | None = None) -> list[str]:
        gestures = step.gestures if step else ()
        return text_picture(value, self._columns, self._form, gestures, self._strokes)

    def _coloured(self, drawn: str) -> Text:
        """Colour only repeats what the characters say."""
        text = Text(drawn, no_wrap=True, overflow="crop")
        if self._strokes is FULL:
            text.highlight_regex("[█■●]", "blue")
            text.highlight_regex("[↑↓←→]+", "bold yellow")
        return text

    def _maybe(self, turn: int, card: int) -> list[RenderableType]:
        """What may have gone wrong on this card, as possible; on the first, everything."""
        one, table = self.told[turn], self._table
        here = [n for n, its in enumerate(one.possible) if card in its.steps or card == 0]
        if card == 0 and one.wrong and not one.possible:
            return ["", Text(table.text("slip", "unknown"), style="italic")]
        lines: list[RenderableType] = []
        for n in here:
            percent = round(100 * one.possible[n].probability)
            odds = table.text("slip", "perhaps", percent=percent)
            lines.append(
                Text(f"{possible_words(one, n, self._form, table)} ({odds})", style="italic")
            )
        return ["", *lines] if lines else []


def printed(stage: TerminalReplay) -> RenderableType:
    """Every card of every turn, one after the other: for paper, a file or a pipe."""
    parts: list[RenderableType] = []
    for turn in range(len(stage.told)):
        parts += [stage.head(turn), ""]
        for card in range(stage.cards(turn)):
            parts += [stage.card(turn, card), ""]
    return Group(*parts)
