"""The QR code of a set on paper, drawn from segno's modules."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import groupby

import segno
from reportlab.graphics.shapes import Drawing, Rect
from reportlab.lib import colors
from reportlab.lib.units import mm
from reportlab.platypus import Flowable, KeepTogether, Paragraph, Table, TableStyle

from oralquiz.report.sheet import Sheet, style

MODULE_MM = 0.45  # a phone reads it at arm's length from a 300 dpi print
LARGEST_QR_MM = 80.0
LONGEST_QR = 2_300  # characters of a code that still fits LARGEST_QR_MM with correction level M


def code_part(sheet: Sheet, width: float) -> list[Flowable]:
    if len(sheet.code) > LONGEST_QR:
        return [
            Paragraph(
                "This set is too long for one QR code: keep the sums themselves, as a file.",
                style(8),
            )
        ]
    picture = qr_drawing(sheet.code)
    words = Paragraph(
        "The code holds exactly this set: its sums in this order, the pace, the step. Scan it and "
        "give the text to <b>oralquiz compose --from-code</b> or <b>oralquiz sheet "
        "--from-code</b>. It holds no names.",
        style(8),
    )
    table = Table(
        [[picture, words]],
        colWidths=[picture.width + 5 * mm, None],
        style=TableStyle(
            [("VALIGN", (0, 0), (-1, -1), "MIDDLE"), ("LEFTPADDING", (0, 0), (0, 0), 0)]
        ),
    )
    return [KeepTogether([table])]


def qr_drawing(text: str) -> Drawing:
    """A QR code (ISO/IEC 18004, correction level M) with its quiet zone, as a drawing."""
    code = segno.make(text, error="m", micro=False)
    modules = code.symbol_size()[0]  # the quiet zone included
    size = min(MODULE_MM, LARGEST_QR_MM / modules) * mm
    drawing = Drawing(modules * size, modules * size)
    for row, line in enumerate(code.matrix_iter()):
        for start, dark in _runs(line):
            module = Rect(start * size, (modules - 1 - row) * size, dark * size, size)
            module.fillColor, module.strokeColor = colors.black, None
            drawing.add(module)
    return drawing


def _runs(line: Iterable[int]) -> Iterator[tuple[int, int]]:
    """Where each run of dark modules starts, and how long it is."""
    start = 0
    for is_dark, run in groupby(line):
        length = len(list(run))
        if is_dark:
            yield start, length
        start += length
