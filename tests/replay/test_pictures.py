"""The pictures: every value is drawn by its own parts; the text pictures say the same."""

from __future__ import annotations

import math
import re
import xml.etree.ElementTree as ET
from itertools import pairwise

import pytest

from oralquiz.beads import Sum
from oralquiz.replay import hands
from oralquiz.replay.picture import picture, size
from oralquiz.replay.step_words import Form, form_for
from oralquiz.replay.story import tell
from oralquiz.replay.terminal import BETWEEN
from oralquiz.replay.text_pictures import FULL, PLAIN, text_picture


def parts(drawn: str) -> list[ET.Element]:
    return [
        node
        for node in ET.fromstring(drawn).iter("g")
        if "part" in (node.get("class") or "").split()
    ]


def read(drawn: str) -> int:
    """The value of a live picture, from which of its parts are where they count."""
    total = 0
    for node in parts(drawn):
        counts = node.get("transform") is None
        assert counts == ("counts" in (node.get("class") or ""))
        worth = 5 if node.get("data-bead") == "five" else 1
        total += counts * worth * 10 ** int(node.get("data-column") or 0)
    return total


@pytest.mark.parametrize("form", ["hands", "frame"])
def test_every_value_of_two_columns_is_drawn_as_it_is(form: Form) -> None:
    drawn = [picture(value, 2, form, live=True) for value in range(100)]
    assert [read(one) for one in drawn] == list(range(100))
    assert len(set(drawn)) == 100


def test_the_frame_draws_nine_columns() -> None:
    assert read(picture(987_654_321, 9, "frame", live=True)) == 987_654_321


def test_a_hand_has_a_thumb_and_four_fingers_that_fold_away() -> None:
    for node in parts(picture(0, 1, "hands", live=True)):
        dx, dy = map(float, (node.get("data-away") or "").split())
        assert math.hypot(dx, dy) > 25  # a fifth of the hand: 8 px of a hand of 40 px


def test_the_thumb_stands_apart() -> None:
    """The thumb is the thickest and leans away from the fingers, which are nearly upright."""
    thumb, *fingers = hands._SHAPES
    assert all(thumb.width > finger.width for finger in fingers)
    assert all(abs(thumb.lean - finger.lean) > 45 for finger in fingers)
    for left, right in pairwise(fingers):
        assert right.x - left.x > 0.8 * left.width  # fingers can be counted


def test_a_picture_has_a_name_for_those_who_cannot_see_it() -> None:
    assert ET.fromstring(picture(7, 2, "hands", name="The hands show 7.")).attrib == {
        "viewBox": "0 0 248 150",
        "class": "picture",
        "role": "img",
        "aria-label": "The hands show 7.",
    }
    assert 'aria-hidden="true"' in picture(7, 2, "hands")


def test_a_move_is_drawn_with_arrows_and_ghosts() -> None:
    step = tell(Sum.parse("34 + 13"), 2).steps[3]  # + 5, then - 2
    drawn = picture(step.before, 2, "hands", step.gestures)
    assert drawn.count('class="arrow"') == 3  # the thumb, two fingers
    assert drawn.count('class="ghost"') == 1  # where the thumb will be
    assert re.findall(r'class="order">(\d?)<', drawn) == ["1", "2"]  # what comes first


def test_sizes_follow_the_columns() -> None:
    assert size(2, "hands") == (248, 150)
    assert size(4, "frame") == (204, 150)
    assert [form_for(columns) for columns in (1, 2, 3, 9)] == ["hands", "hands", "frame", "frame"]


def test_the_right_hand_in_text_has_its_thumb_on_the_left() -> None:
    assert text_picture(37, 2, "hands") == [
        "     █             █     ",
        "   █ █ █         █ █     ",
        "   █ █ █         █ █     ",
        " ▄ █ █ █         █ █ ▄ ▄ ",
        "┌───────┐       ┌───────┐",
        "│   30  │    ■■■│   7   │",
        "└───────┘       └───────┘",
    ]


def test_a_frame_in_text() -> None:
    assert text_picture(107, 3, "frame", strokes=PLAIN) == [
        "+-------+",
        "| o o | |",
        "| | | @ |",
        "|=======|",
        "| @ | @ |",
        "| | o @ |",
        "| o o | |",
        "| o o o |",
        "| o o o |",
        "+-------+",
        "  1 0 7  ",
    ]


@pytest.mark.parametrize("strokes", [FULL, PLAIN])
@pytest.mark.parametrize(("text", "columns"), [("34 + 13 - 22 + 9", 2), ("999999999 - 1", 9)])
def test_three_pictures_fit_in_80_columns(text: str, columns: int, strokes: object) -> None:
    form = form_for(columns)
    for step in tell(Sum.parse(text), columns).steps:
        for gestures in ((), step.gestures):
            lines = text_picture(step.before, columns, form, gestures, strokes)  # type: ignore[arg-type]
            assert len({len(line) for line in lines}) == 1
            assert 3 * len(lines[0]) + 2 * len(BETWEEN) <= 79


def test_a_move_in_text_is_seen_without_colour() -> None:
    step = tell(Sum.parse("34 + 13"), 2).steps[3]
    lines = text_picture(step.before, 2, "hands", step.gestures)
    assert "←←←│   4   │" in lines[5]
    assert "".join(lines).count("↓") == 3  # of two fingers, above their last row
    plain = "".join(text_picture(step.before, 2, "hands", step.gestures, PLAIN))
    assert plain.isascii()
    assert "<<<" in plain
    assert "v" in plain
