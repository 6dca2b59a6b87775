"""The default voice is understood by a recogniser that is not ours."""

from __future__ import annotations

import pytest

from oralquiz.speak.dictation import dictate
from oralquiz.speak.voices import open_voice
from tests.sizes import size
from tests.speak.understood import (
    RATE,
    heard_terms,
    said_terms,
    sums_with_every_number,
    terms_right,
)

pytestmark = pytest.mark.slow


def test_every_number_is_understood_at_two_seconds() -> None:
    """Each in one of twenty sums; an ordinary run says every fifth of them."""
    voice = open_voice(pace=2.0)
    missed = []
    for terms in sums_with_every_number()[:: size(5, 1)]:
        dictation = dictate(terms, voice, pace=2.0, sample_rate=RATE)
        said, heard = said_terms(terms), heard_terms(dictation.samples)
        if heard != said:
            missed.append((said, heard))
    assert missed == []


def test_the_ear_can_tell_a_wrong_number() -> None:
    """The check can fail: a sum other than the one said is not heard."""
    terms, other = sums_with_every_number()[:2]
    dictation = dictate(terms, open_voice(pace=2.0), pace=2.0, sample_rate=RATE)
    assert terms_right(said_terms(other), heard_terms(dictation.samples)) == 0
