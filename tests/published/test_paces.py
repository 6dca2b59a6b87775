"""Paces in use elsewhere can be dictated exactly.

Paced Auditory Serial Addition Test: one-digit numbers every 2.4, 2.0, 1.6 and 1.2 seconds (NINDS
common data elements), and the forms with 3 and 2 seconds.
"""

from __future__ import annotations

import pytest

from oralquiz.beads import Sum
from oralquiz.speak.dictation import dictate
from oralquiz.speak.reading import Reading
from oralquiz.speak.voices import open_voice

DIGITS = Sum((1, 4, 8, 5, 7, 2, 9, 3, 6))


@pytest.mark.parametrize("pace", [3.0, 2.4, 2.0, 1.6, 1.2])
def test_digits_at_the_paces_of_paced_serial_addition(pace: float) -> None:
    reading = Reading(signs="minus_only")  # nothing but the digits is said
    dictation = dictate(DIGITS, open_voice(pace=pace), pace=pace, reading=reading)
    assert [term.text for term in dictation.terms] == [
        *"one four eight five seven two nine three six".split()
    ]
    for k, term in enumerate(dictation.terms):
        assert term.onset - dictation.start == round(k * pace * dictation.sample_rate)
        assert term.compression == 1.0
