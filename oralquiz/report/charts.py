"""A chart of something over the weeks: a mark and a line for each week, and a legend.

It is SVG that needs no style sheet, no script and no colour. Widths are in per cent and heights in
pixels, so a chart fills any width from a phone's upwards and its letters keep their size.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from html import escape

LEFT, RIGHT = 21.0, 95.0
"""The marks lie between these, in per cent of the width."""
TOP, BOTTOM = 40.0, 150.0
"""The highest and the lowest line of the scale, in pixels."""
LETTERS = 13
"""The size of the letters, in pixels."""
LINE = 19
"""The distance between two lines of the legend, in pixels."""


class Shape(StrEnum):
    """The shape of the mark that stands for a value."""

    DOT = "dot"
    SQUARE = "square"
    DASH = "dash"


@dataclass(frozen=True)
class ChartPoint:
    """One week: the value (None: there is none) and the ends of the line through its mark. ``high``
    may be infinite."""

    label: str
    value: float | None
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True)
class Chart:
    """``title`` says what is shown. ``points``: at least one. ``scale``: the values of the lines
    across, the lowest first, written with ``unit``. ``legend``: what mark and line stand for."""

    title: str
    points: Sequence[ChartPoint]
    scale: Sequence[float]
    unit: str
    mark: Shape
    legend: tuple[str, str]

    def share(self, value: float) -> float:
        """Where ``value`` is between the ends of the scale, 0 to 1; at an end if beyond it."""
        low, high = self.scale[0], self.scale[-1]
        return (min(max(value, low), high) - low) / (high - low)

    def ends_beyond(self, point: ChartPoint) -> bool:
        """Whether the line of ``point`` goes beyond the scale."""
        return point.high is not None and point.high > self.scale[-1]


def chart_svg(chart: Chart) -> str:
    """The chart as one ``<svg>`` element."""
    height = BOTTOM + LINE * (1.5 + len(chart.legend)) + 8
    parts = [
        f'<svg class="chart" role="img" width="100%" height="{height:g}" '
        f'fill="currentColor" stroke="none" font-size="{LETTERS}">',
        f"<title>{escape(chart.title)}</title>",
        f'<text x="0" y="14" font-weight="600">{escape(chart.title)}</text>',
        *_scale(chart),
        *_connections(chart),
        *(_point(chart, at, point) for at, point in enumerate(chart.points)),
        *_labels(chart),
        *_legend(chart),
        "</svg>",
    ]
    return "".join(parts)


def seconds_scale(highest: float) -> tuple[float, ...]:
    """From 0 to at least ``highest`` seconds, in three or four steps of a round number."""
    steps = (0.25, 0.5, 1, 2, 5, 10, 20, 50)
    step = next((step for step in steps if highest <= 4 * step), 100.0)
    return tuple(step * n for n in range(max(3, math.ceil(highest / step)) + 1))


def _scale(chart: Chart) -> list[str]:
    parts = []
    for value in chart.scale:
        y = _y(chart, value)
        parts.append(
            f'<line x1="{LEFT - 3:g}%" x2="100%" y1="{y:g}" y2="{y:g}" '
            'stroke="currentColor" stroke-opacity=".25"/>'
            f'<text x="{LEFT - 4.5:g}%" y="{y + 4.5:g}" text-anchor="end">'
            f"{value:g} {escape(chart.unit)}</text>"
        )
    return parts


def _connections(chart: Chart) -> list[str]:
    """Thin lines from each value to that of the next week."""
    parts = []
    for at, (one, other) in enumerate(zip(chart.points, chart.points[1:], strict=False)):
        if one.value is not None and other.value is not None:
            ends = _x(chart, at), _y(chart, one.value), _x(chart, at + 1), _y(chart, other.value)
            parts.append(
                '<line x1="{:.4g}%" y1="{:.4g}" x2="{:.4g}%" y2="{:.4g}" '
                'stroke="currentColor" stroke-opacity=".45"/>'.format(*ends)
            )
    return parts


def _point(chart: Chart, at: int, point: ChartPoint) -> str:
    if point.value is None:
        return ""
    y = _y(chart, point.value)
    low, high = (_y(chart, end) if end is not None else y for end in (point.low, point.high))
    sign = f"{_line(high, low, chart.ends_beyond(point))}{_mark(chart.mark, y)}"
    return f'<svg x="{_x(chart, at):.4g}%" overflow="visible">{sign}</svg>'


def _line(top: float, bottom: float, beyond: bool) -> str:
    """From one end to the other; an arrow where it goes beyond the scale."""
    end = f"M-4 {top + 6:.4g}L0 {top:.4g}L4 {top + 6:.4g}" if beyond else f"M-4 {top:.4g}H4"
    path = f"M0 {top:.4g}V{bottom:.4g}M-4 {bottom:.4g}H4{end}"
    return f'<path d="{path}" fill="none" stroke="currentColor" stroke-width="1.5"/>'


def _mark(mark: Shape, y: float) -> str:
    if mark is Shape.DOT:
        return f'<circle class="mark" cx="0" cy="{y:.4g}" r="5"/>'
    wide, tall = (10, 10) if mark is Shape.SQUARE else (14, 5)
    return (
        f'<rect class="mark" x="{-wide / 2:g}" y="{y - tall / 2:.4g}" width="{wide}" '
        f'height="{tall}"/>'
    )


def _labels(chart: Chart) -> list[str]:
    """The first week, the last, and one between them: more would not fit on a phone."""
    last = len(chart.points) - 1
    wanted = {0: "middle", last: "end" if last else "middle"}
    if last >= 4:
        wanted[last // 2] = "middle"
    return [
        f'<text x="{100.0 if anchor == "end" else _x(chart, at):.4g}%" y="{BOTTOM + LINE:g}" '
        f'text-anchor="{anchor}">{escape(chart.points[at].label)}</text>'
        for at, anchor in wanted.items()
    ]


def _legend(chart: Chart) -> list[str]:
    signs = _mark(chart.mark, 0), _line(-7, 7, False)
    parts = []
    for at, (sign, words) in enumerate(zip(signs, chart.legend, strict=True)):
        y = BOTTOM + LINE * (2.5 + at)
        parts.append(
            f'<svg x="10" y="{y - 5:g}" overflow="visible">{sign}</svg>'
            f'<text x="28" y="{y:g}">{escape(words)}</text>'
        )
    return parts


def _x(chart: Chart, at: int) -> float:
    """The place of week ``at``, in per cent from the left."""
    last = len(chart.points) - 1
    return (LEFT + RIGHT) / 2 if last == 0 else LEFT + (RIGHT - LEFT) * at / last


def _y(chart: Chart, value: float) -> float:
    """The height of ``value``, in pixels from the top."""
    return BOTTOM - (BOTTOM - TOP) * chart.share(value)
