"""A set of sums on paper: the pupil's sheet, the key with the rules, the teacher's script.

Made with ReportLab, the QR code with segno. Lengths are in points (1/72 inch) unless the name says
otherwise.
"""

from __future__ import annotations

import io
from collections.abc import Callable
from pathlib import Path
from typing import Any

from reportlab.lib import pagesizes
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFError, TTFont
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import BaseDocTemplate, Frame, NextPageTemplate, PageBreak, PageTemplate

from oralquiz.compose import counted
from oralquiz.errors import BadInput
from oralquiz.report.answer_key import key_part
from oralquiz.report.reading_script import script_part
from oralquiz.report.sheet import FAINT, MINUS, Sheet
from oralquiz.report.sum_rows import pupils_part

PAPERS = {"a4": pagesizes.A4, "letter": pagesizes.LETTER}
MARGIN = 16 * mm
FOOTER = 7.5


def write_sheet(sheet: Sheet, path: Path) -> int:
    """Write the PDF and return how many pages it has.

    Raises BadInput if the font cannot be used or lacks a letter of the title, or if the file
    cannot be written.
    """
    data, pages = render_sheet(sheet)
    try:
        path.write_bytes(data)
    except OSError as error:
        raise BadInput(f"{path}: cannot be written ({error.strerror})") from None
    return pages


def render_sheet(sheet: Sheet) -> tuple[bytes, int]:
    """The PDF's bytes (the same for the same sheet) and its number of pages."""
    if not sheet.sums:
        raise BadInput("a sheet needs at least one sum")
    if sheet.paper not in PAPERS:
        raise BadInput(f"there is no paper '{sheet.paper}': {' or '.join(PAPERS)}")
    _register_fonts(sheet)
    page = PAPERS[sheet.paper]
    width, height = page[0] - 2 * MARGIN, page[1] - 2 * MARGIN
    buffer = io.BytesIO()
    document = BaseDocTemplate(
        buffer,
        pagesize=page,
        title=sheet.title,
        author="oralquiz",
        subject=f"{counted(len(sheet.sums), 'sum')}: sheet, key and reading script",
        invariant=True,
    )
    parts = (
        ("sheet", sheet.title),
        ("key", f"{sheet.title}: answers and rules"),
        ("script", f"{sheet.title}: reading script"),
    )
    document.addPageTemplates(
        [
            PageTemplate(
                id=part,
                frames=[Frame(MARGIN, MARGIN, width, height, 0, 0, 0, 0)],
                onPage=_footer(text),
            )
            for part, text in parts
        ]
    )
    story = [
        *pupils_part(sheet, width, height),
        NextPageTemplate("key"),
        PageBreak(),
        *key_part(sheet, width),
        NextPageTemplate("script"),
        PageBreak(),
        *script_part(sheet, width),
    ]
    document.build(story)
    return buffer.getvalue(), document.page


def _register_fonts(sheet: Sheet) -> None:
    regular, bold = ("Vera.ttf", "VeraBd.ttf") if sheet.font is None else (sheet.font, sheet.font)
    try:
        fonts = [TTFont("sheet", str(regular)), TTFont("sheet-bold", str(bold))]
    except (TTFError, OSError) as error:
        raise BadInput(f"{sheet.font}: cannot be used as a TrueType font ({error})") from None
    needed = dict.fromkeys(sheet.title + sheet.note + sheet.step + "0123456789+.,:;×" + MINUS)
    for font in fonts:
        missing = "".join(c for c in needed if ord(c) not in font.face.charToGlyph and c != "\n")
        if missing:
            raise BadInput(
                f"the font {font.face.name.decode()} has no '{missing[:12]}': "
                "give one that has, with --font FILE.ttf"
            )
        pdfmetrics.registerFont(font)


def _footer(text: str) -> Callable[[Canvas, Any], None]:
    def draw(canvas: Canvas, document: Any) -> None:
        canvas.saveState()
        canvas.setFont("sheet", FOOTER)
        canvas.setFillColor(FAINT)
        room = document.pagesize[0] - 2 * MARGIN - 15 * mm
        canvas.drawString(MARGIN, 9 * mm, _shortened(text, room))
        canvas.drawRightString(document.pagesize[0] - MARGIN, 9 * mm, str(canvas.getPageNumber()))
        canvas.restoreState()

    return draw


def _shortened(text: str, room: float) -> str:
    """``text`` cut where the footer has no more room (points), ending in dots."""
    if pdfmetrics.stringWidth(text, "sheet", FOOTER) <= room:
        return text
    while text and pdfmetrics.stringWidth(text + "...", "sheet", FOOTER) > room:
        text = text[:-1]
    return text.rstrip() + "..."
