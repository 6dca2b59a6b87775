"""`oralquiz explain`: every correct move of a sum."""

from __future__ import annotations

from typing import Any

import click
from rich.table import Table

from oralquiz.beads import MAX_COLUMNS, Move, MoveOrder, Sum, TermMoves
from oralquiz.beads import explain as play
from oralquiz.cli.common import SUM_ARGUMENT, json_option, print_json
from oralquiz.cli.console import console_for


def move_as_json(move: Move) -> dict[str, Any]:
    return {
        "column": move.column,
        "digit": move.digit,
        "rule": move.rule.name,
        "before": move.before,
        "after": move.after,
        "carry": move.carry,
        "beads": [[step.column, step.bead, step.count] for step in move.beads],
    }


def term_as_json(played: TermMoves) -> dict[str, Any]:
    return {
        "term": played.term,
        "before": played.before,
        "after": played.after,
        "moves": [move_as_json(move) for move in played.moves],
    }


@click.command(context_settings=SUM_ARGUMENT)
@click.argument("text", metavar="SUM")
@click.option(
    "--columns",
    type=click.IntRange(1, MAX_COLUMNS),
    default=2,
    show_default=True,
    help="Columns of the frame; 2 is two hands.",
)
@click.option(
    "--move-order",
    type=click.Choice([order.value for order in MoveOrder]),
    default=MoveOrder.FIVE_FIRST.value,
    show_default=True,
    help="The order inside one move, by school: + 5 - 2 or - 2 + 5.",
)
@json_option
def explain(text: str, columns: int, move_order: str, as_json: bool) -> None:
    """Every correct move of SUM, such as "34 + 13 - 22"."""
    terms = Sum.parse(text)
    played = play(terms, columns, MoveOrder(move_order))
    if as_json:
        print_json(
            {
                "sum": str(terms),
                "columns": columns,
                "move_order": move_order,
                "answer": terms.answer,
                "terms": [term_as_json(term) for term in played],
            }
        )
        return
    table = Table("term", "column", "rule", "beads", "shows", title=f"{terms} = {terms.answer}")
    for term in played:
        for index, move in enumerate(term.moves):
            table.add_row(
                f"{term.term:+d}" if index == 0 else "",
                f"{10**move.column}s" + (" (carried)" if move.carry else ""),
                move.rule.name,
                ", ".join(
                    f"{5 * step.count:+d}" if step.bead == "five" else f"{step.count:+d}"
                    for step in move.beads
                ),
                f"{move.before} → {move.after}",
            )
        table.add_section()
    console_for().print(table)
