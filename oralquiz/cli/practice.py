"""`oralquiz practice`: one pupil practises with this computer's loudspeaker and microphone."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from oralquiz.cli.common import (
    answer_within_option,
    course_option,
    echo,
    json_option,
    print_json,
    sound_options,
)

if TYPE_CHECKING:
    from oralquiz.rounds import Event
    from oralquiz.solo import PracticeRound


@click.command()
@click.option("--pupil", "name", required=True, help="Who practises.")
@click.option(
    "--count", type=click.IntRange(1, 40), default=6, show_default=True, help="How many sums."
)
@click.option("--rule", default=None, help="Practise this rule, such as five:+3.")
@click.option("--slower", is_flag=True, help="Read more slowly than the pupil is used to.")
@answer_within_option
@course_option
@click.option(
    "--plan", "only_plan", is_flag=True, help="Only show the sums and why each was chosen."
)
@sound_options
@json_option
def practice(
    name: str,
    count: int,
    rule: str | None,
    slower: bool,
    answer_within: float,
    course: str,
    only_plan: bool,
    voice: str | None,
    speaker: str | None,
    microphone: str | None,
    model: str | None,
    as_json: bool,
) -> None:
    """Sums chosen for one pupil, at a pace that adapts to the answers.

    What has been taught is taken from the pupil's rounds and the class's practice set. The pace
    quickens as answers come out right, and slows down as they do not.
    """
    from oralquiz.cli.console import console_for
    from oralquiz.cli.held_round import hold, keep, report
    from oralquiz.compose import load_syllabus
    from oralquiz.records import find_pupil, follow, open_records
    from oralquiz.rounds import Options, Progress, SumEnded, VoiceReader
    from oralquiz.solo import PacedReader, PracticeRound
    from oralquiz.speak import open_voice

    db, syllabus = open_records(), load_syllabus(course)
    pupil = find_pupil(db, name)
    learner = follow(db, pupil, syllabus)
    if rule:
        learner.practice.ask_for(rule)
    if slower:
        learner.practice.slower()
    chosen = PracticeRound(learner.practice, pupil, learner.step, count)
    if only_plan:
        show_plan(chosen, as_json=as_json)
        return
    progress = Progress(chosen.round)

    def watch(at: int, event: Event) -> None:
        progress.apply(at, event)
        if isinstance(event, SumEnded):
            chosen.tell(progress.now)

    reader = PacedReader(
        lambda pace_s: VoiceReader(open_voice(voice, pace=pace_s), pace_s), chosen.pace_s
    )
    console, sound = console_for(stderr=as_json), (speaker, microphone)
    options = Options(pace_s=chosen.pace_s(), answer_within_s=answer_within)
    said = f"Practice up to {learner.step}, a term every {options.pace_s:.1f} s to begin with."
    path = hold(console, chosen.round, [pupil], options, reader, sound, model, said, watch)
    session = keep(db, path)
    follow(db, pupil, syllabus)
    report(console, db, path, session, as_json=as_json)


def show_plan(chosen: PracticeRound, *, as_json: bool) -> None:
    pace_s, turns = chosen.pace_s(), chosen.round.turns
    if as_json:
        sums = [
            {"terms": list(t.sum.terms), "answer": t.sum.answer, "rule": t.rule, "reason": t.reason}
            for t in turns
        ]
        print_json({"pace_s": pace_s, "step": chosen.round.step, "sums": sums})
        return
    echo(f"A term every {pace_s:.1f} s.")
    for turn in turns:
        echo(f"{turn.sum} = {turn.sum.answer}   ({turn.reason})")
