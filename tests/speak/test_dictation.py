from __future__ import annotations

import itertools
import weakref
from functools import partial
from unittest import mock

import numpy as np
import pyloudnorm
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from oralquiz.beads import Sum
from oralquiz.errors import BadInput
from oralquiz.sound.clip import Clip, Samples
from oralquiz.speak.dictation import COUNT_PACE_S, MAX_COMPRESSION, dictate
from oralquiz.speak.last_said import LastSaid
from oralquiz.speak.loudness import PEAK_DBTP, loudness, true_peak
from oralquiz.speak.reading import Reading
from oralquiz.speak.voices import open_voice
from tests.speak.sounds import FakeVoice, found_onsets

SUM = Sum((34, 13, -22, 5))


def rms_db(samples: Samples) -> float:
    return float(10 * np.log10(np.mean(np.square(samples, dtype=np.float64)) + 1e-20))


@given(
    pace=st.floats(0.8, 6.0),
    rate=st.sampled_from([None, 16_000, 44_100, 48_000]),
    terms=st.lists(st.integers(-99, 99).filter(bool), min_size=1, max_size=8),
)
@settings(max_examples=40, deadline=None)
def test_every_onset_is_exactly_at_its_place(
    pace: float, rate: int | None, terms: list[int]
) -> None:
    voice = FakeVoice(16_000)
    try:
        dictation = dictate(Sum(tuple(terms)), voice, pace=pace, sample_rate=rate)
    except BadInput:
        return  # too long for the pace: tested below
    sample_rate = rate or 16_000
    assert dictation.sample_rate == sample_rate
    for k, term in enumerate(dictation.terms):
        assert term.onset == dictation.start + round(k * pace * sample_rate)
        assert rms_db(dictation.samples[term.onset : term.onset + 200]) > -60
    for before, after in itertools.pairwise(dictation.terms):
        assert after.onset - before.offset >= round(0.15 * sample_rate) - 1
        assert not dictation.samples[before.offset : after.onset].any()


@pytest.mark.parametrize("pace", [0.8, 1.0, 1.2, 1.6, 2.0, 2.4, 3.0, 4.5, 6.0])
@pytest.mark.parametrize("rate", [None, 16_000])
def test_onsets_found_again_in_the_sound_are_the_ones_given(pace: float, rate: int | None) -> None:
    dictation = dictate(SUM, open_voice(pace=pace), pace=pace, sample_rate=rate)
    start = dictation.start
    wanted = [start + round(k * pace * dictation.sample_rate) for k in range(len(SUM.terms))]
    assert [term.onset for term in dictation.terms] == wanted
    assert found_onsets(dictation) == wanted


def test_terms_are_equally_loud_without_overload_or_clicks() -> None:
    dictation = dictate(Sum((34, 13, -22, 5, 68, -7)), open_voice(), pace=1.4)
    rate = dictation.sample_rate
    loud = [
        loudness(Clip(dictation.samples[term.onset : term.offset], rate))
        for term in dictation.terms
    ]
    assert max(loud) - min(loud) < 0.2
    assert true_peak(Clip(dictation.samples, rate)) < PEAK_DBTP
    for term in dictation.terms:
        # a click is a step at the join: steps there are at least 40 dB below the sound's largest
        steps = np.abs(np.diff(dictation.samples[term.onset - 2 : term.offset + 2]))
        assert steps[:4].max() < 0.01 * steps.max()
        assert steps[-4:].max() < 0.01 * steps.max()


