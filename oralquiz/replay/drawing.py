"""What every picture shares: parts that count or do not, drawn from what a frame shows.

A picture is SVG of our own. Each finger, thumb or bead is a group ``.part`` that stands at one of
two places: where it counts (no shift) or where it does not (``data-away``, a shift in user
units). Shape and place carry the meaning; colour only repeats it. The look (colours, widths of
lines, dashes) is CSS over the class names, in ``drawing.css``, so that the same picture works on
a light and a dark screen and on paper.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal
from xml.sax.saxutils import escape, quoteattr

from oralquiz.beads import Bead, BeadStep, Column

Attribute = str | int | float


Direction = Literal["in", "out"]
"""Which way a part moves: to where it counts, or away."""


@dataclass(frozen=True)
class PartState:
    """One finger, thumb or bead: whether it counts, and whether a gesture is about to move it.

    ``order`` is 1 or 2 on the first part that the first or second of two opposite gestures moves,
    where the order is to be shown; else 0.
    """

    counts: bool
    moves: bool = False
    order: int = 0

    @property
    def comes(self) -> bool:
        return self.moves and not self.counts

    @property
    def goes(self) -> bool:
        return self.moves and self.counts

    @property
    def classes(self) -> str:
        """The names by which CSS and scripts know the state."""
        named = {"part": True, "counts": self.counts, "goes": self.goes}
        return " ".join(name for name, holds in named.items() if holds)


def opposite(gestures: tuple[BeadStep, ...]) -> bool:
    """Whether the gestures are a complement (+ 5 - 2), so that one comes after the other."""
    return len(gestures) == 2 and (gestures[0].count > 0) != (gestures[1].count > 0)


def states(
    shown: Column, column: int, gestures: tuple[BeadStep, ...] = ()
) -> tuple[PartState, tuple[PartState, ...]]:
    """The five and the four ones, the first to count first, of one column before ``gestures``."""
    five = PartState(bool(shown.five))
    ones = [PartState(n < shown.ones) for n in range(4)]
    for place, gesture in enumerate(gestures, start=1):
        if gesture.column != column:
            continue
        order = place if opposite(gestures) else 0
        if gesture.bead == "five":
            five = PartState(five.counts, True, order)
            continue
        low, high = sorted((shown.ones, shown.ones + gesture.count))
        for n in range(low, high):
            ones[n] = PartState(ones[n].counts, True, order if n == low else 0)
    return five, tuple(ones)


@dataclass(frozen=True)
class Part:
    """One finger, thumb or bead as it is drawn: the ``n``-th ``bead`` of ``column``.

    ``live`` is for a script that moves it: it carries its name, everything that it can show, and
    every arrow there can be.
    """

    column: int
    bead: Bead
    n: int
    state: PartState
    live: bool

    @property
    def names(self) -> dict[str, Attribute]:
        """The attributes by which a script finds what belongs to this part."""
        if not self.live:
            return {}
        return {"data_column": self.column, "data_bead": self.bead, "data_n": self.n}

    @property
    def worth(self) -> int:
        """What it counts when it counts."""
        return (5 if self.bead == "five" else 1) * int(10**self.column)

    @property
    def ways(self) -> tuple[Direction, ...]:
        """The arrows it gets: that of its move, or every one there can be."""
        if self.live:
            return ("in", "out")
        if not self.state.moves:
            return ()
        return ("out",) if self.state.counts else ("in",)

    def placed(self, drawn: str, away: tuple[float, float]) -> str:
        """``drawn`` where it counts, or shifted by ``away`` if it does not."""
        where = f"{number(away[0])} {number(away[1])}"
        return tag(
            "g",
            drawn,
            class_=self.state.classes,
            data_away=where if self.live else None,
            transform=None if self.state.counts else f"translate({where})",
            **self.names,
        )


def parts(
    shown: Column, column: int, gestures: tuple[BeadStep, ...], live: bool
) -> tuple[Part, ...]:
    """The five and the ones of a column, before ``gestures``."""
    five, ones = states(shown, column, gestures)
    return (
        Part(column, "five", 0, five, live),
        *(Part(column, "ones", n, state, live) for n, state in enumerate(ones)),
    )


def tag(name: str, content: str | None = None, /, **attributes: Attribute | None) -> str:
    """One SVG element. In attribute names ``_`` stands for ``-``; a last ``_`` is dropped."""
    written = "".join(
        f" {key.rstrip('_').replace('_', '-')}={quoteattr(number(value))}"
        for key, value in attributes.items()
        if value is not None
    )
    return f"<{name}{written}/>" if content is None else f"<{name}{written}>{content}</{name}>"


def number(value: Attribute) -> str:
    """A number without needless digits; text as it is."""
    return f"{round(value, 2):g}" if isinstance(value, float) else str(value)


def shift(x: float, y: float) -> str:
    """The value of a ``transform`` that moves by (x, y)."""
    return f"translate({number(float(x))} {number(float(y))})"


def label(content: str, size: float, class_: str) -> str:
    """Text centred on (0, 0)."""
    return tag(
        "text",
        escape(content),
        y=0.36 * size,  # the middle of a digit lies about this far above its base line
        font_size=size,
        text_anchor="middle",
        class_=class_,
    )


def path(commands: Iterable[Attribute]) -> str:
    """The ``d`` of a path from its commands and numbers."""
    return " ".join(number(c) for c in commands)


def arrow(length: float, up: bool) -> str:
    """An arrow of ``length`` units around (0, 0)."""
    half, tip, shaft = length / 2, length * 0.46, length * 0.13
    sign = -1 if up else 1
    points = [
        (0.0, half),
        (tip * 0.86, half - tip),
        (shaft, half - tip),
        (shaft, -half),
        (-shaft, -half),
        (-shaft, half - tip),
        (-tip * 0.86, half - tip),
    ]
    written = " ".join(f"{number(x)},{number(sign * y)}" for x, y in points)
    return tag("polygon", points=written, class_="arrow")


def badge(order: int) -> str:
    """The number of a gesture, where two come one after the other. 0 shows nothing."""
    drawn = tag("circle", r=8) + label(str(order) if order else "", 12, "order")
    return tag("g", drawn, class_="badge" if order else "badge none")
