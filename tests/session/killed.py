"""Rounds whose process is killed by the system, at the moment an event has been logged.

    python -m tests.session.killed PARENT EVENTS...
    python -m tests.session.killed --hold FOLDER EVENTS

The first leaves PARENT/EVENTS for every number of events. Importing takes longest, so one process
imports and forks another for every round, and it is that process that gets SIGKILL. The second
stops in the middle of a round, says "held", and waits to be killed.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from collections.abc import Callable, Iterable
from pathlib import Path

import numpy as np

from oralquiz.audio.virtual_room import VirtualRoom
from oralquiz.rounds.events import Event
from oralquiz.rounds.round import Options
from oralquiz.rounds.runner import Runner
from oralquiz.session.file import header
from oralquiz.session.recorder import FileRecorder
from tests.session.room import Answers, PulseReader, PulseRecognizer, make_round

SUMS = ("1 + 2",) * 5
ANSWERS = (3, 8, 3, None, 3)


def hold(folder: Path, events: int, then: Callable[[], object]) -> None:
    """A round of SUMS in ``folder``; ``then`` is called when it has logged ``events`` events."""
    room = VirtualRoom(np.random.default_rng(1))
    answers = Answers(room, list(ANSWERS))
    round_, options = make_round(*SUMS), Options(pace_s=1.0, answer_within_s=3.0)
    recorder = FileRecorder(folder, header(round_, options, voice="p", model="p", software="t"))

    def watch(at: int, event: Event) -> None:
        answers.watch(at, event)
        if len(answers.events) == events:
            then()

    Runner(round_, PulseReader(), room, PulseRecognizer(), recorder, options, watch).run(room)


def kill_this_process() -> None:
    os.kill(os.getpid(), signal.SIGKILL)


def wait_to_be_killed() -> None:
    print("held", flush=True)
    input()


def kill_one(folder: Path, events: int) -> None:
    child = os.fork()
    if not child:
        hold(folder, events, kill_this_process)
    _, status = os.waitpid(child, 0)
    assert os.waitstatus_to_exitcode(status) == -signal.SIGKILL


def killed_rounds(parent: Path, moments: Iterable[int]) -> Path:
    """``parent``, now holding what each round left when it was killed after that many events."""
    command = [sys.executable, "-m", "tests.session.killed", str(parent), *map(str, moments)]
    subprocess.run(command, check=True)
    return parent


if __name__ == "__main__":
    if sys.argv[1] == "--hold":
        hold(Path(sys.argv[2]), int(sys.argv[3]), wait_to_be_killed)
    for moment in sys.argv[2:]:
        kill_one(Path(sys.argv[1]) / moment, int(moment))
