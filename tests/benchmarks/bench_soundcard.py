"""Onset jitter at the device: what is played, recorded back through a virtual sound card.

    python -m tests.benchmarks.bench_soundcard [--openings 5] [--onsets 30] [--load 3]

Needs what tests/session/virtualcard.py needs. For every opening of the card: whether the chirp was
heard, the lag it measured, then onsets every 500 ms, once as one buffer (as a dictation is played)
and once as one ``play`` for each: mean and SD of their distance from the places that ``play``
promised, in steps of a sample (0.0625 ms), and how many of them were not heard within 250 ms of
their place; then how often the sound stumbled (xruns), how often that left a gap in what was
playing, and how many samples the microphone lost. With --load N, N processes compute meanwhile.

For comparison, audio of experiment software, SD / lag in ms (Bridges, Pitiot, MacAskill & Peirce
2020, PeerJ 9414, table 2): best desktop systems 0.17 / -0.74 and 0.31 / -0.71, others 0.70 / 0.54,
0.96 / 0.85, 8.56 / 47.24, 13.49 / 118.67. Theirs went through hardware, ours does not; the lag is
measured and subtracted, as they say one may.
"""

from __future__ import annotations

import argparse
import multiprocessing
import statistics
import tempfile
from pathlib import Path

import numpy as np

from oralquiz.audio.sound_card import SoundCard
from oralquiz.errors import AudioError
from oralquiz.sound.blocks import SESSION_RATE
from oralquiz.sound.clip import Samples
from tests.session.virtualcard import using_card

EVERY = SESSION_RATE // 2
HEARD = 0.5
"""The share of a tick's own energy that its correlation with the recording must reach."""


def tick() -> Samples:
    """25 ms of noise, sharp in its autocorrelation."""
    rng = np.random.default_rng(5)
    return (0.3 * rng.standard_normal(400) * np.hanning(400)).astype(np.float32)


def distances(heard: Samples, first: int, places: list[int]) -> list[float]:
    """How far from its place each tick is heard, in ms; ticks that are not heard are left out."""
    found = []
    for place in places:
        begin = max(0, place - first - EVERY // 2)
        piece = heard[begin : begin + EVERY]
        match = np.correlate(piece, tick(), mode="valid")
        if match.max() > HEARD * float(np.sum(tick() ** 2)):
            at = begin + int(np.argmax(match)) + first
            found.append(1000 * (at - place) / SESSION_RATE)
    return found


def cell(found: list[float], onsets: int) -> str:
    if not found:
        return f"       -       - {onsets:>4}"
    mean, sd = statistics.mean(found), statistics.pstdev(found)
    return f"{mean:8.3f} {sd:7.3f} {onsets - len(found):>4}"


def record_until(card: SoundCard, position: int) -> tuple[int, Samples]:
    blocks = [card.read()]
    while blocks[-1].start < position:
        blocks.append(card.read())
    return blocks[0].start, np.concatenate([block.samples for block in blocks])


def one_buffer(card: SoundCard, onsets: int) -> list[float]:
    sound = np.zeros(onsets * EVERY, np.float32)
    for k in range(onsets):
        sound[k * EVERY : k * EVERY + 400] = tick()
    at = card.play(sound, card.now() + EVERY)
    first, heard = record_until(card, at + len(sound) + EVERY)
    return distances(heard, first, [at + k * EVERY for k in range(onsets)])


def one_by_one(card: SoundCard, onsets: int) -> list[float]:
    begin = card.now() + 2 * EVERY
    places = [card.play(tick(), begin + k * EVERY) for k in range(onsets)]
    first, heard = record_until(card, places[-1] + EVERY)
    return distances(heard, first, places)


def busy() -> None:
    while True:
        sum(range(10_000))


def opening(onsets: int) -> str:
    with SoundCard() as card:
        heard = card.measure_lag() is not None
        lag = 1000 * card.lag_s
        cells = [cell(way(card, onsets), onsets) for way in (one_buffer, one_by_one)]
        return (
            f"{'yes' if heard else 'no':>5} {lag:7.1f} {cells[0]} {cells[1]}"
            f" {card.xruns:>5} {card.gaps:>4} {card.lost:>5}"
        )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--openings", type=int, default=5)
    parser.add_argument("--onsets", type=int, default=30)
    parser.add_argument("--load", type=int, default=0)
    arguments = parser.parse_args()
    workers = [multiprocessing.Process(target=busy, daemon=True) for _ in range(arguments.load)]
    for worker in workers:
        worker.start()
    print("               one buffer (ms)       one by one (ms)")
    print("chirp  lag ms     mean      SD gone     mean      SD gone xruns gaps  lost")
    with tempfile.TemporaryDirectory() as folder, using_card(Path(folder) / "pulse"):
        for _ in range(arguments.openings):
            try:
                print(opening(arguments.onsets), flush=True)
            except AudioError as error:
                print(f"  given up: {error}", flush=True)
    for worker in workers:
        worker.terminate()


if __name__ == "__main__":
    main()
