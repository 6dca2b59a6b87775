"""`oralquiz diagnose`: the slips that explain a wrong answer."""

from __future__ import annotations

import re

import click
from rich.table import Table

from oralquiz.beads import MAX_COLUMNS, Sum
from oralquiz.cli.common import SUM_ARGUMENT, json_option, print_json
from oralquiz.cli.console import console_for
from oralquiz.judge import Diagnosis, languages, phrases, sentence
from oralquiz.judge import as_json as diagnosis_as_json
from oralquiz.judge import diagnose as explain_answer


@click.command(context_settings=SUM_ARGUMENT)
@click.argument("text", metavar="SUM")
@click.option("--heard", type=int, required=True, help="The answer that was heard.")
@click.option(
    "--columns",
    type=click.IntRange(1, MAX_COLUMNS),
    default=2,
    show_default=True,
    help="Columns of the frame; 2 is two hands.",
)
@click.option(
    "--previous", type=click.IntRange(0), help="The answer to the sum before, if there was one."
)
@click.option(
    "--most",
    type=click.IntRange(1),
    default=8,
    show_default=True,
    help="Show at most this many explanations.",
)
@click.option(
    "--language",
    type=click.Choice(languages()),
    default="en",
    show_default=True,
    help="The language of the sentences.",
)
@json_option
def diagnose(
    text: str,
    heard: int,
    columns: int,
    previous: int | None,
    most: int,
    language: str,
    as_json: bool,
) -> None:
    """The slips that would lead from SUM to the number heard, the likeliest first.

    If no single slip leads to the number, pairs of slips are tried.
    """
    diagnosis = explain_answer(Sum.parse(text), heard, columns, previous)
    if as_json:
        print_json(diagnosis_as_json(diagnosis, language, most))
        return
    _print(diagnosis, most, language)


def _print(diagnosis: Diagnosis, most: int, language: str) -> None:
    words = phrases(language)["answer"]
    values = {
        "sum": str(diagnosis.terms).replace("-", "−"),
        "answer": diagnosis.terms.answer,
        "heard": diagnosis.heard,
    }
    console = console_for()
    if diagnosis.right:
        console.print(words["right"].format_map(values))
        return
    console.print(words["wrong"].format_map(values))
    table = Table(box=None, show_header=False, padding=(0, 2, 0, 0))
    table.add_column(justify="right", no_wrap=True)
    table.add_column()
    for explanation in diagnosis.explanations[:most]:
        said = _unbroken(sentence(explanation, diagnosis, language))
        table.add_row(_percent(explanation.probability), said)
    hidden = diagnosis.explanations[most:]
    if hidden:
        left = sum(explanation.probability for explanation in hidden)
        table.add_row(_percent(left), words["more"].format(count=len(hidden)))
    if diagnosis.two_slips:
        table.add_row(_percent(diagnosis.two_slips), words["two_slips"])
    table.add_row(_percent(diagnosis.unexplained), words["unexplained"])
    console.print(table)


def _unbroken(text: str) -> str:
    """``text`` with every sign kept on the same line as its number."""
    return re.sub(r"([+−]) (?=\d)", "\\1\u00a0", text)


def _percent(probability: float) -> str:
    return "< 1 %" if probability < 0.01 else f"{100 * probability:.0f} %"
