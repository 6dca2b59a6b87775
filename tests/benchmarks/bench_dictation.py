"""How well a dictation is understood, and how exact and even it is, per voice and pace.

    python -m tests.benchmarks.bench_dictation [--voice NAME ...] [--seeds 7 8] [--shorten]

The ear is pocketsphinx (tests/speak/understood.py). Every number from 1 to 99 is said once for each
seed. Columns: terms understood of all that could be said; sums refused because the pace is too
short; the greatest compression; the greatest error of an onset found again by cross-correlation, in
samples; the spread of the terms' loudness (LU) and the highest true peak (dBTP).

With --shorten: three ways to say terms in less time than the clear rate needs, side by side: our
overlap-add, the engine speaking faster, and (if pedalboard is installed) Rubber Band.
"""

from __future__ import annotations

import argparse
import statistics
from collections.abc import Callable

import numpy as np

from oralquiz.errors import BadInput
from oralquiz.sound.clip import Clip
from oralquiz.sound.resampling import at_rate
from oralquiz.speak.dictation import Dictation, dictate
from oralquiz.speak.loudness import level, loudness, true_peak
from oralquiz.speak.stretch import compress
from oralquiz.speak.voices import CLEAR_RATE, EngineVoice, open_voice
from tests.speak.sounds import found_onsets
from tests.speak.understood import (
    RATE,
    heard_terms,
    said_terms,
    sums_with_every_number,
    terms_right,
)

PACES = (3.0, 2.5, 2.0, 1.6, 1.4, 1.2, 1.0, 0.9, 0.8, 0.7, 0.6)
FACTORS = (1.0, 1.2, 1.4)


def onset_error(dictation: Dictation) -> int:
    """The furthest that a term's sound, found again in the whole, lies from its place."""
    rate, start = dictation.sample_rate, dictation.start
    places = (start + round(k * dictation.pace_s * rate) for k in range(len(dictation.terms)))
    return max(abs(a - b) for a, b in zip(found_onsets(dictation), places, strict=True))


def row(voice: str | None, pace: float, seeds: list[int]) -> str:
    right = total = refused = sums = error = 0
    squeeze, spread, peak = 1.0, 0.0, -100.0
    reader = open_voice(voice, pace=pace)
    for seed in seeds:
        for terms in sums_with_every_number(seed):
            sums += 1
            try:
                dictation = dictate(terms, reader, pace=pace, sample_rate=RATE)
            except BadInput:
                refused += 1
                continue
            said = said_terms(terms)
            right += terms_right(said, heard_terms(dictation.samples))
            total += len(said)
            squeeze = max(squeeze, *(term.compression for term in dictation.terms))
            error = max(error, onset_error(dictation))
            clips = [Clip(dictation.samples[t.onset : t.offset], RATE) for t in dictation.terms]
            loud = [loudness(clip) for clip in clips]
            spread = max(spread, max(loud) - min(loud))
            peak = max(peak, *(true_peak(clip) for clip in clips))
    head = f"{reader.name:<28} {pace:4.1f} {right:>4}/{total:<4}"
    if not total:
        return f"{head}       - {refused:>3}/{sums:<3}"
    return (
        f"{head} {100 * right / total:5.1f} % {refused:>3}/{sums:<3}"
        f" {squeeze:5.2f} {error:>5} {spread:6.2f} {peak:7.2f}"
    )


def by_pace(voices: list[str | None], seeds: list[int]) -> None:
    print(f"{'voice':<28} pace understood          refused  compr onset spread    peak")
    for voice in voices:
        for pace in PACES:
            print(row(voice, pace, seeds), flush=True)


def rubber_band(clip: Clip, factor: float) -> Clip:
    import pedalboard

    samples = pedalboard.time_stretch(clip.samples, clip.sample_rate, factor)[0]
    return Clip(samples.astype(np.float32), clip.sample_rate)


def by_way(seeds: list[int]) -> None:
    """Each way says all sums with every term shortened by a factor, and 0.5 s of quiet between
    terms."""
    voice_id = open_voice().name.partition(":")[2]
    ways: dict[str, Callable[[str, float], Clip]] = {
        "overlap-add (ours)": lambda text, factor: compress(clear.say(text), factor),
        "engine hurried": lambda text, factor: EngineVoice(
            voice_id, round(CLEAR_RATE * factor)
        ).say(text),
    }
    try:
        import pedalboard  # noqa: F401

        ways["Rubber Band"] = lambda text, factor: rubber_band(clear.say(text), factor)
    except ImportError:
        print("(Rubber Band: pip install pedalboard)")
    clear = EngineVoice(voice_id, CLEAR_RATE)
    print(f"{'way':<20} factor understood        mean length")
    for name, say in ways.items():
        for factor in FACTORS:
            right = total = 0
            lengths = []
            for seed in seeds:
                for terms in sums_with_every_number(seed):
                    texts = said_terms(terms)
                    clips = level([at_rate(say(text, factor), RATE) for text in texts])
                    lengths += [clip.seconds for clip in clips]
                    quiet = np.zeros(RATE // 2, np.float32)
                    sound = np.concatenate([x for c in clips for x in (c.samples, quiet)])
                    right += terms_right(texts, heard_terms(sound))
                    total += len(texts)
            mean = statistics.mean(lengths)
            share = 100 * right / total
            print(f"{name:<20} {factor:5.2f} {right:>5}/{total} {share:5.1f} %  {mean:.3f} s")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--voice", nargs="*", default=[None], help="names of `oralquiz voice list`")
    parser.add_argument("--seeds", nargs="*", type=int, default=[7])
    parser.add_argument("--shorten", action="store_true")
    arguments = parser.parse_args()
    if arguments.shorten:
        by_way(arguments.seeds)
    else:
        by_pace(arguments.voice, arguments.seeds)


if __name__ == "__main__":
    main()
