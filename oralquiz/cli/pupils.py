"""`oralquiz pupils`: who they are, how they are doing, consent, and erasing for good."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import asdict
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import click

from oralquiz.cli.common import FAILED, agreed, echo, json_option, print_json, visible
from oralquiz.compose import counted

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table
    from sqlite_utils import Database

    from oralquiz.learn import Weakness, Week
    from oralquiz.records import Pupil


@click.group(invoke_without_command=True)
@json_option
@click.pass_context
def pupils(ctx: click.Context, as_json: bool) -> None:
    """Show every pupil with scores, or use one of the commands below."""
    if ctx.invoked_subcommand is not None:
        return
    from oralquiz.cli.console import console_for
    from oralquiz.cli.screen import score_table
    from oralquiz.folders import sessions_folder
    from oralquiz.records import open_records, scores, voices_kept
    from oralquiz.records import pupils as everyone

    db = open_records()
    known, result = everyone(db), {score.pupil: score for score in scores(db, rules=as_json)}
    if as_json:
        print_json(
            [
                {
                    **pupil_as_json(pupil),
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
        echo("No pupils yet: oralquiz pupils add NAME")
        return
    for pupil in known:
        echo(line(pupil))
    if result:
        console_for().print(score_table(list(result.values())))
        for class_name in dict.fromkeys(pupil.class_name for pupil in known):
            print_grid(db, class_name)
    old = voices_kept(db, older_than_days=30, now=datetime.now(UTC), folder=sessions_folder())
    if old:
        echo(
            f"Sessions with voices, older than 30 days: {len(old)} (oralquiz pupils forget-voices)"
        )


@contextmanager
def files_bar(what: str) -> Iterator[Callable[[int, int], None]]:
    """A progress bar on stderr, in a terminal and for more than one file; gives the function to
    call with (done, of how many)."""
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn

    from oralquiz.cli.console import console_for

    console = console_for(stderr=True)
    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn())
    with Progress(
        *columns, console=console, transient=True, disable=not console.is_terminal
    ) as bar:
        task = bar.add_task(what, visible=False)
        yield lambda done, of: bar.update(task, completed=done, total=of, visible=of > 1)


def print_grid(db: Database, class_name: str) -> None:
    """Print how the class's pupils stand with the rules of the default course."""
    from oralquiz.cli.standings import grid_lines
    from oralquiz.compose import load_syllabus
    from oralquiz.learn import rule_columns
    from oralquiz.records import class_skills

    now = datetime.now(UTC)
    lines = grid_lines(rule_columns(class_skills(db, class_name), load_syllabus(), now))
    for number, one in enumerate(lines):
        echo(visible(f"{class_name}: {one}" if class_name and number == 0 else one))


def line(pupil: Pupil) -> str:
    group = f", {pupil.class_name}" if pupil.class_name else ""
    return (
        f"{visible(pupil.name + group)}: the voice {'may be' if pupil.consent else 'is not'} kept"
    )


def pupil_as_json(pupil: Pupil) -> dict[str, Any]:
    return {"pupil": pupil.name, "class": pupil.class_name, "consent": pupil.consent}


@pupils.command()
@click.argument("name")
@json_option
def show(name: str, as_json: bool) -> None:
    """Show how NAME is doing: results and speed, by rule and by week, and slips that repeat.

    Shares, medians and changes are shown with their 95 % intervals. Times are those of right
    answers, from the end of the last number to the voice; answers that were typed, asked for twice,
    or given before the sum was over have none. A sum that was not answered in the time allowed
    counts as slower than that.

    A weakness is named only when the same slip explains several wrong answers on several days;
    each is listed with the answers it rests on. It describes answers; it is not a diagnosis.
    """
    from rich.table import Table

    from oralquiz.cli.console import console_for
    from oralquiz.learn import (
        accuracy_trend,
        latency_trend,
        progress_sentences,
        speed_accuracy,
        weakness_words,
        weaknesses,
        weeks,
    )
    from oralquiz.records import answers_of, find_pupil, open_records, scores

    db = open_records()
    pupil = find_pupil(db, name)
    answers = answers_of(db, name)
    by_rule = next((score.by_rule for score in scores(db, pupil=pupil.id)), {})
    found, by_week = speed_accuracy(answers), weeks(answers)
    change, share = latency_trend(answers), accuracy_trend(answers)
    weak = weaknesses(answers)
    if as_json:
        print_json(
            {
                **pupil_as_json(pupil),
                "answers": len(answers),
                "by_rule": {rule: asdict(tally) for rule, tally in by_rule.items()},
                "median_latency_s": found.speed.median,
                "median_interval_s": found.speed.median_interval
                and asdict(found.speed.median_interval, dict_factory=_finite),
                "speed_and_accuracy": asdict(found, dict_factory=_finite),
                "weeks": [
                    {**asdict(week, dict_factory=_finite), "monday": week.monday.isoformat()}
                    for week in by_week
                ],
                "latency_change_per_week": change and asdict(change),
                "right_change_per_week": share and asdict(share),
                "weaknesses": [weakness_as_json(weakness) for weakness in weak],
            }
        )
        return
    console = console_for()
    console.print(line(pupil))
    if not answers:
        console.print("No answers yet.")
        return
    table = Table("rule", "right", "wrong", "unclear", "silent", "median latency")
    for rule, t in by_rule.items():
        median = "" if t.median_latency_s is None else f"{t.median_latency_s:.2f} s"
        table.add_row(rule, str(t.right), str(t.wrong), str(t.unclear), str(t.silent), median)
    console.print(table)
    for sentence in progress_sentences(answers):
        console.print(sentence[:1].upper() + sentence[1:] + ".")
    if len(by_week) > 1:
        console.print(week_table(by_week))
        print_charts(console, by_week)
    if not weak:
        console.print("No slip has repeated often enough to be named.")
    for weakness in weak:
        console.print(f"Repeats: {weakness_words(weakness)}, {len(weakness.evidence)} answers")
        for item in weakness.evidence:
            console.print(
                f"  {item.day}  {item.answer.terms} = {item.answer.terms.answer}, "
                f"said {item.said} ({item.probability:.0%})"
            )


