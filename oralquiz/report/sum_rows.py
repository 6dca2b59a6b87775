"""The pupil's part of a work sheet: the sums in columns, with room for their answers."""

from __future__ import annotations

from collections.abc import Sequence
from xml.sax.saxutils import escape

from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.platypus import Flowable, Paragraph, Spacer, Table, TableStyle

from oralquiz.beads import Sum
from oralquiz.report.sheet import FAINT, INK, MINUS, Sheet, signed, style


def pupils_part(sheet: Sheet, width: float, height: float) -> list[Flowable]:
    blanks = Table(
        [["Name", "", "Date", "", "Right", "", f"of {len(sheet.sums)}"]],
        colWidths=[
            12 * mm,
            width * 0.36,
            13 * mm,
            width * 0.2,
            14 * mm,
            14 * mm,
            width * 0.44 - 53 * mm,
        ],
        hAlign="LEFT",
        style=TableStyle(
            [
                ("FONT", (0, 0), (-1, -1), "sheet", 9),
                ("TEXTCOLOR", (0, 0), (-1, -1), INK),
                *(("LINEBELOW", (at, 0), (at, 0), 0.5, FAINT) for at in (1, 3, 5)),
                ("LEFTPADDING", (0, 0), (0, 0), 0),
            ]
        ),
    )
    head: list[Flowable] = [Paragraph(escape(sheet.title), style(15, bold=True))]
    if sheet.note:
        head.append(Paragraph(escape(sheet.note), style(9)))
    head += [Spacer(1, 4 * mm), blanks, Spacer(1, 6 * mm)]
    return [*head, *_sum_rows(sheet, width, height)]


def _sum_rows(sheet: Sheet, width: float, height: float) -> list[Flowable]:
    """The sums in columns: terms one under the other, a line, room for the answer."""
    longest = max(len(s.terms) for s in sheet.sums)
    size = min(14.0, (height - 60 * mm) / ((longest + 3.2) * 1.42))
    digits = max(len(str(abs(n))) for s in sheet.sums for n in (*s.terms, *s.totals))
    room = pdfmetrics.stringWidth(MINUS + "0" * digits, "sheet", size) + 4.5 * mm
    a_row = max(min(10, int(width / max(room, 15 * mm)), len(sheet.sums)), 1)
    rows = -(-len(sheet.sums) // a_row)
    a_row = -(-len(sheet.sums) // rows)  # as even as possible
    story: list[Flowable] = []
    for row in range(rows):
        first = row * a_row
        numbered = list(enumerate(sheet.sums[first : first + a_row], start=first + 1))
        story += [
            SumRow(numbered, a_row, longest, size, min(width / a_row, 26 * mm)),
            Spacer(1, 5 * mm),
        ]
    return story


class SumRow(Flowable):
    """One row of sums side by side, each written in a column with room for its answer."""

    def __init__(
        self,
        sums: Sequence[tuple[int, Sum]],
        places: int,
        terms: int,
        size: float,
        cell: float,
    ) -> None:
        super().__init__()
        self.sums, self.terms, self.size, self.cell = sums, terms, size, cell
        self.line = size * 1.42
        self.width = places * cell
        self.height = (terms + 3.2) * self.line

    def wrap(self, _width: float, _height: float) -> tuple[float, float]:
        return self.width, self.height

    def draw(self) -> None:
        canvas = self.canv
        top = self.height
        canvas.setStrokeColor(INK)
        canvas.setLineWidth(0.6)
        canvas.rect(0, 0, self.cell * len(self.sums), self.height)
        answer_line = top - (self.terms + 1.45) * self.line
        for at, (number, terms) in enumerate(self.sums):
            left, right = at * self.cell, (at + 1) * self.cell
            if at:
                canvas.line(left, 0, left, self.height)
            canvas.setFillColor(FAINT)
            canvas.setFont("sheet", 8)
            canvas.drawCentredString((left + right) / 2, top - self.line * 0.75, str(number))
            canvas.setFillColor(INK)
            canvas.setFont("sheet", self.size)
            for row, term in enumerate(terms.terms):
                canvas.drawRightString(
                    right - self.cell * 0.18, top - (row + 2) * self.line, signed(term)
                )
        whole = self.cell * len(self.sums)
        canvas.line(0, top - self.line * 1.1, whole, top - self.line * 1.1)
        canvas.line(0, answer_line - self.line * 0.1, whole, answer_line - self.line * 0.1)
