"""Where commands print for people."""

from __future__ import annotations

import contextlib
from collections.abc import Iterable
from typing import Any

from rich.console import Console, ConsoleOptions, RenderableType
from rich.segment import Segment
from rich.text import Text

from oralquiz.rounds import lines_without_controls


class _Console(Console):
    """A console that may lose its reader (a pipe that closes): what runs behind it goes on. It may
    command its terminal, the text that it prints may not."""

    def on_broken_pipe(self) -> None:
        with contextlib.suppress(SystemExit):
            super().on_broken_pipe()

    def render_str(self, text: str, **how: Any) -> Text:
        return super().render_str(lines_without_controls(text), **how)  # before it is measured

    def render(
        self, renderable: RenderableType, options: ConsoleOptions | None = None
    ) -> Iterable[Segment]:
        for segment in super().render(renderable, options):
            text, style, control = segment
            yield segment if control else Segment(lines_without_controls(text), style)


def console_for(stderr: bool = False) -> Console:
    """The console of a command. Brackets in what it prints are text: a pupil may be Ben [b]."""
    return _Console(stderr=stderr, markup=False, highlight=False)
