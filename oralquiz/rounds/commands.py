"""The commands that a teacher or a pupil may give to a running round."""

from __future__ import annotations

from dataclasses import dataclass

from oralquiz.rounds.events import COMMANDS


@dataclass(frozen=True)
class Command:
    """A command of the teacher or pupil: one of COMMANDS. ``value`` is the number of ``typed``;
    ``why`` says what forced a pause.
    """

    name: str
    value: int | None = None
    why: str = ""

    def __post_init__(self) -> None:
        if self.name not in COMMANDS:
            raise ValueError(f"no command {self.name!r}")
