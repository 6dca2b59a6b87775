"""What a round looks like in the terminal while it runs, and its scores afterwards."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from rich.console import Console
from rich.table import Table

from oralquiz.cli.common import visible
from oralquiz.compose import counted
from oralquiz.judge import Verdict
from oralquiz.records import Score
from oralquiz.rounds import AskedAgain, Commanded, Event, Progress, Round, SumEnded
from oralquiz.session import Session

CAUTION = (
    "Keep the volume modest and take breaks. Scores are no diagnosis. "
    "Local rules on children's data come first."
)


class Screen:
    """Prints one line a sum as the events of a round come in."""

    def __init__(self, console: Console, round_: Round) -> None:
        self._console = console
        self._round = round_
        self._name = max(len(turn.pupil) for turn in round_.turns)
        self._sum = max(len(str(turn.sum)) for turn in round_.turns)
        self._progress = Progress(round_)

    def watch(self, at: int, event: Event) -> None:
        self._progress.apply(at, event)
        if isinstance(event, AskedAgain):
            self._console.print(f"{'':>6}  not clear, asked once more", style="dim")
        elif isinstance(event, Commanded) and event.why:
            self._console.print(f"  paused: {event.why}")
        elif isinstance(event, SumEnded):
            self._console.print(self._line(event.turn))

    def _line(self, index: int) -> str:
        turn = self._round.turns[index]
        number = f"{index + 1}/{len(self._round.turns)}"
        start = f"{number:>6}  {turn.pupil:<{self._name}}  {turn.sum!s:<{self._sum}}"
        answered = self._progress.answered(index)
        if answered is None or answered.verdict is None:
            return f"{start}   –  skipped"
        if answered.verdict is Verdict.SILENT:
            return f"{start}   –  silent"
        if answered.verdict is Verdict.UNCLEAR:
            return f"{start}   ?  unclear: for the teacher"
        latency = answered.latency_s
        after = "" if latency is None else f" after {latency:.2f} s"
        return f"{start} {answered.value:>4}  {answered.verdict}{after}"


def early_end(session: Session) -> str:
    """One line that says why the round ended early; empty if it did not."""
    if session.why_ended == "finished":
        return ""
    why = session.why_ended or session.damage
    answered, sums = session.answered, counted(len(session.round.turns), "sum")
    return f"{why[:1].upper()}{why[1:]}: {answered} of {sums} answered."


def left_behind(folders: Sequence[Path]) -> str:
    """One line that says which rounds were cut short and what to do; empty if none was."""
    if not folders:
        return ""
    if len(folders) == 1:
        return f"A round was cut short ({folders[0]}): `oralquiz enter` puts it into the records."
    return (
        f"{len(folders)} rounds were cut short (in {folders[0].parent}): "
        "`oralquiz enter` puts them into the records."
    )


def score_table(scores: Sequence[Score]) -> Table:
    """One row a pupil."""
    table = Table("pupil", "right", "wrong", "unclear", "silent", "median latency")
    for column in table.columns[1:]:
        column.justify = "right"
    for score in scores:
        t = score.total
        latency = "" if t.median_latency_s is None else f"{t.median_latency_s:.2f} s"
        table.add_row(
            visible(score.pupil), str(t.right), str(t.wrong), str(t.unclear), str(t.silent), latency
        )
    return table
