"""A set of sums to be printed, and the look that all its parts share.

Lengths are in points (1/72 inch) unless the name says otherwise.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from reportlab.lib import colors
from reportlab.lib.styles import ParagraphStyle
from reportlab.platypus import TableStyle

from oralquiz.beads import Sum
from oralquiz.compose import SetCode, encode

MINUS = "−"
INK = colors.Color(0.1, 0.1, 0.1)
FAINT = colors.Color(0.55, 0.55, 0.55)


@dataclass(frozen=True)
class Sheet:
    """What is printed. ``pace``: seconds from one term to the next. ``font``: a TrueType file.

    ``title`` and ``note`` stand at the top of each part; the sums are printed in their order.
    """

    sums: tuple[Sum, ...]
    columns: int
    step: str
    title: str
    pace: float
    paper: str = "a4"
    note: str = ""
    font: Path | None = None

    @property
    def code(self) -> str:
        return encode(SetCode(self.columns, self.pace, self.step, self.sums))


def signed(number: int) -> str:
    """A term as it is written in a column: without a plus."""
    return f"{MINUS if number < 0 else ''}{abs(number)}"


def style(size: float, bold: bool = False, **more: Any) -> ParagraphStyle:
    return ParagraphStyle(
        f"{size}{bold}",
        fontName="sheet-bold" if bold else "sheet",
        fontSize=size,
        leading=size * 1.3,
        textColor=INK,
        **more,
    )


def table_style(right: Sequence[int]) -> TableStyle:
    return TableStyle(
        [
            ("FONT", (0, 0), (-1, 0), "sheet-bold", 8),
            ("FONT", (0, 1), (-1, -1), "sheet", 9),
            ("TEXTCOLOR", (0, 0), (-1, -1), INK),
            ("LINEBELOW", (0, 0), (-1, 0), 0.6, INK),
            ("LINEBELOW", (0, 1), (-1, -1), 0.25, colors.Color(0.85, 0.85, 0.85)),
            ("VALIGN", (0, 0), (-1, -1), "MIDDLE"),
            ("TOPPADDING", (0, 0), (-1, -1), 2.5),
            ("BOTTOMPADDING", (0, 0), (-1, -1), 2.5),
            *(("ALIGN", (column, 0), (column, -1), "RIGHT") for column in right),
        ]
    )
