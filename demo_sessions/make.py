"""Make the demo sessions again: python demo_sessions/make.py (a minute; needs the package)."""

from __future__ import annotations

import shutil
import tempfile
from datetime import UTC, datetime
from pathlib import Path

from oralquiz.session.round import Round, Turn

from oralquiz.beads import Sum
from oralquiz.demo import demonstrate
from oralquiz.judge.verdict import Verdict
from oralquiz.listen.recognizer import open_recognizer

HERE = Path(__file__).parent

# name: title, step, terms of each sum, a seed with which the virtual pupils answer as wanted
SESSIONS = {
    "all-right": ("+ 3 is + 5 - 2", "five:+3", ["12 + 33 - 41 + 53", "44 + 33 - 26"]),
    "one-wrong": ("+ 8 is + 10 - 2", "ten:+8", ["34 + 28 - 11 + 25", "57 + 18 - 23"]),
}
PUPILS = ("Ilka", "Tomaz")


def main() -> None:
    recognizer = open_recognizer()
    now = datetime.now(UTC).isoformat(timespec="seconds")
    for name, (title, step, sums) in SESSIONS.items():
        turns = tuple(
            Turn(pupil, Sum.parse(text), consent=True)
            for pupil, text in zip(PUPILS, sums, strict=True)
        )
        round_ = Round(title, now, turns, step=step, rule=step)
        wanted = 1 if name == "one-wrong" else 0
        for seed in range(50):
            with tempfile.TemporaryDirectory() as folder:
                done = demonstrate(Path(folder), recognizer, round_, seed=seed, pace_s=1.6)
                wrong = done.count(Verdict.WRONG)
                if wrong == wanted and done.count(Verdict.RIGHT) == len(turns) - wanted:
                    shutil.copy(done.session_file, HERE / f"{name}.zip")
                    print(f"{name}: seed {seed}")
                    break
        else:
            raise SystemExit(f"{name}: no seed gave the verdicts wanted")


if __name__ == "__main__":
    main()
