"""`oralquiz homework`: a page that goes home with a pupil."""

from __future__ import annotations

import secrets
from pathlib import Path

import click

from oralquiz.cli.common import (
    SEED,
    answer_within_option,
    course_option,
    echo,
    json_option,
    pace_option,
    print_json,
)


@click.command()
@click.option("--pupil", "name", required=True, help="Whose page it is.")
@click.option("--step", help="The step whose rule is drilled; see `syllabus`. Default: its first.")
@click.option(
    "--count", type=click.IntRange(1, 40), default=12, show_default=True, help="How many sums."
)
@click.option("--terms", type=click.IntRange(1, 50), default=None, help="How many terms a sum has.")
@pace_option
@answer_within_option
@course_option
@click.option(
    "--seed", type=SEED, help="The same seed gives the same sums, to a pupil without earlier ones."
)
@click.option("--voice", default=None, help="A voice of `voice list`.")
@click.option(
    "--out",
    type=click.Path(path_type=Path, dir_okay=False),
    default="homework.html",
    show_default=True,
    help="The page to write.",
)
@json_option
def homework(
    name: str,
    step: str | None,
    count: int,
    terms: int | None,
    pace: float,
    answer_within: float,
    course: str,
    seed: int | None,
    voice: str | None,
    out: Path,
    as_json: bool,
) -> None:
    """A page that reads sums to one pupil at home, hears the answers and judges them.

    It is one file for a browser on a laptop, and needs no network. What it saves, `oralquiz enter`
    takes. Where a browser gives it no microphone, answers are typed or tapped.
    """
    from oralquiz.compose import counted, load_syllabus
    from oralquiz.homework import build_homework
    from oralquiz.records import find_pupil, had_lately, note_homework, open_records
    from oralquiz.rounds import RoundPlan, VoiceReader, Way, plan_rounds
    from oralquiz.speak import open_voice

    db, syllabus = open_records(), load_syllabus(course)
    pupil = find_pupil(db, name)
    lesson = syllabus.step(step) if step else syllabus.steps[0]
    seed = secrets.randbelow(1_000_000) if seed is None else seed
    plan = RoundPlan(
        lesson.name, Way.OWN, count, terms or 0, pace, voice or "", answer_within, course=course
    )
    (round_,) = plan_rounds(
        plan, [pupil], seed, repeat=False, place="home", lately=had_lately(db, [pupil.name])
    )
    reader = VoiceReader(open_voice(voice, pace=pace), pace)
    made = build_homework(round_, plan.options(), reader)
    out.write_text(made.html, encoding="utf-8")
    note_homework(db, pupil, made.head)
    if as_json:
        print_json(
            {
                "file": str(out),
                "homework": made.head["homework"],
                "bytes": out.stat().st_size,
                "seed": seed,
                "sums": [list(turn.sum.terms) for turn in round_.turns],
            }
        )
        return
    sums, size = counted(len(round_.turns), "sum"), out.stat().st_size / 1e6
    echo(f"{out}: {sums} for {pupil.name}, {size:.1f} MB; seed {seed}.")
    echo("What the page saves comes back with: oralquiz enter FILE")
