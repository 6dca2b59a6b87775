"""`oralquiz demo`: a whole round without microphone or loudspeaker."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import click

from oralquiz.cli.common import SEED, json_option, print_json


@click.command()
@click.option("--fast", is_flag=True, help="Render the round instead of waiting in real time.")
@click.option("--seed", type=SEED, default=1, show_default=True, help="Another seed, other sums.")
@click.option(
    "--out",
    type=click.Path(path_type=Path, file_okay=False),
    help="Folder for the session, records and replay page. Default: a new one among your data.",
)
@json_option
def demo(fast: bool, seed: int, out: Path | None, as_json: bool) -> None:
    """A class of invented pupils answers a round in synthetic speech.

    The sums are dictated, the answers are heard by the real recogniser, judged, stored and made
    into a replay page. No microphone or loudspeaker is needed, and nothing in it knows the
    answers but the pupils.
    """
    from oralquiz.cli.console import console_for
    from oralquiz.cli.screen import CAUTION, Screen, score_table
    from oralquiz.demo import demonstrate, prepare
    from oralquiz.errors import BadInput
    from oralquiz.folders import data_folder
    from oralquiz.judge.verdict import Verdict
    from oralquiz.listen.vosk import open_recognizer
    from oralquiz.replay.page import build_page

    folder = out or data_folder() / "demo" / datetime.now().strftime("%Y-%m-%d-%H%M%S")
    if folder.exists() and any(folder.iterdir()):
        raise BadInput(f"{folder}: there is something in it already; give another --out")
    console = console_for(stderr=as_json)
    recognizer = open_recognizer()
    round_ = prepare(seed)
    console.print(f"{round_.name}. {CAUTION}")
    done = demonstrate(
        folder,
        recognizer,
        round_,
        seed=seed,
        real_time=not fast,
        watch=Screen(console, round_).watch,
    )
    replay = folder / "replay.html"
    replay.write_text(build_page(done.session), encoding="utf-8")
    if as_json:
        print_json(
            {
                "session_files": [str(done.session_file)],
                "replay": str(replay),
                "database": str(done.database),
                "answers": len(done.session.turns),
                **{verdict.value: done.count(verdict) for verdict in Verdict},
                "misheard": done.misheard,
            }
        )
        return
    console.print(score_table(done.scores))
    console.print(f"Misheard: {done.misheard} of {len(done.session.turns)} answers")
    for what, path in (
        ("Session", done.session_file),
        ("Records", done.database),
        ("Replay", replay),
    ):
        console.print(f"{what + ':':<9} {path}", soft_wrap=True)
