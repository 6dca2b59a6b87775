"""Where commands print for people."""

from __future__ import annotations

import contextlib

from rich.console import Console


class _Console(Console):
    """A console that may lose its reader (a pipe that closes): what runs behind it goes on."""

    def on_broken_pipe(self) -> None:
        with contextlib.suppress(SystemExit):
            super().on_broken_pipe()


def console_for(stderr: bool = False) -> Console:
    """The console of a command. Brackets in what it prints are text: a pupil may be Ben [b]."""
    return _Console(stderr=stderr, markup=False, highlight=False)
