"""One whole picture of what a frame shows: two hands, or the bead frame."""

from __future__ import annotations

from oralquiz.beads import BeadStep, Column, digit_at
from oralquiz.replay import frame, hands
from oralquiz.replay.drawing import shift, tag
from oralquiz.replay.step_words import Form

Size = tuple[int, int]

_RIM = 6  # units around the columns of a frame


def size(columns: int, form: Form) -> Size:
    """Width and height of a picture in user units."""
    if form == "hands":
        return hands.WIDTH * columns, hands.HEIGHT
    return frame.COLUMN_WIDTH * columns + 2 * _RIM, frame.HEIGHT


def cell(
    place: int,
    digit: int,
    form: Form,
    gestures: tuple[BeadStep, ...] = (),
    *,
    live: bool = False,
) -> str:
    """One column of a picture: a hand, or a column of beads. ``place`` 0 is the ones."""
    if form == "hands":
        return hands.hand("left" if place else "right", Column.of(digit), gestures, live=live)
    return frame.column(place, Column.of(digit), gestures, live=live)


def origin(place: int, columns: int, form: Form) -> int:
    """Where a column starts, in user units from the left: the ones are on the right."""
    across = columns - 1 - place
    return across * hands.WIDTH if form == "hands" else across * frame.COLUMN_WIDTH + _RIM


def behind(columns: int, form: Form) -> str:
    """What lies behind the columns: nothing behind hands, the frame's border behind beads."""
    return "" if form == "hands" else tag("g", frame.border(columns), transform=shift(_RIM, 0))


def picture(
    value: int,
    columns: int,
    form: Form,
    gestures: tuple[BeadStep, ...] = (),
    *,
    name: str = "",
    live: bool = False,
) -> str:
    """A frame that shows ``value`` and is about to make ``gestures``, as one ``<svg>``.

    ``name`` is what it is called for those who cannot see it; without one it is decoration.
    ``live`` draws every ghost and arrow there can be, for a script to show and hide.
    """
    drawn = behind(columns, form)
    for place in reversed(range(columns)):
        inside = cell(place, digit_at(value, place), form, gestures, live=live)
        drawn += tag("g", inside, transform=shift(origin(place, columns, form), 0))
    return whole(drawn, columns, form, name, "picture live" if live else "picture")


def whole(drawn: str, columns: int, form: Form, name: str, class_: str = "picture") -> str:
    """``drawn``, the inside of a picture, as one ``<svg>`` for a page."""
    width, height = size(columns, form)
    return tag(
        "svg",
        drawn,
        viewBox=f"0 0 {width} {height}",
        class_=class_,
        role="img" if name else None,
        aria_label=name or None,
        aria_hidden=None if name else "true",
    )