def test_what_does_not_fit_is_compressed_and_says_by_how_much() -> None:
    # 1.15 s of noise a term, the first 0.55 s
    dictation = dictate(Sum((34, 77, -77)), FakeVoice(16_000), pace=1.1)
    first, second, last = dictation.terms
    assert first.compression == 1.0
    assert second.text == "plus seventy-seven"
    assert second.compression == pytest.approx(0.9 / 0.95, abs=0.01) or second.compression == 1.0
    assert last.compression == 1.0
    squeezed = dictate(Sum((34, 77, -77)), FakeVoice(16_000), pace=0.85)
    assert squeezed.terms[1].compression == pytest.approx(0.9 / 0.7, abs=0.01)
    assert squeezed.terms[1].offset - squeezed.terms[1].onset == pytest.approx(0.7 * 16_000, abs=2)


def test_what_cannot_be_said_in_time_is_refused_with_the_shortest_pace_that_works() -> None:
    voice, long = FakeVoice(16_000), Sum((34, 77, -77))
    with pytest.raises(BadInput, match=r"'plus seventy-seven' .* shortest pace .* 0\.80 s"):
        dictate(long, voice, pace=0.7)
    dictation = dictate(long, voice, pace=0.80)
    assert max(term.compression for term in dictation.terms) <= MAX_COMPRESSION
    with pytest.raises(BadInput):
        dictate(long, voice, pace=0.79)


@pytest.mark.parametrize("pace", [0.0, -1.0, float("nan"), float("inf"), 0.1])
def test_an_impossible_pace_is_refused(pace: float) -> None:
    with pytest.raises(BadInput, match="pace"):
        dictate(SUM, FakeVoice(), pace=pace)


def test_the_gap_is_a_setting_of_its_own() -> None:
    with pytest.raises(BadInput, match="gap"):
        dictate(SUM, FakeVoice(), pace=2.0, gap=-0.1)
    with pytest.raises(BadInput, match="shortest pace"):
        dictate(SUM, FakeVoice(), pace=2.0, gap=1.9)
    dictation = dictate(SUM, FakeVoice(), pace=1.0, gap=0.3)
    for before, after in itertools.pairwise(dictation.terms):
        assert after.onset - before.offset >= 0.3 * dictation.sample_rate - 1


def test_words_before_and_after_keep_their_places() -> None:
    reading = Reading(lead_in=True, count_in=True, closing=True)
    dictation = dictate(SUM, FakeVoice(), pace=2.0, reading=reading)
    rate = dictation.sample_rate
    assert [spoken.text for spoken in dictation.opening] == ["listen", "ready", "set", "go"]
    beats = [spoken.onset for spoken in dictation.opening] + [dictation.start]
    assert {b - a for a, b in itertools.pairwise(beats)} == {round(COUNT_PACE_S * rate)}
    assert dictation.closing is not None
    assert dictation.closing.text == "equals"
    assert dictation.closing.onset > dictation.offset
    assert dictation.closing.offset == len(dictation.samples)
    plain = dictate(SUM, FakeVoice(), pace=2.0)
    assert (plain.opening, plain.closing) == ((), None)
    assert plain.offset == len(plain.samples)
    assert plain.voice == "fake:noise"


def test_a_phrase_is_brought_to_its_rate_and_measured_once_and_let_go_with_its_voice() -> None:
    voice = open_voice(pace=1.5)
    with mock.patch("pyloudnorm.Meter", side_effect=pyloudnorm.Meter) as measured:
        one, other = (dictate(SUM, voice, pace=1.1, sample_rate=16_000) for _ in range(2))
    assert measured.call_count == len(SUM.terms)
    np.testing.assert_array_equal(one.samples, other.samples)
    clip = weakref.ref(voice.say("thirty-four"))
    assert clip() is not None
    assert open_voice(pace=1.5) is voice  # pupils who practise at the same time share it
    del voice
    assert clip() is None


def test_a_voice_keeps_the_last_phrases_only() -> None:
    last, said = LastSaid(most=3), mock.Mock(wraps=FakeVoice().say)
    for text in ("one", "two", "three", "one", "four", "one", "two"):
        last.said(text, partial(said, text))
    assert [call.args[0] for call in said.mock_calls] == ["one", "two", "three", "four", "two"]
    assert len(last) == 3
