"""The teacher's part of a work sheet: what to read when, and the code of the set."""

from __future__ import annotations

from xml.sax.saxutils import escape

from reportlab.lib.units import mm
from reportlab.platypus import Flowable, Paragraph, Spacer, Table

from oralquiz.compose import counted
from oralquiz.report.qr_drawing import code_part
from oralquiz.report.sheet import Sheet, signed, style, table_style


def script_part(sheet: Sheet, width: float) -> list[Flowable]:
    longest = max(len(s.terms) for s in sheet.sums)
    seconds = sum(len(s.terms) for s in sheet.sums) * sheet.pace
    how = (
        f"Read one term every {sheet.pace:g} seconds ({60 / sheet.pace:.0f} beats a minute on a "
        "metronome), in a steady voice. The figures above the columns are the seconds from the "
        "start of the first term to the start of each"
        f"{'' if longest <= 12 else '; a line that goes on says how many more'}. "
        f"{counted(len(sheet.sums), 'sum')} take{'s' if len(sheet.sums) == 1 else ''} "
        f"{_minutes(seconds)} of reading, without the answers. "
        "Keep the volume modest and take breaks."
    )
    story: list[Flowable] = [
        Paragraph("Reading script", style(15, bold=True)),
        Paragraph(escape(sheet.title), style(9)),
        Spacer(1, 2 * mm),
        Paragraph(how, style(9)),
        Spacer(1, 4 * mm),
    ]
    a_row = -(-longest // -(-longest // 12))  # at most 12 terms a line, the lines as even as can be
    first_width = (9 if a_row == longest else 14) * mm
    head = ["", *(f"{place * sheet.pace:g} s" for place in range(a_row)), "answer"]
    rows: list[list[str]] = [head]
    for number, terms in enumerate(sheet.sums, start=1):
        spoken = [
            signed(terms.terms[0]),
            *(f"+{t}" if t > 0 else signed(t) for t in terms.terms[1:]),
        ]
        for first in range(0, len(spoken), a_row):
            part = spoken[first : first + a_row]
            is_last = first + a_row >= len(spoken)
            rows.append(
                [
                    str(number) if first == 0 else f"+{first * sheet.pace:g} s",
                    *part,
                    *[""] * (a_row - len(part)),
                    signed(terms.answer) if is_last else "",
                ]
            )
    table = Table(
        rows,
        colWidths=[first_width, *[(width - 20 * mm - first_width) / a_row] * a_row, 20 * mm],
        repeatRows=1,
        style=table_style(right=range(a_row + 2)),
    )
    story += [table, Spacer(1, 6 * mm), *code_part(sheet, width)]
    return story


def _minutes(seconds: float) -> str:
    whole = round(seconds)
    if whole < 60:
        return f"{whole} seconds"
    return f"{whole // 60} min {whole % 60:02d} s"
