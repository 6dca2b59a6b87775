"""`oralquiz sheet`: a set of sums on paper."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import click

from oralquiz.beads import Sum, check_fits
from oralquiz.cli.common import echo, json_option, print_json
from oralquiz.cli.sum_options import SumOptions, sum_options
from oralquiz.compose import counted, decode
from oralquiz.errors import BadInput, OralquizError


@click.command()
@sum_options
@click.option(
    "--out",
    type=click.Path(path_type=Path, dir_okay=False),
    default="sheet.pdf",
    show_default=True,
    help="The PDF to write.",
)
@click.option(
    "--paper",
    type=click.Choice(["a4", "letter"], case_sensitive=False),
    default="a4",
    show_default=True,
    help="The size of the paper.",
)
@click.option(
    "--pace",
    type=click.FloatRange(0.3, 60),
    help="Seconds from one term to the next, for the reading script.  [default: 2.5]",
)
@click.option("--title", help="The title at the top. Default: what the step teaches.")
@click.option(
    "--font",
    type=click.Path(path_type=Path),
    help="A TrueType font, for a title in a script that the built-in font lacks.",
)
@click.option("--from-code", metavar="CODE", help="Print the set that a code holds.")
@click.option(
    "--from-file", type=click.Path(path_type=Path), help="Print your own sums (text or CSV)."
)
@json_option
def sheet(
    out: Path,
    paper: str,
    pace: float | None,
    title: str | None,
    font: Path | None,
    from_code: str | None,
    from_file: Path | None,
    as_json: bool,
    **options: Any,
) -> None:
    """A PDF of a graded set: the pupil's sheet, the key with the rules, a reading script.

    The script shows the pace and a QR code that opens the same set again.
    """
    from oralquiz.report import MINUS, Sheet, write_sheet

    asked = SumOptions(**options)
    if from_code is not None and from_file is not None:
        raise BadInput("--from-code and --from-file do not go together")
    note = ""
    if from_code is not None:
        opened = decode(from_code)
        sums, columns, step = opened.sums, opened.columns, opened.step
        for number, each in enumerate(sums, start=1):
            below_zero = asked.below_zero or min(each.totals) < 0
            _check(each, columns, below_zero, f"the code, sum {number}")
        pace = pace or opened.pace
        title = title or _title_of(asked, step)
    elif from_file is not None:
        sums, columns = _own_sums(asked, from_file)
        step = asked.chosen_step.name if asked.step else ""
        title = title or from_file.stem
    else:
        sums, columns, note = _composed(asked)
        step = asked.chosen_step.name
        title = title or asked.chosen_step.title or step
    made = Sheet(
        sums=sums,
        columns=columns,
        step=step,
        title=re.sub(r"(?<!\S)-(?= )", MINUS, title),
        pace=pace or 2.5,
        paper=paper.lower(),
        note=note,
        font=font,
    )
    pages = write_sheet(made, out)
    if as_json:
        print_json(
            {
                "file": str(out),
                "pages": pages,
                "code": made.code,
                "sums": [list(each.terms) for each in sums],
            }
        )
    else:
        echo(f"{out}: {counted(len(sums), 'sum')} on {pages} pages")


def _composed(asked: SumOptions) -> tuple[tuple[Sum, ...], int, str]:
    from oralquiz.compose import compose_set

    requests = asked.requests()
    made = compose_set(requests, asked.count, asked.chosen_seed, asked.sums_to_avoid())
    if not made.sums:
        raise OralquizError(
            f"there is no such sum for {asked.chosen_step.name}: "
            "`oralquiz compose` with the same options says what to change"
        )
    columns = requests[0].columns
    frame = "two hands" if columns == 2 else counted(columns, "column")
    return made.sums, columns, f"{asked.syllabus.title} · {frame} · seed {asked.chosen_seed}"


def _own_sums(asked: SumOptions, file: Path) -> tuple[tuple[Sum, ...], int]:
    from oralquiz.compose import read_sums

    columns = asked.columns or asked.chosen_step.columns or asked.syllabus.columns
    sums: list[Sum] = []
    for written in read_sums(file):
        if written.terms is None:
            raise BadInput(f"{file}, line {written.line}: {written.problem}")
        _check(written.terms, columns, asked.below_zero, f"{file}, line {written.line}")
        sums.append(written.terms)
    return tuple(sums), columns


def _check(terms: Sum, columns: int, below_zero: bool, where: str) -> None:
    """Raise BadInput that says ``where`` if the sum leaves the frame."""
    try:
        check_fits(terms, columns, below_zero)
    except BadInput as error:
        raise BadInput(f"{where}: {error}") from None


def _title_of(asked: SumOptions, step: str) -> str:
    known = {each.name.casefold(): each for each in asked.syllabus.steps}
    return known[step].title if step in known else step or "Sums"
