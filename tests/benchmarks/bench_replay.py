"""How large replay pages are and how long they take; how long a session file takes to open.

    python tests/benchmarks/bench_replay.py [SESSION.zip ...]

Without files: a synthetic lesson of ten sums of five terms at 2.5 s, and an hour of the same.
"""

from __future__ import annotations

import resource
import sys
import tempfile
import time
from pathlib import Path

from rich.console import Console
from rich.table import Table

from oralquiz.errors import AudioError
from oralquiz.replay.page import build_page
from oralquiz.replay.spoken_steps import WORDS_PER_MINUTE
from oralquiz.replay.turn_story import tell_turns
from oralquiz.session.file import Session, header, open_session
from oralquiz.session.recorder import pack, write_parts
from oralquiz.speak.voices import open_voice
from tests.replay.made import made

SUMS = ["34 + 13 - 22 + 58 - 17", "12 + 49 + 8 - 33 + 24", "95 - 48 + 7 + 16 - 52"]


def written(folder: Path, session: Session) -> Path:
    """``session`` as a file."""
    head = header(
        session.round, session.options, voice="engine:gmw/en-us", model="none", software="bench"
    )
    write_parts(folder, head, session.events, session.audio)
    return pack(folder, folder / "session.zip")


def main() -> None:
    console = Console()
    given = [Path(name) for name in sys.argv[1:]]
    sessions = {path.name: open_session(path) for path in given} or {
        "ten sums, five wrong": made(
            [SUMS[n % 3] for n in range(10)],
            [66 if n % 2 else 60 + n for n in range(10)],
            pace_s=2.5,
            tones=True,
        )
    }
    table = Table("session", "sums", "sound s", "moves", "page kB", "s", "explained kB", "s")
    for name, session in sessions.items():
        steps = sum(len(one.story.steps) for one in tell_turns(session, session.turns))
        row = [name, str(len(session.turns)), f"{len(session.audio) / 16_000:.0f}", str(steps)]
        for voice in (None, open_voice(rate=WORDS_PER_MINUTE)):
            began = time.perf_counter()
            try:
                size = len(build_page(session, voice=voice).encode())
                row += [f"{size / 1000:.0f}", f"{time.perf_counter() - began:.2f}"]
            except AudioError as error:
                row += ["-", str(error)]
        table.add_row(*row)
    console.print(table)

    table = Table("open", "MB", "sound s", "s", "peak MB so far")
    with tempfile.TemporaryDirectory() as folder:
        for count in (10, 250):
            session = made([SUMS[n % 3] for n in range(count)], pace_s=2.5, tones=True)
            part = Path(folder) / str(count)
            part.mkdir()
            path = written(part, session)
            seconds = len(session.audio) / 16_000
            del session
            began = time.perf_counter()
            open_session(path)
            took = time.perf_counter() - began
            peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1000
            table.add_row(
                f"{count} sums",
                f"{path.stat().st_size / 1e6:.1f}",
                f"{seconds:.0f}",
                f"{took:.2f}",
                f"{peak:.0f}",
            )
    console.print(table)


if __name__ == "__main__":
    main()
