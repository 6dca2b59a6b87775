"""Sums a teacher wrote: a text file or a CSV file, one sum a line.

Text: ``34 + 13 - 22``, and if you like its answer, ``= 25``, and a number before it, ``7)``.
CSV: the terms of one sum in a row, ``34,13,-22``, apart by comma, semicolon or tab. A first
row of headings is left out; a column headed "answer" holds the answers. Empty lines and what
follows a # are left out.
"""

from __future__ import annotations

import csv
import re
from dataclasses import dataclass
from pathlib import Path

from oralquiz.beads import Sum
from oralquiz.errors import BadInput

_NUMBERED = re.compile(r"\s*[0-9]+\s*[).:]\s+")
_TERM_CELL = re.compile(r"\s*([+\-−–]?)\s*([0-9]+)\s*")


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
    found: list[WrittenSum] = []
    answer_at: int | None = None
    for number, line in enumerate(text.splitlines(), start=1):
        written = line.split("#")[0].strip()
        if not written:
            continue
        if not found and _are_headings(written):
            answer_at = _answer_column(written)
            continue
        try:
            terms, answer = _parse(written, answer_at)
            found.append(WrittenSum(number, written, terms, answer))
        except BadInput as error:
            found.append(WrittenSum(number, written, None, problem=str(error)))
    return tuple(found)


def _cells(written: str) -> list[str]:
    """The cells of a CSV row; one cell if nothing separates any."""
    separator = next((mark for mark in (";", "\t", ",") if mark in written), None)
    if separator is None:
        return [written]
    return [cell.strip() for cell in next(csv.reader([written], delimiter=separator))]


def _are_headings(written: str) -> bool:
    return all(cell[:1].isalpha() for cell in _cells(written) if cell)


def _answer_column(headings: str) -> int | None:
    names = [cell.casefold() for cell in _cells(headings)]
    return names.index("answer") if "answer" in names else None


def _parse(written: str, answer_at: int | None) -> tuple[Sum, int | None]:
    cells = _cells(written)
    if len(cells) > 1:
        answer = None
        if answer_at is not None and answer_at < len(cells):
            given = cells.pop(answer_at)
            answer = _cell(given) if given else None
        return Sum(tuple(_cell(cell) for cell in cells if cell)), answer
    written = _NUMBERED.sub("", written, count=1)
    before, equals, after = written.partition("=")
    terms = Sum.parse(before)
    after = after.strip()
    if not equals or not after.strip("_.?… "):  # a line to write the answer on
        return terms, None
    return terms, _cell(after)


def _cell(cell: str) -> int:
    match = _TERM_CELL.fullmatch(cell)
    if match is None:
        raise BadInput(f"'{cell.strip()}' is not a whole number")
    if len(match[2]) > 9:
        raise BadInput(f"'{cell.strip()}' has more than 9 digits")
    return _signed(match)


def _signed(match: re.Match[str]) -> int:
    return int(match[2]) * (-1 if match[1] in ("-", "−", "–") else 1)
