"""`oralquiz round`: an oral round with this computer's loudspeaker and microphone."""

from __future__ import annotations

import secrets

import click

from oralquiz.cli.common import (
    SEED,
    answer_within_option,
    course_option,
    json_option,
    pace_option,
    sound_options,
)


@click.command()
@click.option(
    "--pupil",
    "names",
    multiple=True,
    required=True,
    help="Who answers; repeat it for pupils who take turns.",
)
@click.option(
    "--step",
    default=None,
    help="The step whose rule is drilled; see `syllabus`. Default: the first.",
)
@click.option(
    "--count",
    type=click.IntRange(1, 100),
    default=5,
    show_default=True,
    help="Sums for each pupil.",
)
@click.option("--terms", type=click.IntRange(1, 50), default=None, help="Number of terms in a sum.")
@pace_option
@answer_within_option
@course_option
@click.option(
    "--seed",
    type=SEED,
    default=None,
    help="The same seed gives the same sums, except those a pupil had lately.",
)
@sound_options
@click.option(
    "--strict",
    is_flag=True,
    help="Judge as in a test: twice as certain, and a repeated answer must not change.",
)
@json_option
def round(
    names: tuple[str, ...],
    step: str | None,
    count: int,
    terms: int | None,
    pace: float,
    answer_within: float,
    course: str,
    seed: int | None,
    voice: str | None,
    speaker: str | None,
    microphone: str | None,
    model: str | None,
    strict: bool,
    as_json: bool,
) -> None:
    """Sums are read aloud, answered aloud, heard and judged; the session is kept.

    The pupils are those of `oralquiz pupils`. A voice is kept only with consent.
    """
    from oralquiz.cli.console import console_for
    from oralquiz.cli.held_round import hold, keep, report
    from oralquiz.compose import load_syllabus
    from oralquiz.errors import BadInput
    from oralquiz.records import find_pupil, follow, had_lately, open_records
    from oralquiz.rounds import RoundPlan, VoiceReader, Way, plan_rounds
    from oralquiz.speak import open_voice

    console = console_for(stderr=as_json)
    syllabus = load_syllabus(course)
    lesson = syllabus.step(step) if step else syllabus.steps[0]
    seed = secrets.randbelow(1_000_000) if seed is None else seed
    plan = RoundPlan(
        lesson.name, Way.FRONT, count, terms or 0, pace, voice or "", answer_within, strict, course
    )
    db = open_records()
    who = [find_pupil(db, name) for name in names]
    if len({pupil.id for pupil in who}) < len(who):
        raise BadInput("a pupil is named twice; turns are taken in the order of the names")
    lately = had_lately(db, [pupil.name for pupil in who])
    (round_,) = plan_rounds(plan, who, seed, repeat=False, place="class", lately=lately)
    reader = VoiceReader(open_voice(voice, pace=pace), pace)
    said, sound = f"{round_.name}; seed {seed}.", (speaker, microphone)
    path = hold(console, round_, who, plan.options(), reader, sound, model, said)
    session = keep(db, path)
    for pupil in who:
        follow(db, pupil, syllabus)
    report(console, db, path, session, as_json=as_json)
