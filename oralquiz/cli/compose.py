"""`oralquiz compose`: sums for a step of the syllabus."""

from __future__ import annotations

import secrets

import click

from oralquiz.beads.syllabus import Span
from oralquiz.cli.common import json_option, print_json
from oralquiz.compose import load_syllabus, request_for
from oralquiz.compose.spans import parse_span


class SpanType(click.ParamType[Span]):
    """A number or a range of numbers."""

    name = "number or range"

    def __init__(self, lowest: int) -> None:
        self.lowest = lowest

    def convert(
        self, value: str | Span, param: click.Parameter | None, ctx: click.Context | None
    ) -> Span:
        if isinstance(value, tuple):
            return value
        return parse_span(value, param.opts[0] if param else "this", self.lowest)


@click.command()
@click.option("--step", default=None, help="The step whose rule is drilled, such as five:+3.")
@click.option("--count", type=click.IntRange(1, 100_000), default=10, show_default=True)
@click.option("--terms", type=click.IntRange(1, 50), default=None, help="Terms of a sum.")
@click.option("--digits", type=SpanType(1), default=None, help="Digits of a term: 2, or 1-2.")
@click.option("--columns", type=click.IntRange(1, 6), default=None, help="Columns of the frame.")
@click.option("--uses", type=click.IntRange(1), default=1, show_default=True)
@click.option("--seed", type=int, default=None, help="The same seed gives the same sums.")
@click.option("--syllabus", "course", default="two-hands", show_default=True)
@json_option
def compose(
    step: str | None,
    count: int,
    terms: int | None,
    digits: Span | None,
    columns: int | None,
    uses: int,
    seed: int | None,
    course: str,
    as_json: bool,
) -> None:
    """Sums that drill the rule of a step and use only rules taught so far."""
    from oralquiz.compose.composed import compose as compose_sums

    syllabus = load_syllabus(course)
    step = step or syllabus.steps[0].name
    seed = secrets.randbelow(1_000_000) if seed is None else seed
    request = request_for(syllabus, step, uses, terms=terms, digits=digits, columns=columns)
    composed = compose_sums(request, count, seed)
    if as_json:
        print_json(
            {
                "step": syllabus.step(step).name,
                "seed": seed,
                "count": str(composed.total),
                "exact": composed.exact,
                "sums": [list(terms.terms) for terms in composed.sums],
            }
        )
        return
    for terms_ in composed.sums:
        click.echo(f"{terms_} = {terms_.answer}")
    click.echo(f"{composed.total:,} such sums; seed {seed}", err=True)
