"""`oralquiz syllabus`: the steps of a course and the rules each adds."""

from __future__ import annotations

import click
from rich.console import Console
from rich.table import Table

from oralquiz.cli.common import json_option, print_json
from oralquiz.compose import load_syllabus


@click.command()
@click.argument("name", default="two-hands", metavar="[NAME or FILE]")
@json_option
def syllabus(name: str, as_json: bool) -> None:
    """The steps of a course: a shipped one, or a teacher's own TOML file."""
    course = load_syllabus(name)
    if as_json:
        print_json(
            {
                "name": course.name,
                "title": course.title,
                "columns": course.columns,
                "steps": [
                    {
                        "name": step.name,
                        "title": step.title,
                        "rules": [rule.name for rule in step.adds],
                    }
                    for step in course.steps
                ],
            }
        )
        return
    table = Table("step", "what it teaches", "rules it adds", title=course.title)
    for step in course.steps:
        table.add_row(step.name, step.title, " ".join(rule.name for rule in step.adds))
    Console().print(table)
