"""`oralquiz round`: an oral round with this computer's loudspeaker and microphone."""

from __future__ import annotations

import secrets
import sqlite3
from datetime import UTC, datetime
from pathlib import Path

import click

from oralquiz.cli.common import FAILED, PACE, SEED, fail, json_option, print_json


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
    help="Seconds to begin the answer in.",
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
    "--strict", is_flag=True, help="Judge as in a test: twice as sure, and no second thoughts."
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
    from oralquiz.compose import compose, load_syllabus, many, request_for
    from oralquiz.errors import AudioError, BadInput, OralquizError
    from oralquiz.folders import sessions_folder
    from oralquiz.judge import PRACTICE, TEST
    from oralquiz.listen import open_recognizer
    from oralquiz.records import find_pupil, open_records, scores, store_file
    from oralquiz.rounds import Options, Round, Turn, VoiceReader
    from oralquiz.session import conduct, cut_short
    from oralquiz.speak import open_voice

    console = console_for(stderr=as_json)
    syllabus = load_syllabus(course)
    lesson = syllabus.step(step) if step else syllabus.steps[0]
    seed = secrets.randbelow(1_000_000) if seed is None else seed
    request = request_for(syllabus, lesson.name, terms=terms)
    wanted = count * len(names)
    sums = compose(request, wanted, seed).sums
    if len(sums) < wanted:
        fail(
            f"{lesson.name} has only {len(sums)} such sums and {wanted} are wanted: "
            f"see `oralquiz compose --step {lesson.name}` for what stands in the way",
            FAILED,
        )
    db = open_records()
    who = [find_pupil(db, name) for name in names]
    if len({pupil.id for pupil in who}) < len(who):
        raise BadInput("a pupil is named twice; turns are taken in the order of the names")
    if left := left_behind(cut_short(sessions_folder())):
        console.print(left, soft_wrap=True)
    options = Options(
        pace_s=pace,
        answer_within_s=answer_within,
        policy=TEST if strict else PRACTICE,
    )
    reader = VoiceReader(open_voice(voice, pace=pace), pace)
    recognizer = open_recognizer(model)
    now = datetime.now(UTC)

    with SoundCard(speaker, microphone) as card:
        for pupil in who:
            if not pupil.consent:
                console.print(f"{pupil.name}: no consent noted, so the voice is not kept")
        in_turn = [who[index % len(who)] for index in range(wanted)]
        turns = tuple(
            Turn(pupil.name, terms, pupil.consent)
            for pupil, terms in zip(in_turn, sums, strict=True)
        )
        title = lesson.title
        round_ = Round(
            title,
            now.isoformat(timespec="seconds"),
            turns,
            step=lesson.name,
            rule=lesson.name,
            columns=request.columns,
        )
        console.print(f"{title}; seed {seed}. {CAUTION}")
        console.print(f"{card.output_name} and {card.input_name}: a short chirp comes first")
        if card.measure_lag() is None:
            console.print("the chirp was not heard: latencies rest on the system's own figure")

        def mend(error: AudioError) -> bool:
            while True:  # once unasked; why the round pauses is on the screen
                try:
                    card.reopen()
                except AudioError as still:
                    console.print(str(still))
                else:
                    console.print("the sound is back, the sum is read again")
                    return True
                again = "Try the sound again? (no ends the round)"
                if not click.confirm(again, default=True, err=True):
                    return False

        folder = sessions_folder() / now.astimezone().strftime("%Y-%m-%d-%H%M%S")
        path: Path = conduct(
            round_,
            options,
            reader,
            card,
            recognizer,
            folder,
            watch=Screen(console, round_).watch,
            mend=mend,
            guard=EchoCanceller(),
        )
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
            f"Waiting for your ear: {many(len(session.waiting), 'answer')} "
            f"(oralquiz correct {path})",
            soft_wrap=True,
        )
