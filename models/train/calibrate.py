"""Stage "calibrate": turn the model's scores into probabilities that mean what they say.

Hears every clip of the voices that were kept out of training through the product's own recogniser
and fits the three numbers of ``oralquiz.listen.posterior.Calibration`` by the likelihood of what
was really said, on every second voice; the other voices test it. Then it fits all of them and
writes ``calibration.json`` into the model. Run it where `oralquiz` is installed (the trainer's own
environment is not needed):

    python models/train/calibrate.py --humans ../shared/data --corpus FOLDER
        [--model models/number-en] [--range 0..99]
"""

from __future__ import annotations

import argparse
import csv
import dataclasses
import json
import math
import random
import sys
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np
import people
import values
from scipy.optimize import minimize

from oralquiz.listen import (
    Calibration,
    EnglishNumbers,
    Hypothesis,
    candidates,
    masses,
    open_recognizer,
    parse_number,
)
from oralquiz.sound import read_recording

NUMBERS = EnglishNumbers()
NEVER = 1e-4
"""The likelihood of a truth that is not among the readings, as a share of the doubt."""


@dataclasses.dataclass(frozen=True)
class Clip:
    """What was said (None: no number), by whom, and what the decoder heard."""

    speaker: str
    truth: int | None
    hypotheses: Sequence[Hypothesis]


Said = tuple[Path, str, int | None]
"""A file, who speaks, and the number that is said."""


def kept_out(corpus: Path, most: int, heard: Sequence[str]) -> list[Said]:
    """Clips of the manifest's dev voices, except those ``heard``: path, speaker, value."""
    with (corpus / "manifest.tsv").open(encoding="utf-8") as file:
        lines = csv.DictReader(file, delimiter="\t", quoting=csv.QUOTE_NONE)
        rows = [r for r in lines if r["split"] == "dev" or people.held_out(r["speaker"])]
    rows = [row for row in rows if row["speaker"] not in heard]
    random.Random(1).shuffle(rows)
    return [
        (corpus / row["path"], row["speaker"], parse_number(row["words"])) for row in rows[:most]
    ]


def people_kept_out(folder: Path, most: int) -> list[Said]:
    """Recordings of people whom the twin never heard, at most a given number of each source and
    kind."""
    by_source: dict[tuple[str, str], list[Said]] = {}
    for clip in people.recordings(folder):
        if people.held_out(clip.speaker):
            said = clip.path, clip.speaker, values.value_of(clip.words)
            by_source.setdefault((clip.source, clip.kind), []).append(said)
    chance = random.Random(2)
    return [
        said for rows in by_source.values() for said in chance.sample(rows, min(most, len(rows)))
    ]


def decoded(job: tuple[Said, Path, int, int]) -> Clip | None:
    """The clip as the decoder of a model hears it; None where it hears nothing at all."""
    (path, speaker, truth), model, lowest, highest = job
    decoder = open_recognizer(model).decoder
    hypotheses = decoder.decode(read_recording(path, 16_000), lowest, highest)
    return Clip(speaker, truth, hypotheses) if hypotheses else None


def outcome(value: int | None, limits: tuple[int, int]) -> int | None:
    """What the product should make of ``value``: beyond ``limits`` there is no number."""
    return value if value is not None and limits[0] <= value <= limits[1] else None


def likelihood(clip: Clip, calibration: Calibration, limits: tuple[int, int]) -> float:
    """The probability that the calibrated readings give to what was said, by its outcome."""
    mass = masses(clip.hypotheses, NUMBERS, calibration)
    truth = outcome(clip.truth, limits)
    said = sum(m for value, m in mass.items() if outcome(value, limits) == truth)
    share = said / sum(mass.values())
    return (1 - calibration.doubt) * share + calibration.doubt * NEVER


def fit(clips: Sequence[Clip], limits: tuple[int, int]) -> Calibration:
    def at(parameters: np.ndarray) -> Calibration:
        scale, other, doubt = parameters
        return Calibration(math.exp(scale), float(other), 1 / (1 + math.exp(-doubt)))

    def cost(parameters: np.ndarray) -> float:
        calibration = at(parameters)
        return -sum(math.log(likelihood(clip, calibration, limits)) for clip in clips) / len(clips)

    found = minimize(cost, np.array([-1.0, 0.0, -4.0]), method="Nelder-Mead")
    return at(found.x)


def calibration_error(
    clips: Sequence[Clip], calibration: Calibration, limits: tuple[int, int]
) -> str:
    """Expected calibration error over ten equal bins of clips, and how the sure ones fare."""
    pairs = []
    right = 0
    for clip in clips:
        heard = candidates(clip.hypotheses, NUMBERS, *limits, calibration)
        if heard:
            pairs.append((heard[0].confidence, heard[0].value == clip.truth))
            right += pairs[-1][1]
        else:
            right += outcome(clip.truth, limits) is None
    pairs.sort()
    bins = [pairs[len(pairs) * k // 10 : len(pairs) * (k + 1) // 10] for k in range(10)]
    error = sum(
        abs(sum(sure for sure, _ in part) - sum(right for _, right in part)) for part in bins
    ) / max(1, len(pairs))
    sure = [right for confidence, right in pairs if confidence >= 0.99]
    return (
        f"{len(clips)} clips, {right / max(1, len(clips)):.2%} right, ECE {error:.4f}; "
        f"{len(sure)} at 0.99 or more, of which {sum(not r for r in sure)} wrong"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--corpus", type=Path, help="its dev voices")
    parser.add_argument("--humans", type=Path, help="../shared/data: the people held out")
    parser.add_argument("--each", type=int, default=300, help="clips at most of a set of people")
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--model", type=Path, default=Path("models/number-en"))
    parser.add_argument("--range", default="0..99")
    parser.add_argument("--most", type=int, default=3000)
    parser.add_argument("--heard", default="", help="dev speakers heard in training after all")
    arguments = parser.parse_args()
    lowest, highest = (int(end) for end in arguments.range.split(".."))
    heard = arguments.heard.split(",")
    said = people_kept_out(arguments.humans, arguments.each) if arguments.humans else []
    if arguments.corpus:
        said += kept_out(arguments.corpus, arguments.most, heard)
    jobs = [(one, arguments.model, lowest, highest) for one in said]
    with ProcessPoolExecutor(arguments.processes) as pool:
        found = pool.map(decoded, jobs, chunksize=16)
        clips = [clip for clip in found if clip is not None]
    voices = sorted({clip.speaker for clip in clips})
    fitting = {voice for index, voice in enumerate(voices) if index % 2 == 0}
    fitted = [clip for clip in clips if clip.speaker in fitting]
    tested = [clip for clip in clips if clip.speaker not in fitting]
    limits = (lowest, highest)
    calibration = fit(fitted, limits)
    print("fitted:", calibration)
    print("on its voices:", calibration_error(fitted, calibration, limits))
    print("on the others:", calibration_error(tested, calibration, limits))
    calibration = fit(clips, limits)
    print("fitted on all:", calibration)
    text = json.dumps(dataclasses.asdict(calibration), indent=1)
    (arguments.model / "calibration.json").write_text(text + "\n", encoding="utf-8")


if __name__ == "__main__":
    sys.exit(main())
