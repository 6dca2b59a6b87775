"""How sure is it: from the scores of several readings to calibrated probabilities of numbers."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from oralquiz.listen.hearing import Guess
from oralquiz.listen.spoken import NumberWords, said_apart
from oralquiz.listen.voskapi import Reading

BENEFIT = 1.5
"""A number is reported while it is at most e^1.5 times less likely than no number at all: a weak
voice is then asked about, with the number at hand and little confidence, rather than ignored."""


@dataclass(frozen=True)
class Calibration:
    """What turns a model's scores into probabilities; fitted on voices it was not trained on.

    ``scale`` multiplies log-likelihoods, ``other`` is added to those of readings that are no
    number of the range, and ``doubt`` is the share kept for what was not among the readings.
    ``apart`` is added to those of numbers of two and more digits said one by one: not fitted, since
    how often people say "four two" for 42 no collection of voices tells; about one time in twenty.
    """

    scale: float = 0.3
    other: float = 0.0
    doubt: float = 0.005
    apart: float = -3.0


def guesses(
    readings: Sequence[Reading],
    numbers: NumberWords,
    lowest: int,
    highest: int,
    calibration: Calibration,
) -> tuple[Guess, ...]:
    """The numbers of the range among the readings, likeliest first; none when none is likely."""
    mass: dict[int | None, float] = {}
    words: dict[int, str] = {}
    best = max((reading.score for reading in readings), default=0.0)
    for reading in readings:
        value = numbers.value(reading.text)
        log = calibration.scale * (reading.score - best)
        if value is None or not lowest <= value <= highest:
            value = None
            log += calibration.other
        else:
            words.setdefault(value, reading.text)
            if value >= 10 and said_apart(reading.text):
                log += calibration.apart
        mass[value] = mass.get(value, 0.0) + math.exp(log)
    total = sum(mass.values()) / (1 - calibration.doubt)
    ranked = sorted(words, key=lambda value: (-mass[value], value))
    if not ranked or mass[ranked[0]] * math.exp(BENEFIT) <= mass.get(None, 0.0):
        return ()
    return tuple(Guess(value, words[value], mass[value] / total) for value in ranked)
