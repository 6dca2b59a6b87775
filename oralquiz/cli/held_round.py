"""A round held with this computer's loudspeaker and microphone, and what is printed about it."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from oralquiz.cli.common import agreed, print_json

if TYPE_CHECKING:
    from rich.console import Console
    from sqlite_utils import Database

    from oralquiz.records import Pupil
    from oralquiz.rounds import Event, Options, Round
    from oralquiz.session import RoundReader, Session


def hold(
    console: Console,
    round_: Round,
    pupils: Sequence[Pupil],
    options: Options,
    reader: RoundReader,
    sound: tuple[str | None, str | None],
    model: str | None,
    said: str,
    watch: Callable[[int, Event], None] = lambda at, event: None,
) -> Path:
    """Hold ``round_``; returns its session file. ``sound``: loudspeaker and microphone by name;
    ``said`` is printed before it begins; ``watch`` is told of every event."""
    from oralquiz.audio import EchoCanceller, SoundCard
    from oralquiz.cli.screen import CAUTION, Screen, left_behind
    from oralquiz.errors import AudioError
    from oralquiz.folders import sessions_folder
    from oralquiz.listen import open_recognizer
    from oralquiz.session import Devices, cut_short, open_round

    if left := left_behind(cut_short(sessions_folder())):
        console.print(left, soft_wrap=True)
    recognizer = open_recognizer(model)
    with SoundCard(*sound) as card:
        for pupil in pupils:
            if not pupil.consent:
                console.print(f"{pupil.name}: no consent noted, so the voice is not kept")
        console.print(f"{said} {CAUTION}")
        console.print(f"{card.output_name} and {card.input_name}: a short chirp comes first")
        if card.measure_lag() is None:
            console.print(
                "the chirp was not heard: latencies rely on the delay that the system reports"
            )

        def mend(error: AudioError) -> bool:
            while True:  # once without asking: the screen says why the round pauses
                try:
                    card.reopen()
                except AudioError as still:
                    console.print(str(still))
                else:
                    console.print("the sound is back; the sum is read again")
                    return True
                again = "Try the sound again? (no ends the round)"
                if not agreed(again, default=True, err=True):
                    return False

        screen = Screen(console, round_)

        def show(at: int, event: Event) -> None:
            screen.watch(at, event)
            watch(at, event)

        folder = sessions_folder() / datetime.now().strftime("%Y-%m-%d-%H%M%S")
        devices = Devices(reader, card, recognizer, EchoCanceller())
        with open_round(round_, options, devices, folder, watch=show) as live:
            live.run(card, mend)
        path = live.finish()
        if card.xruns or card.lost:
            console.print(
                f"the sound broke off {card.xruns} times; the microphone lost {card.lost} samples"
            )
    return path


def keep(db: Database, path: Path) -> Session:
    """Put the session in ``path`` into the records."""
    from oralquiz.errors import OralquizError
    from oralquiz.records import store_file

    try:
        return store_file(db, path)
    except sqlite3.Error as error:
        raise OralquizError(f"{path}: kept, but not in the records ({error})") from None


def report(console: Console, db: Database, path: Path, session: Session, *, as_json: bool) -> None:
    """How the round went."""
    from oralquiz.cli.screen import early_end, score_table
    from oralquiz.compose import counted
    from oralquiz.records import scores

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
            f"For you to listen to: {counted(len(session.waiting), 'answer')} "
            f"(oralquiz correct {path})",
            soft_wrap=True,
        )
