"""The bead frame: a column of one five over the beam and four ones under it, for each digit.

A bead that counts touches the beam (or the bead before it); one that does not lies away from it.
"""

from __future__ import annotations

from oralquiz.beads import BeadStep, Column
from oralquiz.replay.drawing import Direction, Part, badge, label, number, parts, shift, tag

COLUMN_WIDTH, HEIGHT = 48, 150
"""The box of one column in user units."""

_BEAD = 17.5  # height
_BEAM_TOP, _BEAM_BOTTOM = 41.0, 47.0
_TRAVEL = 15.0  # how far a bead moves
_TOP, _BOTTOM = 4.0, 136.0
_MIDDLE = COLUMN_WIDTH / 2


# where each bead counts (its middle, in units from the top) and how far away it lies if not: the
# five, then the ones from the beam down
_PLACES = (
    (_BEAM_TOP - _BEAD / 2 - 0.6, -_TRAVEL),
    *((_BEAM_BOTTOM + _BEAD * (n + 0.5) + 0.6, _TRAVEL) for n in range(4)),
)


def column(
    place: int, shown: Column, gestures: tuple[BeadStep, ...] = (), *, live: bool = False
) -> str:
    """The drawing of column ``place`` (0 is the ones), COLUMN_WIDTH by HEIGHT, before ``gestures``.

    ``live`` draws every arrow there can be, for a script to show and hide.
    """
    drawn = tag("rect", x=_MIDDLE - 1.6, y=_TOP, width=3.2, height=_BOTTOM - _TOP, class_="rod")
    beam = _BEAM_BOTTOM - _BEAM_TOP
    drawn += tag("rect", x=0, y=_BEAM_TOP, width=COLUMN_WIDTH, height=beam, class_="beam")
    if place % 3 == 0:  # thousands are set apart by a dot, as in writing
        drawn += tag("circle", cx=_MIDDLE, cy=_BEAM_TOP + beam / 2, r=2, class_="dot")
    beads = tuple(zip(_PLACES, parts(shown, place, gestures, live), strict=True))
    drawn += "".join(_bead(y, away, part) for (y, away), part in beads)
    drawn += "".join(_mark(y, away, part, way) for (y, away), part in beads for way in part.ways)
    written = label(str(shown.digit), 15, "digit")
    return drawn + tag("g", written, transform=shift(_MIDDLE, 144))


def border(columns: int) -> str:
    """What lies behind ``columns`` columns."""
    return tag(
        "rect",
        x=-4,
        y=_TOP - 2,
        width=columns * COLUMN_WIDTH + 8,
        height=_BOTTOM - _TOP + 2,
        rx=6,
        class_="border",
    )


def _bead(y: float, away: float, part: Part) -> str:
    bead = tag("polygon", points=_outline(), class_="skin")
    return part.placed(tag("g", bead, transform=shift(_MIDDLE, y)), (0, away))


def _outline() -> str:
    """A bead: flat where it meets the next one, pointed where the fingers take it."""
    half, flat, high = _MIDDLE - 3, _MIDDLE - 12, _BEAD / 2 - 0.4
    corners = [(-flat, -high), (flat, -high), (half, 0), (flat, high), (-flat, high), (-half, 0)]
    return " ".join(f"{number(float(x))},{number(float(y))}" for x, y in corners)


def _mark(y: float, away: float, part: Part, way: Direction) -> str:
    """The arrow of a bead that is about to move, on the bead where it lies now."""
    up = (away > 0) is (way == "in")
    sign = -1 if up else 1
    points = f"-10,{-4.5 * sign:g} 10,{-4.5 * sign:g} 0,{5.5 * sign:g}"
    drawn = tag("polygon", points=points, class_="arrow")
    if part.live or part.state.order:
        drawn += tag("g", badge(part.state.order), transform=shift(_MIDDLE - 6, 0))
    named = {**part.names, "data_way": way} if part.live else {}
    at = shift(_MIDDLE, y if way == "out" else y + away)
    return tag("g", drawn, class_="mark", transform=at, **named)
