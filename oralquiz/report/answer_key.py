"""The key of a work sheet: every answer, the rules it needs, how hard it is."""

from __future__ import annotations

from collections import Counter
from typing import Any
from xml.sax.saxutils import escape

from reportlab.lib.units import mm
from reportlab.platypus import Flowable, Paragraph, Spacer, Table

from oralquiz.beads import DIRECT, Rule, Sum
from oralquiz.compose import all_moves, difficulty_of
from oralquiz.report.sheet import MINUS, Sheet, signed, style, table_style

NO_BREAK = "\N{NO-BREAK SPACE}"


def key_part(sheet: Sheet, width: float) -> list[Flowable]:
    rows: list[list[Any]] = [["", "sum", "answer", "rules, and how often", "load"]]
    for number, terms in enumerate(sheet.sums, start=1):
        rows.append(
            [
                str(number),
                Paragraph(_in_a_line(terms), style(9)),
                signed(terms.answer),
                Paragraph(escape(rules_text(terms, sheet.columns)), style(8.5)),
                str(difficulty_of(terms.terms, sheet.columns).points),
            ]
        )
    table = Table(
        rows,
        colWidths=[9 * mm, width * 0.38, 17 * mm, None, 12 * mm],
        repeatRows=1,
        style=table_style(right=(0, 2, 4)),
    )
    return [
        Paragraph("Answers and rules", style(15, bold=True)),
        Paragraph(escape(sheet.title), style(9)),
        Spacer(1, 4 * mm),
        table,
        Spacer(1, 3 * mm),
        Paragraph(
            "Load orders the sums from easier to harder: a point for each move, one more for a "
            "five or a ten, two more for both, one for a carry that carries on, and one for each "
            "digit to keep in the head between terms.",
            style(8),
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
