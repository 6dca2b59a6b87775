"""Two hands as the pupil sees their own: backs towards the eye, thumbs side by side.

A finger that counts stands up; one that does not is folded, and only its knuckle shows over the
back of the hand. The index finger counts first. The thumb, worth five, stands off to the side and
is thicker than the fingers. All geometry is that of the right hand; the left is its mirror image.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from oralquiz.beads import BeadStep, Column
from oralquiz.replay.drawing import (
    Attribute,
    Direction,
    Part,
    arrow,
    badge,
    label,
    number,
    parts,
    path,
    shift,
    tag,
)

Side = Literal["left", "right"]

WIDTH, HEIGHT = 124, 150
"""The box of one hand in user units: on a hand 40 px wide, a unit is a third of a pixel."""


@dataclass(frozen=True)
class _Shape:
    """A finger: its base, length and width in units, its lean in degrees clockwise from upright,
    and the part of its length that still shows when it is folded."""

    x: float
    y: float
    length: float
    width: float
    lean: float
    folded: float

    @property
    def away(self) -> tuple[float, float]:
        """How far it slides under the back of the hand when it is folded."""
        far, angle = self.length * (1 - self.folded), math.radians(self.lean)
        return -math.sin(angle) * far, math.cos(angle) * far

    @property
    def placed(self) -> str:
        """The transform that puts a finger drawn upwards from (0, 0) in its place."""
        return f"{shift(self.x, self.y)} rotate({number(float(self.lean))})"


_THUMB = _Shape(56, 117, 57, 22, -57, 0.36)
_FINGERS = (
    _Shape(53.5, 92, 68, 17.5, -8, 0.33),
    _Shape(71, 88, 76, 18, -1.5, 0.33),
    _Shape(88.5, 90, 69, 17.5, 5, 0.33),
    _Shape(104, 97, 53, 15.5, 13, 0.37),
)
_SHAPES = (_THUMB, *_FINGERS)
_BACK = (
    "M 45 84 C 50 78 62 76 71 76 C 84 76 102 81 112 92 C 115 104 111 119 103 129 "
    "C 100 133 99 136 99 140 L 61 140 C 61 136 58 132 54 128 C 45 119 41 106 41 96 "
    "C 41 91 42 87 45 84 Z"
)
_CUFF = "M 54 136 H 106 Q 109 136 109 139 V 150 H 51 V 139 Q 51 136 54 136 Z"
_MIDDLE = (77, 110)  # of the back of the hand


def hand(
    side: Side, shown: Column, gestures: tuple[BeadStep, ...] = (), *, live: bool = False
) -> str:
    """One hand, as the inside of an SVG of WIDTH by HEIGHT, before ``gestures`` are made.

    ``live`` draws every ghost and arrow there can be, for a script to show and hide.
    """
    column = 0 if side == "right" else 1
    both = tuple(zip(_SHAPES, parts(shown, column, gestures, live), strict=True))
    thumb, *fingers = (_finger(shape, part) for shape, part in both)
    drawn = "".join(_ghost(shape, part) for shape, part in both if live or part.state.comes)
    drawn += thumb
    # a nested picture cuts off what of a folded finger would stick out below the hand
    drawn += tag("svg", "".join(fingers), width=WIDTH, height=112, overflow="hidden")
    drawn += tag("path", d=_BACK, class_="skin back") + tag("path", d=_CUFF, class_="cuff")
    drawn += _upright(label(str(shown.digit * 10**column), 30, "digit"), _MIDDLE, column)
    drawn += "".join(_mark(shape, part, way) for shape, part in both for way in part.ways)
    return drawn if side == "right" else tag("g", drawn, transform=_MIRROR)


_MIRROR = f"translate({WIDTH} 0) scale(-1 1)"


def _upright(written: str, at: tuple[float, float], column: int, lean: float = 0) -> str:
    """A label that still reads when the hand around it leans or is mirrored (the left one)."""
    turn = f" rotate({number(-lean)})" if lean else ""
    flip = " scale(-1 1)" if column else ""
    return tag("g", written, transform=shift(*at) + turn + flip)


def _finger(shape: _Shape, part: Part) -> str:
    drawn = tag("path", d=_outline(shape), class_="skin")
    if part.live or part.state.counts:
        nail = shape.width * 0.5
        drawn += tag(
            "rect",
            x=-nail / 2,
            y=-shape.length + shape.width * 0.22,
            width=nail,
            height=nail * 1.15,
            rx=nail * 0.45,
            class_="nail",
        )
        size = shape.width * (0.8 if part.worth < 10 else 0.62)
        worth = label(str(part.worth), size, "worth")
        drawn += _upright(worth, (0, -shape.length * 0.53), part.column, shape.lean)
    return part.placed(tag("g", drawn, transform=shape.placed), shape.away)


def _outline(shape: _Shape) -> str:
    """A finger pointing up from (0, 0), a little narrower at its tip."""
    base, tip = shape.width / 2, shape.width * 0.45
    bend = -shape.length * 0.45
    top = -shape.length + tip
    left: list[Attribute] = ["M", -base, 0, "L", -base, bend, "L", -tip, top]
    right: list[Attribute] = ["A", tip, tip, 0, 0, 1, tip, top, "L", base, bend, "L", base, 0]
    return path([*left, *right, "Z"])


def _ghost(shape: _Shape, part: Part) -> str:
    """Where a finger will stand."""
    return tag("path", d=_outline(shape), class_="ghost", transform=shape.placed, **part.names)


def _mark(shape: _Shape, part: Part, way: Direction) -> str:
    """The arrow of a finger that is about to move, where it stands or will stand."""
    pointing = arrow(shape.width * 1.5, up=way == "in")
    drawn = tag("g", pointing, transform=shift(0, -shape.length * 0.62))
    if part.live or part.state.order:
        above = (0.0, -shape.length - 9)
        drawn += _upright(badge(part.state.order), above, part.column, shape.lean)
    named = {**part.names, "data_way": way} if part.live else {}
    return tag("g", drawn, class_="mark", transform=shape.placed, **named)
