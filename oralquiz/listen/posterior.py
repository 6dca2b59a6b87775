"""How sure is it: from the scores of several readings to calibrated probabilities of numbers."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from oralquiz.listen.hearing import Candidate
from oralquiz.listen.spoken import NumberWords, said_apart
from oralquiz.listen.voskapi import Hypothesis

BENEFIT = 2.0
"""A number is reported while it is at most e^2 times less likely than no number at all: a weak
voice is then asked about, with the number at hand and little confidence, rather than ignored."""


@dataclass(frozen=True)
class Calibration:
    """What turns a model's scores into probabilities; fitted on voices it was not trained on.

    ``scale`` multiplies log-likelihoods, ``other`` is added to those of readings without a number
    word, and ``doubt`` is the share kept for what was not among the readings.
    ``apart`` is added to those of numbers of two and more digits said one by one: not fitted, since
    how often people say "four two" for 42 no collection of voices tells; about one time in twenty.

    The defaults are for a model that nobody has calibrated. Its scores may be sure of what it
    mishears, so much doubt is kept: no answer is marked wrong on its word (`judge.verdict.Policy`).
    """

    scale: float = 0.3
    other: float = 0.0
    doubt: float = 0.15
    apart: float = -3.0


def candidates(
    readings: Sequence[Hypothesis],
    numbers: NumberWords,
    lowest: int,
    highest: int,
    calibration: Calibration,
) -> tuple[Candidate, ...]:
    """The numbers of the range among the readings, likeliest first.

    None when no number is likely, or when one beyond the range is likelier than any within.
    """
    mass = masses(readings, numbers, calibration)
    words: dict[int, str] = {}
    for reading in readings:
        value = numbers.value(reading.text)
        if value is not None:
            words.setdefault(value, reading.text)
    ranked = sorted(words, key=lambda value: (-mass[value], value))
    if not ranked or not lowest <= ranked[0] <= highest:
        return ()
    if mass[ranked[0]] * math.exp(BENEFIT) <= mass.get(None, 0.0):
        return ()
    sure = (1 - calibration.doubt) / sum(mass.values())
    return tuple(
        Candidate(value, words[value], mass[value] * sure)
        for value in ranked
        if lowest <= value <= highest
    )


def masses(
    readings: Sequence[Hypothesis], numbers: NumberWords, calibration: Calibration
) -> dict[int | None, float]:
    """How much speaks for each number, of whatever range, and (None) for no single number.

    ``calibration.other`` makes up for what graphs give to number words. So it raises only readings
    without any; those of numbers run into each other ("eight thirty two") stay as they are.
    """
    mass: dict[int | None, float] = {}
    for text, log in _logs(readings, numbers, calibration):
        value = numbers.value(text)
        if value is not None and value >= 10 and said_apart(text):
            log += calibration.apart
        mass[value] = mass.get(value, 0.0) + math.exp(log)
    return mass


def any_number(
    readings: Sequence[Hypothesis], numbers: NumberWords, calibration: Calibration
) -> float:
    """The probability that a word that counts was said, of the range or beyond it."""
    mass = {True: 0.0, False: 0.0}
    for text, log in _logs(readings, numbers, calibration):
        mass[numbers.some(text)] += math.exp(log)
    return mass[True] / sum(mass.values()) if readings else 0.0


def _logs(
    readings: Sequence[Hypothesis], numbers: NumberWords, calibration: Calibration
) -> Iterator[tuple[str, float]]:
    """Each reading's words and its calibrated log-likelihood, the best score counted as 0."""
    best = max((reading.score for reading in readings), default=0.0)
    for reading in readings:
        raised = 0.0 if numbers.some(reading.text) else calibration.other
        yield reading.text, calibration.scale * (reading.score - best) + raised
