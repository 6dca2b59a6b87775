"""`oralquiz correct`: the teacher listens and has the last word."""

from __future__ import annotations

import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from oralquiz.cli.common import echo, json_option, print_json
from oralquiz.errors import AudioError, BadInput
from oralquiz.listen import readable

if TYPE_CHECKING:
    from oralquiz.rounds import Answered, Attempt
    from oralquiz.sound import Pcm

KEYS = {"r": "right", "w": "wrong", "s": "silent", "u": "unclear"}


@click.command()
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--sum", "number", type=click.IntRange(1), help="The sum, counted from 1.")
@click.option("--verdict", type=click.Choice(list(KEYS.values())), help="What the answer was.")
@click.option("--value", type=int, help="The number you heard.")
@click.option("--by", default="teacher", show_default=True, help="Who corrects it.")
@click.option("--all", "everything", is_flag=True, help="Go through every answer.")
@json_option
def correct(
    file: Path,
    number: int | None,
    verdict: str | None,
    value: int | None,
    by: str,
    everything: bool,
    as_json: bool,
) -> None:
    """Listen to the answers in FILE that were not clear, and judge each with one key.

    With --sum and --verdict it corrects one answer without asking. A correction is added to the
    session; what was heard first is never overwritten. The scores change at once. With --json alone
    it lists the answers that are waiting.
    """
    from oralquiz.judge import Verdict
    from oralquiz.records import holds, open_records, store_file
    from oralquiz.session import be_finished, open_session
    from oralquiz.session import correct as add_correction

    if (number is None) != (verdict is None):
        raise BadInput("--sum and --verdict go together")
    if value is not None and number is None:
        raise BadInput("--value goes with --sum and --verdict")
    if everything and number is not None:
        raise BadInput(
            "--all goes through every answer and --sum corrects one: give only one of them"
        )

    def judge(index: int, said: str, heard: int | None) -> bool:
        """Whether the session is in the records, and its scores with it."""
        when = datetime.now(UTC).isoformat(timespec="seconds")
        session = add_correction(file, index, Verdict(said), by=by, when=when, value=heard)
        db = open_records()
        known = holds(db, session)
        if known:
            store_file(db, file)
        return known

    if number is not None and verdict is not None:
        known = judge(number - 1, verdict, value)
        if as_json:
            print_json({"sum": number, "verdict": verdict, "value": value, "in_records": known})
        else:
            where = "" if known else " (in the file only: the session is not in these records)"
            echo(f"sum {number}: {verdict}{where}")
        return
    session = open_session(file)
    turns = session.turns if everything else session.waiting
    if as_json:
        print_json([_as_json(turn) for turn in turns])
        return
    be_finished(file)
    if not turns:
        echo("No answer is waiting to be listened to.")
    elif not by_keys():
        raise BadInput("there is no terminal to take keys from: use --sum and --verdict")
    for turn in turns:
        echo(f"\nSum {turn.index + 1}, {turn.pupil}: {turn.sum} = {turn.sum.answer}")
        for attempt in turn.attempts:
            if attempt.typed:
                echo(f"  typed: {attempt.value}")
                continue
            candidates = ", ".join(f"{g.value} ({g.confidence:.0%})" for g in attempt.candidates)
            echo(f"  heard: {candidates or readable(attempt.words) or 'nothing'}")
        echo("  r right, w wrong, s silent, u unclear, p play again, any other key: leave it")
        while True:
            try:
                _play(session.audio, turn.attempts, session.sample_rate)
            except AudioError as error:
                echo(f"  {error}")
            key = click.getchar().lower()
            if key != "p":
                break
        if key in KEYS:
            judge(turn.index, KEYS[key], None)
            echo(f"  {KEYS[key]}")


def by_keys() -> bool:
    """Whether there is a terminal to take keys from."""
    return sys.stdin.isatty()


def _as_json(turn: Answered) -> dict[str, Any]:
    return {
        "sum": turn.index + 1,
        "pupil": turn.pupil,
        "terms": list(turn.sum.terms),
        "answer": turn.sum.answer,
        "verdict": turn.verdict,
        "value": turn.value,
    }


def _play(audio: Pcm, attempts: tuple[Attempt, ...], rate: int) -> None:
    """Every attempt, with a little of the room around it. Raises AudioError without a speaker."""
    from oralquiz.audio import say_aloud
    from oralquiz.sound import Clip, from_pcm16

    for attempt in attempts:
        if attempt.onset is None or attempt.offset is None:
            continue
        around = rate // 4
        heard = audio[max(0, attempt.onset - around) : attempt.offset + around, 1]
        say_aloud(Clip(from_pcm16(heard), rate))
