"""Charts of the weeks, as SVG and as plain characters."""

from __future__ import annotations

import math
import re
from datetime import date, timedelta
from xml.etree import ElementTree

import pytest

from oralquiz.beads import Sum
from oralquiz.judge import Verdict
from oralquiz.learn import Answer, JudgedSum, class_weeks, weeks
from oralquiz.report.charts import Chart, ChartPoint, Shape, chart_svg, seconds_scale
from oralquiz.report.progress_charts import MOST_WEEKS, class_charts, pupil_charts
from oralquiz.report.text_charts import text_legend, text_point

MONDAY = date(2024, 3, 4)
POINTS = (
    ChartPoint("4 Mar", 50, 25, 100),
    ChartPoint("11 Mar", None),
    ChartPoint("18 Mar", 75, 50, math.inf),
)
CHART = Chart("<Ben> & co", POINTS, (0, 50, 100), "%", Shape.DOT, ("right", "limits"))


def test_every_value_has_its_mark_and_line_at_its_height() -> None:
    root = ElementTree.fromstring(chart_svg(CHART))
    assert root.findtext("title") == "<Ben> & co"
    zero, fifty, hundred = (float(line.get("y1", "")) for line in root.findall("line"))
    first, last, *legend = root.findall("svg")  # nothing stands for the week without a value
    assert len(legend) == 2
    marks = [one.find("circle") for one in (first, last)]
    heights = [float(mark.get("cy", "")) for mark in marks if mark is not None]
    assert heights == [fifty, (fifty + hundred) / 2]
    path = first.find("path")
    assert path is not None
    assert path.get("d", "").startswith(f"M0 {hundred:g}V{(zero + fifty) / 2:g}")
    across = [float(one.get("x", "").rstrip("%")) for one in (first, last)]
    assert 0 < across[0] < across[1] < 100
    labels = [text.text for text in root.findall("text")]
    assert {"4 Mar", "18 Mar", "0 %", "100 %", "right", "limits"} <= set(labels)


def test_a_line_without_an_end_is_an_arrow_and_no_colour_is_named() -> None:
    svg = chart_svg(CHART)
    assert svg.count("M-4 46L0 40L4 46") == 1
    assert set(re.findall(r'(?:fill|stroke)="([^"]*)"', svg)) == {"currentColor", "none"}
    assert "style" not in svg


def test_one_week_stands_in_the_middle() -> None:
    one = Chart("x", POINTS[:1], (0, 100), "%", Shape.SQUARE, ("right", "limits"))
    root = ElementTree.fromstring(chart_svg(one))
    assert root.findall("svg")[0].get("x") == "58%"


@pytest.mark.parametrize(
    ("highest", "scale"),
    [
        (0.3, (0, 0.25, 0.5, 0.75)),
        (2.9, (0, 1, 2, 3)),
        (3.1, (0, 1, 2, 3, 4)),
        (70, (0, 20, 40, 60, 80)),
    ],
)
def test_a_scale_of_round_numbers(highest: float, scale: tuple[float, ...]) -> None:
    assert seconds_scale(highest) == scale


def test_plain_characters_say_the_same() -> None:
    assert [text_point(CHART, point, 9) for point in POINTS] == [
        "|  (-o---)|",
        "|         |",
        "|    (-o->|",
    ]
    assert text_legend(CHART) == "o right, (--) limits; from 0 to 100 %"


def answer(week: int, verdict: Verdict, latency: float | None = None) -> Answer:
    day, pace = MONDAY + timedelta(weeks=week), 2.5 - week / 100
    terms = Sum.parse("34 + 13 - 22")
    return Answer(day, terms, verdict, None, latency, deadline_s=8.0, pace_s=pace)


def test_a_pupils_weeks() -> None:
    answers = [answer(week, Verdict.RIGHT, 1.0 + week / 10) for week in range(20) for _ in range(6)]
    answers += [answer(week, Verdict.WRONG) for week in range(20)]
    right, speed, pace = pupil_charts(weeks(answers))
    assert len(right.points) == len(speed.points) == len(pace.points) == MOST_WEEKS
    first = right.points[0]
    assert first.label == "1 Apr"
    assert first.value == pytest.approx(600 / 7)
    assert first.low is not None and first.low < 600 / 7
    assert speed.points[-1].value == pytest.approx(2.9)
    assert pace.points[-1].value == pytest.approx(2.31)
    assert pupil_charts(()) == ()


def test_a_class_is_its_pupils_side_by_side() -> None:
    def judged(right: int, wrong: int, latency: float) -> list[JudgedSum]:
        its = [JudgedSum(MONDAY, Verdict.RIGHT, latency, 8.0, latency + 1)] * right
        return its + [JudgedSum(MONDAY, Verdict.WRONG, 1.0, 8.0, latency + 1)] * wrong

    pupils = {"Asha": judged(90, 10, 1.0), "Ben": judged(1, 1, 2.0), "Carla": judged(3, 1, 3.0)}
    pupils["Dan"] = [JudgedSum(MONDAY, Verdict.SILENT, None, 8.0)] * 3
    (week,) = class_weeks(pupils)
    assert week.pupils == 4
    assert week.right is not None and week.half_within is not None and week.pace is not None
    assert week.right.middle == 0.75  # of 0.9, 0.5 and 0.75, however much each practised
    assert (week.half_within.middle, week.pace.middle) == (2.0, 3.0)
    right, speed, _ = class_charts([week])
    (point,) = right.points
    assert (point.label, point.value, point.low) == ("4 Mar", 75.0, 62.5)
    assert point.high == pytest.approx(82.5)
    assert speed.points[0].value == 2.0
