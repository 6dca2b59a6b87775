"""How `oralquiz hear` copes with hesitations, corrections and numbers beyond the range.

Formant voices that the number model was not trained on (`espeak-ng`, variants kept out of its
corpus) say them, the same phrases in every run. For numbers in the range: how many are heard right,
and how many with certainty; for the others: how many give no number, and with what confidence the
rest do.

Run: python -m tests.benchmarks.bench_hear_phrases [--range 0..99] [--model NAME|PATH] [--misses]
"""

from __future__ import annotations

import argparse
import random
import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path

from num2words import num2words

from oralquiz.listen.recognizer import open_recognizer
from oralquiz.sound.sound_files import read_recording

VARIANTS = ("f5", "m4", "linda", "travis", "Hugo")
ACCENTS = ("en-gb", "en-us", "en-gb-scotland", "en-029")
BEFORE = ("um", "er", "uh", "I think", "I think it's", "it's", "is it", "um, is it", "maybe")
MENDED = ("no, I mean", "no", "sorry", "no wait", "er no")
AFTER = ("I think", "please", "miss", "right", "is that right")
SURE = 0.99


def words(value: int, chance: random.Random) -> str:
    said = str(num2words(value)).replace("-", " ").replace(",", "")
    return said if chance.random() < 0.5 else said.replace(" and ", " ")


def phrases(highest: int, count: int, chance: random.Random) -> Iterator[tuple[str, str, int]]:
    """(kind, text, the number that counts)."""
    for k in range(count):
        value, other = chance.randint(0, highest), chance.randint(0, highest)
        said = words(value, chance)
        comma = "," if k % 2 else ""
        yield "plain", said, value
        yield "hesitation before", f"{chance.choice(BEFORE)}{comma} {said}", value
        yield "words after", f"{said}{comma} {chance.choice(AFTER)}", value
        mended = f"{words(other, chance)}, {chance.choice(MENDED)}, {said}"
        yield "corrected", mended, value
        beyond = 100 * chance.randint(1, 9) + chance.randint(1, 20)
        if k % 4 == 0:
            beyond = chance.randint(1000, 9999)
        if beyond > highest:
            yield "beyond the range", words(beyond, chance), beyond
        if value:
            yield "with a minus", f"minus {said}", -value


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--range", default="0..99")
    parser.add_argument("--model", default=None)
    parser.add_argument("--count", type=int, default=80, help="phrases of each kind")
    parser.add_argument("--misses", action="store_true")
    arguments = parser.parse_args()
    lowest, highest = (int(end) for end in arguments.range.split(".."))
    recognizer = open_recognizer(arguments.model)
    chance = random.Random(3)
    found: dict[str, list[tuple[int, int | None, float]]] = {}
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "said.wav"
        for kind, text, value in phrases(highest, arguments.count, chance):
            voice = f"{chance.choice(ACCENTS)}+{chance.choice(VARIANTS)}"
            pace = str(chance.randint(130, 200))
            subprocess.run(
                ["espeak-ng", "-v", voice, "-s", pace, "-w", str(file), text], check=True
            )
            samples = read_recording(file, recognizer.sample_rate)
            heard = recognizer.hear(samples, lowest, highest)
            found.setdefault(kind, []).append((value, heard.value, heard.confidence))
            wanted = value if lowest <= value <= highest else None
            if arguments.misses and heard.value != wanted:
                print(f"  {text}: {heard.words} {heard.value} {heard.confidence:.2f}")
    for kind, rows in found.items():
        if all(lowest <= value <= highest for value, _, _ in rows):
            right = sum(value == heard for value, heard, _ in rows)
            sure = [value == heard for value, heard, c in rows if c >= SURE]
            print(
                f"{kind:20} {right:3} of {len(rows):3} right; at {SURE}: {len(sure)}, "
                f"wrong {sure.count(False)}"
            )
        else:
            some = sorted(c for _, heard, c in rows if heard is not None)
            above = "/".join(str(sum(c >= t for c in some)) for t in (0.5, 0.9, SURE))
            none = len(rows) - len(some)
            print(f"{kind:20} {none:3} of {len(rows):3} give no number; at 0.5/0.9/{SURE}: {above}")


if __name__ == "__main__":
    main()
