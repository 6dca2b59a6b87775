"""`oralquiz pupils`: who there is, their scores, consent, and erasing for good."""

from __future__ import annotations

from dataclasses import asdict
from datetime import UTC, datetime

import click

from oralquiz.cli.common import json_option, print_json


@click.group(invoke_without_command=True)
@json_option
@click.pass_context
def pupils(ctx: click.Context, as_json: bool) -> None:
    """The pupils with their scores; without a subcommand, all of them."""
    if ctx.invoked_subcommand is not None:
        return
    from rich.console import Console

    from oralquiz.cli.screen import score_table
    from oralquiz.records.database import open_records
    from oralquiz.records.pupils import pupils as everyone
    from oralquiz.records.scores import scores

    db = open_records()
    known, result = everyone(db), {score.pupil: score for score in scores(db)}
    if as_json:
        print_json(
            [
                {
                    "pupil": pupil.name,
                    "class": pupil.class_name,
                    "consent": pupil.consent,
                    "score": asdict(result[pupil.name].total) if pupil.name in result else None,
                    "by_rule": asdict(result[pupil.name])["by_rule"]
                    if pupil.name in result
                    else {},
                }
                for pupil in known
            ]
        )
        return
    if not known:
        click.echo("No pupils yet: oralquiz pupils add NAME")
        return
    for pupil in known:
        consent = "voice may be kept" if pupil.consent else "voice is not kept"
        click.echo(f"{pupil.name}  {pupil.class_name}  ({consent})")
    Console().print(score_table(list(result.values())))


@pupils.command()
@click.argument("name")
@click.option("--class", "class_name", default="", help="The class the pupil belongs to.")
@click.option("--consent", is_flag=True, help="A parent agreed that the voice is recorded.")
def add(name: str, class_name: str, consent: bool) -> None:
    """Add the pupil NAME."""
    from oralquiz.records.database import open_records
    from oralquiz.records.pupils import add_pupil

    now = datetime.now(UTC).isoformat(timespec="seconds")
    add_pupil(open_records(), name, created=now, class_name=class_name, consent=consent)


@pupils.command()
@click.argument("name")
@click.option("--withdraw", is_flag=True, help="The consent is withdrawn.")
def consent(name: str, withdraw: bool) -> None:
    """Note that a parent of NAME agreed that the voice is recorded."""
    from oralquiz.records.database import open_records
    from oralquiz.records.pupils import set_consent

    set_consent(open_records(), name, not withdraw)


@pupils.command()
@click.argument("name")
@click.option("--yes", is_flag=True, help="Do not ask first.")
def erase(name: str, yes: bool) -> None:
    """Remove NAME for good: the rows, and name and voice in every session file."""
    from oralquiz.records.database import open_records
    from oralquiz.records.pupils import erase_pupil, find_pupil

    db = open_records()
    find_pupil(db, name)
    if not yes:
        click.confirm(f"Erase {name}, with all answers and recordings, for good?", abort=True)
    files = erase_pupil(db, name)
    click.echo(f"{name} is erased; {len(files)} session files were changed or removed")


@pupils.command("forget-voices")
@click.option(
    "--days", type=click.IntRange(0), default=30, show_default=True, help="How old is too old."
)
def forget_voices(days: int) -> None:
    """Remove the recorded voices from sessions older than DAYS; scores stay."""
    from oralquiz.records.database import open_records
    from oralquiz.records.retention import forget_voices as forget

    files = forget(open_records(), older_than_days=days, now=datetime.now(UTC))
    click.echo(f"voices removed from {len(files)} session files")
