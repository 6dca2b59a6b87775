"""`oralquiz correct`: the teacher's ear has the last word."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from oralquiz.errors import AudioError, BadInput

if TYPE_CHECKING:
    from oralquiz.session.file import Attempt, Pcm

KEYS = {"r": "right", "w": "wrong", "s": "silent", "u": "unclear"}


@click.command()
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--sum", "number", type=click.IntRange(1), help="The sum, counted from 1.")
@click.option("--verdict", type=click.Choice(list(KEYS.values())), help="What it was.")
@click.option("--value", type=int, help="The number you heard.")
@click.option("--by", default="teacher", show_default=True, help="Who says so.")
@click.option("--all", "everything", is_flag=True, help="Go through every answer.")
def correct(
    file: Path,
    number: int | None,
    verdict: str | None,
    value: int | None,
    by: str,
    everything: bool,
) -> None:
    """Listen to the answers in FILE that wait for your ear, and judge each with one key.

    With --sum and --verdict it corrects one answer without asking. A correction is added to the
    session; what was heard first is never overwritten. Scores follow at once.
    """
    from oralquiz.judge.verdict import Verdict
    from oralquiz.records.database import open_records
    from oralquiz.records.store import store
    from oralquiz.session.correct import correct as add_correction
    from oralquiz.session.file import open_session

    if (number is None) != (verdict is None):
        raise BadInput("--sum and --verdict go together")

    def judge(index: int, said: str, heard: int | None) -> None:
        when = datetime.now(UTC).isoformat(timespec="seconds")
        session = add_correction(file, index, Verdict(said), by=by, when=when, value=heard)
        store(open_records(), session, file)

    if number is not None and verdict is not None:
        judge(number - 1, verdict, value)
        return
    session = open_session(file)
    turns = session.turns if everything else session.waiting
    if not turns:
        click.echo("No answer waits for your ear.")
    for turn in turns:
        click.echo(f"\nSum {turn.index + 1}, {turn.pupil}: {turn.sum} = {turn.sum.answer}")
        for attempt in turn.attempts:
            guesses = ", ".join(f"{g.value} ({g.confidence:.0%})" for g in attempt.guesses)
            click.echo(f"  heard: {guesses or attempt.words or 'nothing'}")
        click.echo("  r right, w wrong, s silent, u unclear, p play again, any other key: leave it")
        while True:
            try:
                _play(session.audio, turn.attempts, session.sample_rate)
            except AudioError as error:
                click.echo(f"  {error}")
            key = click.getchar().lower()
            if key != "p":
                break
        if key in KEYS:
            judge(turn.index, KEYS[key], None)
            click.echo(f"  {KEYS[key]}")


def _play(audio: Pcm, attempts: tuple[Attempt, ...], rate: int) -> None:
    """Every attempt, with a little of the room around it. Raises AudioError without a speaker."""
    from oralquiz.session.soundcard import sound_library

    sd = sound_library()
    for attempt in attempts:
        if attempt.onset is None or attempt.offset is None:
            continue
        around = rate // 4
        heard = audio[max(0, attempt.onset - around) : attempt.offset + around, 1]
        try:
            sd.play(heard, rate, blocking=True)
        except sd.PortAudioError as error:
            raise AudioError(f"the answer cannot be played: {error}") from None
