"""`oralquiz replay`: walk through a session, move by move."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from oralquiz.cli.common import FAILED, OK, echo, json_option, print_json

if TYPE_CHECKING:
    from rich.console import Console

    from oralquiz.replay import StepPhrases, TerminalReplay, TurnStory
    from oralquiz.session import Session

FORWARD = {"\x1b[C", "\x1bOC", "\xe0M", "\x00M", " ", "\r", "\n", "l"}
BACK = {"\x1b[D", "\x1bOD", "\xe0K", "\x00K", "\x7f", "\b", "h"}
DOWN = {"\x1b[B", "\x1bOB", "\xe0P", "\x00P", "j"}
UP = {"\x1b[A", "\x1bOA", "\xe0H", "\x00H", "k"}
END = {"q", "Q", "\x1b", "\x03", "\x04"}


@click.command()
@click.argument("file", type=click.Path(path_type=Path))
@click.option(
    "--html",
    type=click.Path(dir_okay=False, path_type=Path),
    help="Write one self-contained page: for parents, for the projector, for printing.",
)
@click.option(
    "--only",
    type=click.Choice(["all", "wrong"]),
    default="all",
    show_default=True,
    help="All sums, or only those that were not answered right.",
)
@click.option("--pupil", default="", metavar="NAME", help="Only the sums of one pupil.")
@click.option(
    "--language", default="en", show_default=True, help="The language of the explanations."
)
@click.option("--spoken", is_flag=True, help="With --html: add a voice that explains the moves.")
@click.option(
    "--check",
    is_flag=True,
    help="Run the session again from its recording and compare every event and all sound.",
)
@json_option
def replay(
    file: Path,
    html: Path | None,
    only: str,
    pupil: str,
    language: str,
    spoken: bool,
    check: bool,
    as_json: bool,
) -> int:
    """Step through the session in FILE, move by move: every correct move of every sum.

    Where an answer was wrong, the slips that may explain it are shown, each on the move where it
    would have happened.
    """
    from oralquiz.errors import BadInput
    from oralquiz.replay import choose, phrases, tell_turns
    from oralquiz.session import open_session

    if spoken and html is None:
        raise BadInput("--spoken goes with --html: the explanation is in the page")
    table = phrases(language)
    session = open_session(file)
    if pupil and pupil not in (known := {turn.pupil for turn in session.turns}):
        raise BadInput(f"{file}: no sum of '{pupil}'; there are {', '.join(sorted(known))}")
    if check:
        return _check(file, session, table, as_json)
    if session.damage:
        echo(f"oralquiz: {file}: {session.damage}", err=True)
    turns = choose(session.turns, only_wrong=only == "wrong", pupil=pupil)
    if html is not None:
        return _page(session, html, table, only == "wrong", pupil, spoken, as_json)
    told = tell_turns(session, turns)
    if as_json:
        print_json({"file": str(file), "damage": session.damage, "sums": list(map(_json, told))})
        return OK
    _show(session, told, table)
    return OK


def _check(file: Path, session: Session, table: StepPhrases, as_json: bool) -> int:
    from oralquiz.session import rerun

    difference = rerun(session).difference
    if as_json:
        print_json({"file": str(file), "same": not difference, "difference": difference})
    elif difference:
        echo(table.text("terminal", "different", file=file, difference=difference))
    else:
        echo(table.text("terminal", "same", file=file))
    return FAILED if difference else OK


def _page(
    session: Session,
    out: Path,
    table: StepPhrases,
    only_wrong: bool,
    pupil: str,
    spoken: bool,
    as_json: bool,
) -> int:
    from oralquiz.errors import BadInput
    from oralquiz.replay import WORDS_PER_MINUTE, build_page
    from oralquiz.speak import open_voice

    voice = None
    if spoken:
        name = session.voice if table.language == "en" else None
        voice = open_voice(name, rate=WORDS_PER_MINUTE, language=table.language)
    page = build_page(
        session, language=table.language, only_wrong=only_wrong, pupil=pupil, voice=voice
    )
    try:
        out.write_text(page, encoding="utf-8")
    except OSError as error:
        raise BadInput(f"{out}: cannot be written ({error.strerror})") from None
    if as_json:
        print_json({"html": str(out), "bytes": out.stat().st_size})
    else:
        echo(str(out))
    return OK


def _json(told: TurnStory) -> dict[str, Any]:
    from oralquiz.cli.explain import move_as_json

    turn = told.turn
    return {
        "pupil": turn.pupil,
        "sum": str(turn.sum),
        "answer": turn.sum.answer,
        "heard": turn.value,
        "verdict": turn.verdict,
        "latency_s": turn.latency_s,
        "steps": [{"term": step.term, **move_as_json(step.move)} for step in told.story.steps],
        "possible": [
            {
                "slips": [slip.kind for slip in one.slips],
                "steps": list(one.steps),
                "shows": one.shows,
                "probability": one.probability,
            }
            for one in told.possible
        ],
    }


def _show(session: Session, told: tuple[TurnStory, ...], table: StepPhrases) -> None:
    import sys

    from oralquiz.cli.console import console_for
    from oralquiz.replay import TerminalReplay, printed

    console = console_for()
    if not told:
        console.print(table.text("page", "nothing"))
        return
    round_ = session.round
    stage = TerminalReplay(
        told, round_.move_order, round_.columns, table, console.encoding, console.width
    )
    if console.is_terminal and sys.stdin.isatty():
        step_through(console, stage, table)
    else:
        console.print(printed(stage))


def step_through(console: Console, stage: TerminalReplay, table: StepPhrases) -> None:
    """Cards one by one, as the keys say."""
    from rich.console import Group
    from rich.control import Control
    from rich.text import Text

    turn, card = 0, 0
    with console.screen() as screen:
        while True:
            of = table.text("terminal", "sum_of", n=turn + 1, count=len(stage.told))
            foot = Text(f"{of}.  {table.text('terminal', 'keys')}", style="dim")
            head = stage.head(turn, stage.term_of(turn, card))
            console.control(Control.home())  # over the card before, instead of scrolling it away
            screen.update(Group(head, "", stage.card(turn, card), "", foot))
            try:
                key = click.getchar()
            except (KeyboardInterrupt, EOFError):
                return
            if key in END:
                return
            if key in FORWARD:
                if card + 1 < stage.cards(turn):
                    card += 1
                elif turn + 1 < len(stage.told):
                    turn, card = turn + 1, 0
            elif key in BACK:
                if card:
                    card -= 1
                elif turn:
                    turn, card = turn - 1, stage.cards(turn - 1) - 1
            elif key in DOWN and turn + 1 < len(stage.told):
                turn, card = turn + 1, 0
            elif key in UP and turn:
                turn, card = turn - 1, 0
