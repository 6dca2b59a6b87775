"""A chart in plain characters, for a terminal: one line a week, such as ``|  (--o--)  |``."""

from __future__ import annotations

from oralquiz.report.charts import Chart, ChartPoint, Shape

MARKS = {Shape.DOT: "o", Shape.SQUARE: "#", Shape.DASH: "="}
WIDTH = 25


def text_point(chart: Chart, point: ChartPoint, width: int = WIDTH) -> str:
    """``|    (---o--)       |``: the mark, and the line from end to end, on the chart's scale."""
    room = [" "] * width
    if point.value is not None:
        at = _at(chart, point.value, width)
        low = at if point.low is None else _at(chart, point.low, width)
        high = at if point.high is None else _at(chart, point.high, width)
        room[low : high + 1] = "-" * (high + 1 - low)
        if low < high:
            room[low] = "("
            room[high] = ">" if chart.ends_beyond(point) else ")"
        room[at] = MARKS[chart.mark]
    return f"|{''.join(room)}|"


def text_legend(chart: Chart) -> str:
    """What the signs mean, and the ends of the scale."""
    value, line = chart.legend
    low, high = chart.scale[0], chart.scale[-1]
    return f"{MARKS[chart.mark]} {value}, (--) {line}; from {low:g} to {high:g} {chart.unit}"


def _at(chart: Chart, value: float, width: int) -> int:
    return round(chart.share(value) * (width - 1))
