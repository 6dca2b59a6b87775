"""From the scores of several hypotheses to calibrated probabilities of numbers."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from oralquiz.listen.hearing import Candidate
from oralquiz.listen.hypothesis import Hypothesis
from oralquiz.listen.language import NumberWords

BENEFIT = 2.0
"""A number is reported while it is at most e^2 times less likely than no number at all: a weak
voice is then asked about, with the number at hand and little confidence, rather than ignored."""


@dataclass(frozen=True)
class Calibration:
    """What turns a model's scores into probabilities; fitted on voices it was not trained on.

    ``scale`` multiplies log-likelihoods, ``other`` is added to those of hypotheses without a number
    word, and ``doubt`` is the share kept for what was not among the hypotheses.
    ``apart`` is added to those of numbers of two and more digits said one by one: not fitted, since
    no collection of voices tells how often people say "four two" for 42; taken as about one time in
    twenty.

    The defaults are for a model that nobody has calibrated. Its scores may be sure of what it
    mishears, so much doubt is kept: no answer is marked wrong on its word (`judge.verdict.Policy`).
    """

    scale: float = 0.3
    other: float = 0.0
    doubt: float = 0.15
    apart: float = -3.0


def candidates(
    hypotheses: Sequence[Hypothesis],
    numbers: NumberWords,
    lowest: int,
    highest: int,
    calibration: Calibration,
) -> tuple[Candidate, ...]:
    """The numbers of the range among the hypotheses, likeliest first.

    None when no number is likely, or when one beyond the range is likelier than any within.
    """
    mass = masses(hypotheses, numbers, calibration)
    words: dict[int, str] = {}
    for hypothesis in hypotheses:
        value = numbers.value(hypothesis.text)
        if value is not None:
            words.setdefault(value, hypothesis.text)
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
    hypotheses: Sequence[Hypothesis], numbers: NumberWords, calibration: Calibration
) -> dict[int | None, float]:
    """How much speaks for each number, of whatever range, and (None) for no single number.

    ``calibration.other`` makes up for the advantage that graphs give to number words. So it raises
    only hypotheses without any; those of numbers run into each other ("eight thirty two") stay as
    they are.
    """
    mass: dict[int | None, float] = {}
    for text, log in _logs(hypotheses, numbers, calibration):
        value = numbers.value(text)
        if value is not None and value >= 10 and numbers.digit_by_digit(text):
            log += calibration.apart
        mass[value] = mass.get(value, 0.0) + math.exp(log)
    return mass


def number_probability(
    hypotheses: Sequence[Hypothesis], numbers: NumberWords, calibration: Calibration
) -> float:
    """The probability that a word that counts was said, of the range or beyond it."""
    mass = {True: 0.0, False: 0.0}
    for text, log in _logs(hypotheses, numbers, calibration):
        mass[numbers.has_number(text)] += math.exp(log)
    return mass[True] / sum(mass.values()) if hypotheses else 0.0


def _logs(
    hypotheses: Sequence[Hypothesis], numbers: NumberWords, calibration: Calibration
) -> Iterator[tuple[str, float]]:
    """Each hypothesis's words and its calibrated log-likelihood, the best score counted as 0."""
    best = max((hypothesis.score for hypothesis in hypotheses), default=0.0)
    for hypothesis in hypotheses:
        raised = 0.0 if numbers.has_number(hypothesis.text) else calibration.other
        yield hypothesis.text, calibration.scale * (hypothesis.score - best) + raised
