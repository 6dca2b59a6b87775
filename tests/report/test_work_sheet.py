"""The printed set: what is on the pages, and a QR code that an independent reader can read."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import pypdfium2 as pdfium
import pytest
import zxingcpp

from oralquiz.beads import Sum
from oralquiz.compose import load_syllabus, request_for
from oralquiz.compose.set_code import decode
from oralquiz.compose.sets import compose_set
from oralquiz.errors import BadInput
from oralquiz.report.answer_key import rules_text
from oralquiz.report.sheet import Sheet
from oralquiz.report.work_sheet import render_sheet, write_sheet
from tests.sizes import size

pytestmark = pytest.mark.slow

SUMS = compose_set(
    [request_for(load_syllabus(), "ten:+9", terms=n) for n in (4, 5, 6)], 20, seed=1
).sums
SHEET = Sheet(SUMS, 2, "ten:+9", "+ 9 is + 10 − 1", 2.5)


@contextmanager
def opened(data: bytes) -> Iterator[pdfium.PdfDocument]:
    document = pdfium.PdfDocument(data)
    try:
        yield document
    finally:
        document.close()


def text_of(data: bytes) -> list[str]:
    """The text of each page, by PDFium."""
    pages: list[str] = []
    with opened(data) as document:
        for page in document:
            text = page.get_textpage()
            pages.append(text.get_text_range())
            text.close()
            page.close()
    return pages


def codes_of(data: bytes, dots_per_inch: int = 300) -> list[str]:
    """What ZXing reads on the rendered pages."""
    found: list[str] = []
    with opened(data) as document:
        for page in document:
            picture = page.render(scale=dots_per_inch / 72).to_pil().convert("L")
            codes = zxingcpp.read_barcodes(
                picture,
                zxingcpp.BarcodeFormats([zxingcpp.BarcodeFormat.QRCode]),
                try_rotate=False,
                try_downscale=False,
            )
            found += [code.text for code in codes]
            page.close()
    return found


def test_three_parts_each_with_every_sum() -> None:
    data, pages = render_sheet(SHEET)
    texts = text_of(data)
    assert len(texts) == pages == 3
    assert all("+ 9 is + 10 − 1" in text for text in texts)
    assert "Name" in texts[0]
    assert "Answers and rules" in texts[1]
    assert "Reading script" in texts[2]
    for each in SUMS:
        for term in each.terms:
            assert str(abs(term)) in texts[0]
            assert str(abs(term)) in texts[2]


def test_the_pupils_part_has_no_answers_and_no_rules() -> None:
    sheet = replace(SHEET, sums=(Sum((11, 22)), Sum((40, 44))))
    texts = text_of(render_sheet(sheet)[0])
    assert "33" not in texts[0]
    assert "84" not in texts[0]
    assert "33" in texts[1]
    assert "84" in texts[1]


def test_the_key_names_the_rules() -> None:
    assert rules_text(Sum((11, 19, -10)), 2) == "ten:+9"
    assert rules_text(Sum((9, 9, 9)), 2) == "ten:+9\N{NO-BREAK SPACE}×\N{NO-BREAK SPACE}2"
    assert rules_text(Sum((12, 12)), 2) == "direct"
    assert rules_text(Sum((7, 6, -4)), 2) == "both:+6, ten:−4"


def test_the_script_gives_the_pace_and_the_onsets() -> None:
    text = " ".join(text_of(render_sheet(replace(SHEET, pace=3.0))[0])[2].split())
    assert "one term every 3 seconds (20 beats a minute" in text
    assert "0 s 3 s 6 s 9 s 12 s 15 s" in text
    terms = sum(len(each.terms) for each in SUMS)
    assert f"20 sums take {terms * 3 // 60} min {terms * 3 % 60:02d} s of reading" in text


def test_no_line_of_the_key_ends_with_a_sign() -> None:
    long = Sum((10, *(12, -11) * 20))
    lines = text_of(render_sheet(replace(SHEET, sums=(long,)))[0])[1].splitlines()
    assert sum("12" in line for line in lines) > 2  # it takes several lines
    assert not [line for line in lines if line.rstrip().endswith(("+", "−"))]


def test_a_long_title_leaves_the_page_number_its_place() -> None:
    lines = text_of(render_sheet(replace(SHEET, title="word " * 60))[0])[0].splitlines()
    (footer,) = [line for line in lines if "..." in line]
    assert " ".join(footer.split()).endswith("... 1")
    assert 40 < len(footer) < 150


@pytest.mark.parametrize("paper", ["a4", *size([], ["letter"])])
def test_the_code_opens_the_same_set(paper: str) -> None:
    data, _ = render_sheet(replace(SHEET, paper=paper))
    (text,) = codes_of(data)
    code = decode(text)
    assert (code.sums, code.columns, code.pace, code.step) == (SUMS, 2, 2.5, "ten:+9")


def test_a_large_set_has_a_large_code_that_still_reads() -> None:
    sums = tuple(Sum((10 + n % 80, 11, -10 - n % 5, 13)) for n in range(150))
    data, pages = render_sheet(replace(SHEET, sums=sums))
    assert pages > 3
    (text,) = codes_of(data)
    assert decode(text).sums == sums


def test_a_set_too_large_for_a_code_says_so() -> None:
    sums = tuple(Sum((10000 + n, 11111, -10000 - n, 13)) for n in range(200))
    data, _ = render_sheet(replace(SHEET, sums=sums, columns=5))
    assert codes_of(data, 100) == []
    assert "too long for one QR code" in text_of(data)[-1]


@pytest.mark.parametrize(
    ("paper", "width_mm", "height_mm"), [("a4", 210, 297), ("letter", 215.9, 279.4)]
)
def test_the_paper_has_its_size(paper: str, width_mm: float, height_mm: float) -> None:
    # A4: ISO 216; Letter: ANSI/ASME Y14.1, 8.5 x 11 in
    with opened(render_sheet(replace(SHEET, paper=paper))[0]) as document:
        width, height = document.get_page_size(0)
    assert width * 25.4 / 72 == pytest.approx(width_mm, abs=0.2)
    assert height * 25.4 / 72 == pytest.approx(height_mm, abs=0.2)


@pytest.mark.parametrize(
    "sums",
    [
        (Sum((1,)),),
        tuple(Sum(tuple(range(1, 51))) for _ in range(3)),
        tuple(Sum((99999, -88888, 12345)) for _ in range(40)),
        (Sum((3, -9)),),
    ],
)
def test_nothing_is_printed_outside_the_margins(sums: tuple[Sum, ...]) -> None:
    data, _ = render_sheet(replace(SHEET, sums=sums, columns=5))
    with opened(data) as document:
        for page in document:
            picture = page.render(scale=1).to_pil().convert("L")
            page.close()
            box = picture.point(lambda level: 255 if level < 128 else 0).getbbox()
            assert box is not None
            margin = 16 / 25.4 * 72 - 1.5
            assert box[0] >= margin
            assert box[2] <= picture.width - margin


def test_the_same_sheet_is_the_same_file() -> None:
    assert render_sheet(SHEET)[0] == render_sheet(SHEET)[0]


def test_what_cannot_be_printed_is_refused(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="has no '漢字': give one that has, with --font"):
        render_sheet(replace(SHEET, title="漢字"))
    with pytest.raises(BadInput, match="cannot be used as a TrueType font"):
        render_sheet(replace(SHEET, font=tmp_path / "none.ttf"))
    with pytest.raises(BadInput, match="at least one sum"):
        render_sheet(replace(SHEET, sums=()))
    with pytest.raises(BadInput, match="cannot be written"):
        write_sheet(SHEET, tmp_path / "no" / "folder.pdf")
