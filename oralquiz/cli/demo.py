"""`oralquiz demo`: a whole round without microphone or loudspeaker."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import click

from oralquiz.cli.common import FAILED, OK, SEED, json_option, print_json
from oralquiz.compose import counted


@click.command()
@click.option("--fast", is_flag=True, help="Render the round instead of waiting in real time.")
@click.option(
    "--seed", type=SEED, default=1, show_default=True, help="A different seed gives other sums."
)
@click.option(
    "--out",
    type=click.Path(path_type=Path, file_okay=False),
    help="Folder for the session, records and replay page. Default: a new one in your data folder.",
)
@json_option
@click.pass_context
def demo(ctx: click.Context, fast: bool, seed: int, out: Path | None, as_json: bool) -> None:
    """A class of invented pupils answers a round in synthetic speech.

    The sums are dictated, the answers are heard by the real recogniser, judged, stored and made
    into a replay page. No microphone or loudspeaker is needed, and only the pupils know the
    answers. Stopped with Ctrl-C, it keeps what was done so far and exits with status 1.
    """
    from oralquiz.cli.console import console_for
    from oralquiz.cli.screen import CAUTION, Screen, early_end, score_table
    from oralquiz.demo import SESSION, demonstrate, prepare
    from oralquiz.errors import BadInput
    from oralquiz.folders import data_folder
    from oralquiz.judge import Verdict
    from oralquiz.listen import open_recognizer
    from oralquiz.replay import build_page
    from oralquiz.session import session_folders

    folder = out or data_folder() / "demo" / datetime.now().strftime("%Y-%m-%d-%H%M%S")
    if folder / SESSION in session_folders(folder):
        raise BadInput(
            f"{folder}: a demonstration is running in it or was cut short; give another --out"
        )
    if folder.exists() and any(folder.iterdir()):
        raise BadInput(f"{folder}: this folder is not empty; give another --out")
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
    early = early_end(done.session)
    if as_json:
        print_json(
            {
                "session_files": [str(done.session_file)],
                "replay": str(replay),
                "database": str(done.database),
                "answers": done.session.answered,
                **{verdict.value: done.count(verdict) for verdict in Verdict},
                "misheard": done.misheard,
                "ended": done.session.why_ended,
            }
        )
        ctx.exit(FAILED if early else OK)
    if early:
        console.print(early)
    if done.session.answered:
        console.print(score_table(done.scores))
        console.print(f"Misheard: {done.misheard} of {counted(done.session.answered, 'answer')}")
    for what, path in (
        ("Session", done.session_file),
        ("Records", done.database),
        ("Replay", replay),
    ):
        console.print(f"{what + ':':<9} {path}", soft_wrap=True)
    ctx.exit(FAILED if early else OK)
