"""A set of sums on paper: the pupil's sheet, the key with the rules, the teacher's script.

Made with ReportLab, the QR code with segno. Lengths are in points (1/72 inch) unless the name says
otherwise.
"""

from __future__ import annotations

import io
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

import segno
from reportlab.graphics.shapes import Drawing, Rect
from reportlab.lib import colors, pagesizes
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFError, TTFont
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import (
    BaseDocTemplate,
    Flowable,
    Frame,
    KeepTogether,
    NextPageTemplate,
    PageBreak,
    PageTemplate,
    Paragraph,
    Spacer,
    Table,
    TableStyle,
)

from oralquiz.beads import DIRECT, Rule, Sum
from oralquiz.compose import SetCode, all_moves, counted, difficulty_of, encode
from oralquiz.errors import BadInput

PAPERS = {"a4": pagesizes.A4, "letter": pagesizes.LETTER}
MARGIN = 16 * mm
MODULE_MM = 0.45  # of the QR code: a phone reads it at arm's length from a 300 dpi print
LARGEST_QR_MM = 80.0
LONGEST_QR = 2_300  # characters of a code that still fits LARGEST_QR_MM with correction level M
MINUS = "−"
NO_BREAK = "\N{NO-BREAK SPACE}"
FOOTER = 7.5
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
        *_pupils_part(sheet, width, height),
        NextPageTemplate("key"),
        PageBreak(),
        *_key_part(sheet, width),
        NextPageTemplate("script"),
        PageBreak(),
        *_script_part(sheet, width),
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
    """``text`` cut where the footer has no more room (points), with dots."""
    if pdfmetrics.stringWidth(text, "sheet", FOOTER) <= room:
        return text
    while text and pdfmetrics.stringWidth(text + "...", "sheet", FOOTER) > room:
        text = text[:-1]
    return text.rstrip() + "..."


def _style(size: float, bold: bool = False, **more: Any) -> ParagraphStyle:
    return ParagraphStyle(
        f"{size}{bold}",
        fontName="sheet-bold" if bold else "sheet",
        fontSize=size,
        leading=size * 1.3,
        textColor=INK,
        **more,
    )


# --- the pupil's sheet


def _pupils_part(sheet: Sheet, width: float, height: float) -> list[Flowable]:
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
    head: list[Flowable] = [Paragraph(escape(sheet.title), _style(15, bold=True))]
    if sheet.note:
        head.append(Paragraph(escape(sheet.note), _style(9)))
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


def signed(number: int) -> str:
    """A term as it is written in a column: without a plus."""
    return f"{MINUS if number < 0 else ''}{abs(number)}"


# --- the key


def _key_part(sheet: Sheet, width: float) -> list[Flowable]:
    rows: list[list[Any]] = [["", "sum", "answer", "rules, and how often", "load"]]
    for number, terms in enumerate(sheet.sums, start=1):
        rows.append(
            [
                str(number),
                Paragraph(_in_a_line(terms), _style(9)),
                signed(terms.answer),
                Paragraph(escape(rules_text(terms, sheet.columns)), _style(8.5)),
                str(difficulty_of(terms.terms, sheet.columns).points),
            ]
        )
    table = Table(
        rows,
        colWidths=[9 * mm, width * 0.38, 17 * mm, None, 12 * mm],
        repeatRows=1,
        style=_table_style(right=(0, 2, 4)),
    )
    return [
        Paragraph("Answers and rules", _style(15, bold=True)),
        Paragraph(escape(sheet.title), _style(9)),
        Spacer(1, 4 * mm),
        table,
        Spacer(1, 3 * mm),
        Paragraph(
            "Load orders the sums from easier to harder: a point for each move, one more for a "
            "five or a ten, two more for both, one for a carry that carries on, and one for each "
            "digit to keep in the head between terms.",
            _style(8),
        ),
    ]


def _in_a_line(terms: Sum) -> str:
    first, *rest = terms.terms
    written = (f"{'+' if t > 0 else MINUS}{NO_BREAK}{abs(t)}" for t in rest)
    return " ".join([signed(first), *written])


def rules_text(terms: Sum, columns: int) -> str:
    """The rules of a sum's moves with their number of uses, the direct moves left out."""
    uses: Counter[Rule] = Counter(
        move.rule for _, move in all_moves(terms.terms, columns) if move.rule != DIRECT
    )
    if not uses:
        return "direct"
    named = (
        rule.name.replace("-", MINUS) + (f"{NO_BREAK}×{NO_BREAK}{number}" if number > 1 else "")
        for rule, number in sorted(uses.items())
    )
    return ", ".join(named)


def _table_style(right: Sequence[int]) -> TableStyle:
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


# --- the reading script


def _script_part(sheet: Sheet, width: float) -> list[Flowable]:
    longest = max(len(s.terms) for s in sheet.sums)
    seconds = sum(len(s.terms) for s in sheet.sums) * sheet.pace
    how = (
        f"Read one term every {sheet.pace:g} seconds ({60 / sheet.pace:.0f} beats a minute on a "
        "metronome), in a steady voice. The figures above the columns are the seconds from the "
        "first term's beginning to the beginning of each term"
        f"{'' if longest <= 12 else '; a line that goes on says how many more'}. "
        f"{counted(len(sheet.sums), 'sum')} take{'s' if len(sheet.sums) == 1 else ''} "
        f"{_minutes(seconds)} of reading, without the answers. "
        "Keep the volume modest and take breaks."
    )
    story: list[Flowable] = [
        Paragraph("Reading script", _style(15, bold=True)),
        Paragraph(escape(sheet.title), _style(9)),
        Spacer(1, 2 * mm),
        Paragraph(how, _style(9)),
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
        style=_table_style(right=range(a_row + 2)),
    )
    story += [table, Spacer(1, 6 * mm), *_code_part(sheet, width)]
    return story


def _minutes(seconds: float) -> str:
    whole = round(seconds)
    if whole < 60:
        return f"{whole} seconds"
    return f"{whole // 60} min {whole % 60:02d} s"


def _code_part(sheet: Sheet, width: float) -> list[Flowable]:
    if len(sheet.code) > LONGEST_QR:
        return [
            Paragraph(
                "This set is too long for one QR code: keep the sums themselves, as a file.",
                _style(8),
            )
        ]
    picture = qr_drawing(sheet.code)
    words = Paragraph(
        "The code holds this very set: its sums in this order, the pace, the step. Scan it and "
        "give the text to <b>oralquiz compose --from-code</b> or <b>oralquiz sheet "
        "--from-code</b>. It holds no names.",
        _style(8),
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
