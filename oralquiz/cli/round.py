"""`oralquiz round`: an oral round with this computer's loudspeaker and microphone."""

from __future__ import annotations

import secrets
import sqlite3
from datetime import datetime

import click

from oralquiz.cli.common import PACE, SEED, agreed, json_option, print_json


@click.command()
@click.option(
    "--pupil", "names", multiple=True, required=True, help="Who answers; several take turns."
)
@click.option(
    "--step",
    default=None,
    help="The step whose rule is drilled; see `syllabus`. Default: its first.",
)
@click.option(
    "--count",
    type=click.IntRange(1, 100),
    default=5,
    show_default=True,
    help="Sums for each pupil.",
)
@click.option("--terms", type=click.IntRange(1, 50), default=None, help="Terms of a sum.")
@click.option(
    "--pace",
    type=PACE,
    default=2.5,
    show_default=True,
    help="Seconds from the onset of one term to the onset of the next.",
)
@click.option(
    "--answer-within",
    type=click.FloatRange(1, 120),
    default=8.0,
    show_default=True,
    help="Seconds within which an answer must begin.",
)
@click.option(
    "--syllabus", "course", default="two-hands", show_default=True, help="A course of `syllabus`."
)
@click.option("--seed", type=SEED, default=None, help="The same seed gives the same sums.")
@click.option("--voice", default=None, help="A voice of `voice list`.")
@click.option("--speaker", default=None, help="Name or number of the loudspeaker.")
@click.option("--microphone", default=None, help="Name or number of the microphone.")
@click.option("--model", default=None, help="A model of `models`, or its folder.")
@click.option(
    "--strict",
    is_flag=True,
    help="Judge as in a test: twice as sure, and a second try only confirms.",
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
    from oralquiz.audio import EchoCanceller, SoundCard
    from oralquiz.cli.console import console_for
    from oralquiz.cli.screen import CAUTION, Screen, early_end, left_behind, score_table
    from oralquiz.compose import counted, load_syllabus
    from oralquiz.errors import AudioError, BadInput, OralquizError
    from oralquiz.folders import sessions_folder
    from oralquiz.listen import open_recognizer
    from oralquiz.records import find_pupil, open_records, scores, store_file
    from oralquiz.rounds import RoundPlan, VoiceReader, Way, plan_rounds
    from oralquiz.session import Devices, cut_short, open_round
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
    (round_,) = plan_rounds(plan, who, seed, repeat=False)
    if left := left_behind(cut_short(sessions_folder())):
        console.print(left, soft_wrap=True)
    reader = VoiceReader(open_voice(voice, pace=pace), pace)
    recognizer = open_recognizer(model)
    with SoundCard(speaker, microphone) as card:
        for pupil in who:
            if not pupil.consent:
                console.print(f"{pupil.name}: no consent noted, so the voice is not kept")
        console.print(f"{round_.name}; seed {seed}. {CAUTION}")
        console.print(f"{card.output_name} and {card.input_name}: a short chirp comes first")
        if card.measure_lag() is None:
            console.print("the chirp was not heard: latencies rest on the system's own figure")

        def mend(error: AudioError) -> bool:
            while True:  # once without asking: the screen says why the round pauses
                try:
                    card.reopen()
                except AudioError as still:
                    console.print(str(still))
                else:
                    console.print("the sound is back, the sum is read again")
                    return True
                again = "Try the sound again? (no ends the round)"
                if not agreed(again, default=True, err=True):
                    return False

        folder = sessions_folder() / datetime.now().strftime("%Y-%m-%d-%H%M%S")
        devices = Devices(reader, card, recognizer, EchoCanceller())
        watch = Screen(console, round_).watch
        with open_round(round_, plan.options(), devices, folder, watch=watch) as live:
            live.run(card, mend)
        path = live.finish()
        if card.xruns or card.lost:
            console.print(f"the sound card stumbled {card.xruns} times, {card.lost} samples lost")
    try:
        session = store_file(db, path)
    except sqlite3.Error as error:
        raise OralquizError(f"{path}: kept, but not in the records ({error})") from None
    result = scores(db, round_id=session.header["id"])
    if as_json:
        print_json(
            {
                "session_files": [str(path)],
                "answers": session.answered,
                "ended": session.why_ended,
                "scores": [
                    {
                        "pupil": s.pupil,
                        "right": s.total.right,
                        "wrong": s.total.wrong,
                        "unclear": s.total.unclear,
                        "silent": s.total.silent,
                        "median_latency_s": s.total.median_latency_s,
                    }
                    for s in result
                ],
            }
        )
        return
    if early := early_end(session):
        console.print(early)
    if result:
        console.print(score_table(result))
    console.print(f"Session: {path}", soft_wrap=True)
    if session.waiting:
        console.print(
            f"Waiting for your ear: {counted(len(session.waiting), 'answer')} "
            f"(oralquiz correct {path})",
            soft_wrap=True,
        )
