"""`oralquiz syllabus`: the steps of a course, the rules each adds, and how many sums there are."""

from __future__ import annotations

from typing import Any

import click

from oralquiz.beads import Step, Syllabus
from oralquiz.cli.common import echo, json_option, print_json
from oralquiz.compose import load_syllabus, range_text, request_for, shipped_syllabi
from oralquiz.errors import BadInput

COMMON = ((5, 1), (5, 2), (10, 3))
"""The common requests whose sums are counted: terms, and uses of the drilled rule."""

WORDS = 26
"""The least width, in characters, of the columns for what a step teaches and adds, with rules."""


@click.command()
@click.argument("name", default="two-hands", metavar="[NAME or FILE]")
@click.option(
    "--list", "list_them", is_flag=True, help="List the courses that come with the program."
)
@click.option("--no-counts", is_flag=True, help="Do not count the sums.")
@json_option
def syllabus(name: str, list_them: bool, no_counts: bool, as_json: bool) -> None:
    """The steps of a course: one that comes with the program, or your own TOML file.

    It counts the sums of 5 terms that use the step's rule once or twice, and those of 10 terms
    that use it three times; where a course sets the number of terms, it counts such sums instead.
    """
    if list_them:
        _list(as_json)
        return
    from rich.progress import track
    from rich.table import Column, Table

    from oralquiz.cli.console import console_for

    course = load_syllabus(name)
    console = console_for(stderr=True)
    steps = [
        _step(course, step, with_counts=not no_counts)
        for step in track(
            course.steps,
            "counting",
            console=console,
            transient=True,
            disable=no_counts or not console.is_terminal,
        )
    ]
    if as_json:
        print_json(
            {
                "name": course.name,
                "title": course.title,
                "columns": course.columns,
                "source": course.source,
                "caveat": course.caveat,
                "steps": steps,
            }
        )
        return
    table = Table(
        Column("step", no_wrap=True),
        "what it teaches",
        "adds",
        title=course.title,
        title_justify="left",
    )
    out = console_for()
    columns, left_out = _that_fit(steps, out.width)
    for asked in columns:
        table.add_column(asked, justify="right", no_wrap=True)
    for step in steps:
        counts = {count["asked"]: count["text"] for count in step.get("counts", [])}
        table.add_row(
            step["name"],
            step["title"],
            _rules(step["rules"]),
            *(counts.get(c, "") for c in columns),
        )
    out.print(table)
    if left_out:
        out.print(f"The window is too narrow for {', '.join(left_out)}: widen it, or use --json.")
    out.print(f"Source: {course.source}" if course.source else "")
    out.print(course.caveat)


def _that_fit(steps: list[dict[str, Any]], width: int) -> tuple[list[str], list[str]]:
    """Which columns of counts fit into the window beside the words, and which do not."""
    widths: dict[str, int] = {}
    for count in (count for step in steps for count in step.get("counts", [])):
        asked = count["asked"]
        widths[asked] = max(widths.get(asked, len(asked)), len(count["text"]))
    left = width - max(len(step["name"]) for step in steps) - WORDS
    columns: list[str] = []
    for asked, needed in widths.items():
        left -= needed + 3
        if left < 0:
            break
        columns.append(asked)
    return columns, list(widths)[len(columns) :]


def _step(course: Syllabus, step: Step, with_counts: bool) -> dict[str, Any]:
    shape = {
        "columns": step.columns or course.columns,
        "terms": range_text(step.terms) if step.terms else None,
        "digits": range_text(step.digits) if step.digits else None,
    }
    return {
        "name": step.name,
        "title": step.title,
        "rules": [rule.name for rule in step.adds],
        "drill": [rule.name for rule in step.drill],
        **shape,
        **({"counts": _counts(course, step)} if with_counts else {}),
    }


def _counts(course: Syllabus, step: Step) -> list[dict[str, Any]]:
    from oralquiz.compose import count_sums

    asked = COMMON if step.terms is None else ((step.terms[1], 1),)
    counts: list[dict[str, Any]] = []
    for terms, uses in asked:
        try:
            count = count_sums(request_for(course, step.name, uses, terms=terms))
        except BadInput as error:
            raise BadInput(f"{course.name}, step {step.name}: {error}") from None
        counts.append(
            {
                "terms": terms,
                "uses": uses,
                "asked": f"{terms} terms, {uses}x" if step.terms is None else "sums",
                "count": None if count.total is None else str(count.total),
                "exact": count.exact,
                "estimate": count.estimate,
                "text": str(count).split(" (")[0].replace("about ", "~"),
            }
        )
    return counts


def _rules(names: list[str]) -> str:
    return "every rule" if len(names) > 30 else " ".join(names)


def _list(as_json: bool) -> None:
    courses = [load_syllabus(name) for name in shipped_syllabi()]
    if as_json:
        print_json({"courses": [{"name": c.name, "title": c.title} for c in courses]})
        return
    for course in courses:
        echo(f"{course.name:14} {course.title} ({len(course.steps)} steps)")