def _finite(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """A dict for JSON, which has no infinity: an interval without an upper end has null."""
    return {key: None if value == math.inf else value for key, value in pairs}


def week_table(by_week: Sequence[Week]) -> Table:
    """One row a week in which something was answered."""
    from rich.table import Table

    from oralquiz.learn import half_within, seconds_words, share_words

    table = Table("week from", "days", "right", "half within", "pace")
    for week in by_week:
        share, half = share_words(week.found), half_within(week.found.speed)
        table.add_row(
            week.monday.isoformat(), str(week.days), share, half, seconds_words(week.pace)
        )
    return table


def print_charts(console: Console, by_week: Sequence[Week]) -> None:
    """Print the charts of the weeks in plain characters, one line a week."""
    from oralquiz.report import pupil_charts, text_legend, text_point

    for chart in pupil_charts(by_week):
        console.print(f"{chart.title} ({text_legend(chart)})")
        for point in chart.points:
            console.print(f"  {point.label:>6} {text_point(chart, point)}", soft_wrap=True)


def weakness_as_json(weakness: Weakness) -> dict[str, Any]:
    return {
        "slip": str(weakness.kind) if weakness.kind else None,
        "rule": weakness.rule.name if weakness.rule else None,
        "chance": weakness.chance,
        "evidence": [
            {
                "day": item.day.isoformat(),
                "terms": list(item.answer.terms.terms),
                "said": item.said,
                "probability": item.probability,
            }
            for item in weakness.evidence
        ],
    }


@pupils.command()
@click.argument("name")
@click.option("--class", "class_name", default="", help="The class the pupil belongs to.")
@click.option("--consent", is_flag=True, help="A parent has agreed to voice recordings.")
@json_option
def add(name: str, class_name: str, consent: bool, as_json: bool) -> None:
    """Add the pupil NAME."""
    from oralquiz.records import add_pupil, open_records

    now = datetime.now(UTC).isoformat(timespec="seconds")
    pupil = add_pupil(open_records(), name, created=now, class_name=class_name, consent=consent)
    print_json(pupil_as_json(pupil)) if as_json else echo(line(pupil))


@pupils.command()
@click.argument("name")
@click.option("--withdraw", is_flag=True, help="Consent is withdrawn.")
@json_option
def consent(name: str, withdraw: bool, as_json: bool) -> None:
    """Note that a parent of NAME has agreed to voice recordings, or withdraws consent."""
    from oralquiz.records import open_records, set_consent

    pupil = set_consent(open_records(), name, not withdraw)
    print_json(pupil_as_json(pupil)) if as_json else echo(line(pupil))
    if withdraw and not as_json:
        echo("Earlier recordings are kept until `oralquiz pupils erase` or `forget-voices`")


@pupils.command()
@click.argument("name")
@click.option("--yes", is_flag=True, help="Do not ask first.")
@json_option
@click.pass_context
def erase(ctx: click.Context, name: str, yes: bool, as_json: bool) -> None:
    """Erase NAME for good: records, card, and the name and voice in every session kept here.

    Pages and copies saved elsewhere are yours to delete. Exit status 1 when a session file was
    missing or could not be read, or when nothing was erased because NAME is in a round.
    """
    from oralquiz.folders import sessions_folder
    from oralquiz.records import erase_pupil, find_pupil, open_records

    db = open_records()
    find_pupil(db, name)
    if not yes and not agreed(f"Erase {name}, with all answers and recordings, for good?"):
        raise click.Abort
    with files_bar("erasing") as progress:
        erased = erase_pupil(db, name, sessions_folder(), progress)
    if as_json:
        print_json(
            {
                "changed": [str(path) for path in erased.changed],
                "missing": [str(path) for path in erased.missing],
                "unreadable": list(erased.unreadable),
            }
        )
    else:
        files = counted(len(erased.changed), "session file")
        echo(f"{name} is erased; changed or removed: {files}")
        for path in erased.missing:
            echo(visible(f"no longer where it was, look for it yourself: {path}"))
        for why in erased.unreadable:
            echo(visible(f"not erased from: {why}"))
        echo("Pages and copies saved elsewhere are yours to delete.")
    if erased.missing or erased.unreadable:
        ctx.exit(FAILED)


@pupils.command("forget-voices")
@click.option(
    "--days",
    type=click.IntRange(0),
    default=30,
    show_default=True,
    help="Remove voices older than this many days.",
)
@json_option
def forget_voices(days: int, as_json: bool) -> None:
    """Remove the voices from sessions older than --days; scores stay.

    Exit status 1, and the rest is named, when a session could not be read or is being held.
    """
    from oralquiz.folders import sessions_folder
    from oralquiz.records import forget_voices as forget
    from oralquiz.records import open_records

    with files_bar("removing voices") as progress:
        files = forget(
            open_records(),
            older_than_days=days,
            now=datetime.now(UTC),
            folder=sessions_folder(),
            progress=progress,
        )
    if as_json:
        print_json([str(path) for path in files])
    else:
        echo(f"voices removed from {counted(len(files), 'session file')}")
