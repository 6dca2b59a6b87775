"""The hands and the frame in text: readable without colour, three pictures in 80 columns."""

from __future__ import annotations

from dataclasses import dataclass

from oralquiz.beads import BeadStep, Column, digit_at
from oralquiz.replay.drawing import PartState, states
from oralquiz.replay.step_words import Form

GAP = " "  # between two hands


@dataclass(frozen=True)
class Strokes:
    """The characters a picture is made of; each state of a part has one of its own."""

    finger: str
    knuckle: str
    thumb: str
    up: str
    down: str
    side_out: tuple[str, str]  # a thumb that comes: of the right hand, of the left
    side_in: tuple[str, str]
    bead_on: str
    bead_off: str
    rod: str
    line: str
    beam: str
    wall: str
    corners: tuple[str, str, str, str]


FULL = Strokes(
    "█",
    "▄",
    "■",
    "↑",
    "↓",
    ("←", "→"),
    ("→", "←"),
    "●",
    "○",
    "│",
    "─",
    "═",
    "│",
    ("┌", "┐", "└", "┘"),
)
PLAIN = Strokes(
    "I",
    "o",
    "=",
    "^",
    "v",
    ("<", ">"),
    (">", "<"),
    "@",
    "o",
    "|",
    "-",
    "=",
    "|",
    ("+", "+", "+", "+"),
)
"""For terminals that cannot show more than ASCII."""

_HEIGHTS = (3, 4, 3, 2)  # rows of index, middle, ring and little finger that stand up
_ROWS = max(_HEIGHTS)


def text_picture(
    value: int,
    columns: int,
    form: Form,
    gestures: tuple[BeadStep, ...] = (),
    strokes: Strokes = FULL,
) -> list[str]:
    """The lines, all equally wide, of a frame that shows ``value`` before ``gestures``."""
    cells = [
        (place, Column.of(digit_at(value, place)), gestures) for place in reversed(range(columns))
    ]
    if form == "hands":
        drawn = [_hand(*cell, strokes) for cell in cells]
        return [GAP.join(lines) for lines in zip(*drawn, strict=True)]
    return _frame([_rod(*cell, strokes) for cell in cells], strokes)


def _hand(place: int, shown: Column, gestures: tuple[BeadStep, ...], strokes: Strokes) -> list[str]:
    """One hand, the right one drawn first and turned over for the left."""
    five, ones = states(shown, place, gestures)
    fingers = [_finger(state, high, strokes) for state, high in zip(ones, _HEIGHTS, strict=True)]
    rows = ["    " + " ".join(finger[row] for finger in fingers) + " " for row in range(_ROWS)]
    number = str(shown.digit * 10**place).center(7)
    a, b, c, d = strokes.corners
    thumb = _thumb(five, place, strokes)
    palm = [
        f"   {a}{strokes.line * 7}{b}",
        f"{thumb}{strokes.wall}{number}{strokes.wall}",
        f"   {c}{strokes.line * 7}{d}",
    ]
    if place == 0:
        return rows + palm
    return [
        *(row[::-1] for row in rows),
        f"{a}{strokes.line * 7}{b}   ",
        f"{strokes.wall}{number}{strokes.wall}{thumb[::-1]}",
        f"{c}{strokes.line * 7}{d}   ",
    ]


def _finger(state: PartState, high: int, strokes: Strokes) -> list[str]:
    """One finger from its tip down."""
    if state.comes:
        return [" "] * (_ROWS - high) + [strokes.up] * (high - 1) + [strokes.knuckle]
    if state.goes:
        return [" "] * (_ROWS - high) + [strokes.down] * (high - 1) + [strokes.finger]
    if state.counts:
        return [" "] * (_ROWS - high) + [strokes.finger] * high
    return [" "] * (_ROWS - 1) + [strokes.knuckle]


def _thumb(state: PartState, place: int, strokes: Strokes) -> str:
    """The thumb of a right hand, three characters from its tip on."""
    if state.comes:
        return strokes.side_out[place] * 3
    if state.goes:
        return strokes.side_in[place] * 3
    return strokes.thumb * 3 if state.counts else "   "


def _rod(place: int, shown: Column, gestures: tuple[BeadStep, ...], strokes: Strokes) -> list[str]:
    """One column of beads: two rows for the five, five for the ones, and its digit."""
    five, ones = states(shown, place, gestures)
    upper = [strokes.rod, strokes.rod]
    upper[1 if five.counts else 0] = _bead(five, downwards=not five.counts, strokes=strokes)
    lower = [strokes.rod] * 5
    for n, state in enumerate(ones):
        lower[n if state.counts else n + 1] = _bead(state, downwards=state.counts, strokes=strokes)
    return [*upper, *lower, str(shown.digit)]


def _bead(state: PartState, downwards: bool, strokes: Strokes) -> str:
    if state.moves:
        return strokes.down if downwards else strokes.up
    return strokes.bead_on if state.counts else strokes.bead_off


def _frame(rods: list[list[str]], strokes: Strokes) -> list[str]:
    a, b, c, d = strokes.corners
    inside = 2 * len(rods) + 1
    rows = [f"{strokes.wall} {' '.join(row)} {strokes.wall}" for row in zip(*rods, strict=True)]
    return [
        f"{a}{strokes.line * inside}{b}",
        *rows[:2],
        f"{strokes.wall}{strokes.beam * inside}{strokes.wall}",
        *rows[2:7],
        f"{c}{strokes.line * inside}{d}",
        f"  {' '.join(rod[7] for rod in rods)}  ",
    ]
