"""Sums a teacher wrote: a text file or a CSV file, one sum a line.

Text: ``34 + 13 - 22``, with its answer if you like, ``= 25``, and a number before it, ``7)``.
CSV: the terms of one sum in a row, ``34,13,-22``, separated by comma, semicolon or tab. A first
row of headings is left out; a column headed "answer" holds the answers. Empty lines and
whatever follows a # are left out.
"""

from __future__ import annotations

import csv
import re
from dataclasses import dataclass
from pathlib import Path

from oralquiz.beads import MAX_COLUMNS, Sum
from oralquiz.errors import BadInput, excerpt

_NUMBERED = re.compile(r"\s*[0-9]+\s*[).:]\s+")
_NUMBER = re.compile(r"(?:([+\-−–])\s*)?([0-9]+)")


@dataclass(frozen=True)
class WrittenSum:
    """One line of the file: its number (from 1) and text, and the sum or why it cannot be read.

    ``answer`` is the answer the teacher wrote, None if there is none.
    """

    line: int
    text: str
    terms: Sum | None
    answer: int | None = None
    problem: str = ""


def read_sums(path: Path) -> tuple[WrittenSum, ...]:
    """Every line that holds a sum. Raises BadInput for a file that cannot be read at all."""
    try:
        text = path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        raise BadInput(f"{path}: there is no such file") from None
    except (OSError, UnicodeDecodeError) as error:
        raise BadInput(f"{path}: cannot be read as text ({error})") from None
    found = parse_sums(text)
    if not found:
        raise BadInput(f"{path}: there is no sum in it")
    return found


def parse_sums(text: str) -> tuple[WrittenSum, ...]:
    """As `read_sums`, from the text of a file. Takes time in proportion to its length."""
    found: list[WrittenSum] = []
    answer_at: int | None = None
    for number, line in enumerate(text.splitlines(), start=1):
        written = line.split("#")[0].rstrip()
        if not written:
            continue
        try:
            if not found and _are_headings(written):
                answer_at = _answer_column(written)
                continue
            terms, answer = _parse(written, answer_at)
            found.append(WrittenSum(number, written.strip(), terms, answer))
        except BadInput as error:
            found.append(WrittenSum(number, _shown(written), None, problem=str(error)))
    return tuple(found)


def _shown(written: str) -> str:
    """A line that cannot be read, cut short where it is long."""
    written = written.strip()
    return written if len(written) <= 100 else f"{written[:100]}…"


def _cells(written: str) -> list[str]:
    """The cells of a CSV row; one cell if nothing separates any."""
    separator = next((mark for mark in (";", "\t", ",") if mark in written.strip()), None)
    if separator is None:
        return [written]
    try:
        return [cell.strip() for cell in next(csv.reader([written], delimiter=separator))]
    except csv.Error:
        longest = csv.field_size_limit()
        raise BadInput(
            f"{excerpt(written)}: one cell has more than {longest:,} characters"
        ) from None


def _are_headings(written: str) -> bool:
    cells = [cell for cell in _cells(written) if cell.strip()]
    is_a_table = len(cells) > 1 or not any(mark.isdigit() for mark in written)
    return is_a_table and all(cell.strip()[0].isalpha() for cell in cells)


def _answer_column(headings: str) -> int | None:
    names = [cell.strip().casefold() for cell in _cells(headings)]
    return names.index("answer") if "answer" in names else None


def _parse(written: str, answer_at: int | None) -> tuple[Sum, int | None]:
    cells = _cells(written)
    if len(cells) > 1:
        return _parse_cells(cells, answer_at)
    before, equals, after = written.partition("=")
    numbered = _NUMBERED.match(before)
    if numbered:  # blanks in its place: characters are counted from the start of the line
        before = " " * numbered.end() + before[numbered.end() :]
    terms = Sum.parse(before)
    if not equals or not after.strip("_.?… "):  # a line to write the answer on
        return terms, None
    return terms, _whole_number(after, "the answer")


def _parse_cells(cells: list[str], answer_at: int | None) -> tuple[Sum, int | None]:
    answer = None
    terms: list[int] = []
    for index, cell in enumerate(cells):
        if not cell:
            continue
        number = _whole_number(cell, f"cell {index + 1}")
        if index == answer_at:
            answer = number
        else:
            terms.append(number)
    return Sum(tuple(terms)), answer


def _whole_number(text: str, name: str) -> int:
    match = _NUMBER.fullmatch(text.strip())
    if match is None:
        raise BadInput(f"{name}: {excerpt(text)} is not a whole number")
    if len(match[2]) > MAX_COLUMNS:
        raise BadInput(f"{name}: {excerpt(text)} has more than {MAX_COLUMNS} digits")
    return int(match[2]) * (-1 if match[1] in ("-", "−", "–") else 1)
