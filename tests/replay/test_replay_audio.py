"""The sound of a replay: what is kept of both lines, and where it is in the MP3."""

from __future__ import annotations

import io
from dataclasses import replace

import numpy as np
import pytest
import soundfile

from oralquiz.replay.replay_audio import BIT_RATES, best_rate, encode, lanes, mix, outline, seconds
from oralquiz.replay.story import tell
from oralquiz.replay.timing import Timing, time_turn
from oralquiz.session.file import Session
from tests.replay.made import RATE, made


def one(session: Session) -> Timing:
    turn = session.turns[0]
    return time_turn(turn, tell(turn.sum, 2), RATE, len(session.audio))


def loud(samples: np.ndarray[tuple[int], np.dtype[np.float32]], at: float) -> float:
    middle = round(at * RATE)
    return float(np.abs(samples[middle - 800 : middle + 800]).max())


def test_the_microphone_is_faded_out_while_the_teacher_speaks() -> None:
    session = made(["34 + 13"], tones=True)
    echo = session.audio.copy()
    echo[:, 1] += echo[:, 0] // 2  # the microphone heard the loudspeaker
    timing = one(session)
    clip = mix(echo, timing, RATE)
    dry = mix(session.audio, timing, RATE)
    assert len(clip) == timing.last - timing.first
    for term in timing.terms:
        middle = (term.onset + term.offset) / 2
        assert loud(clip, middle) == pytest.approx(loud(dry, middle), rel=0.01)
    answer = timing.answers[0]
    assert loud(clip, (answer.onset + answer.offset) / 2) > 0.2


def test_an_answer_over_the_dictation_is_kept() -> None:
    session = made(["34 + 13"], tones=True)
    timing = one(session)
    term = timing.terms[1]
    over = replace(
        timing, answers=(replace(timing.answers[0], onset=term.onset, offset=term.offset),)
    )
    audio = session.audio.copy()
    audio[:, 0] = 0
    audio[:, 1] = 6000
    assert loud(mix(audio, over, RATE), (term.onset + term.offset) / 2) > 0.15
    assert loud(mix(audio, timing, RATE), (term.onset + term.offset) / 2) < 0.01


@pytest.mark.parametrize("bits", BIT_RATES)
def test_mp3_has_the_rate_asked_for_and_every_sound_at_its_time(bits: int) -> None:
    sound = np.zeros(4 * RATE, dtype=np.float32)
    sound[2 * RATE : 2 * RATE + 4000] = 0.3 * np.sin(2 * np.pi * 440 * np.arange(4000) / RATE)
    mp3 = encode(sound, RATE, bits)
    assert len(mp3) * 8 / bits == pytest.approx(4.0, abs=0.15)
    decoded, rate = soundfile.read(io.BytesIO(mp3), dtype="float32")
    assert rate == RATE
    assert seconds(mp3, bits) == pytest.approx(len(decoded) / RATE, abs=0.08)
    onset = np.flatnonzero(np.abs(decoded) > 0.1)[0] / RATE
    # this decoder may itself drop its own delay of 529 samples (33 ms); browsers do not, and
    # are measured in tests/browser
    assert onset == pytest.approx(2.0, abs=0.04)


def test_the_best_rate_that_fits_is_taken() -> None:
    assert best_rate([10.0, 10.0], 100_000) == 32_000
    assert best_rate([10.0, 10.0], 79_999) == 24_000
    assert best_rate([10.0, 10.0], 45_000) == 16_000
    assert best_rate([10.0, 10.0], 1) == 8_000


def test_an_outline_shows_where_it_is_loud() -> None:
    session = made(["34 + 13"], tones=True)
    said, heard = lanes(session.audio, one(session))
    drawn = outline(said, 100)
    assert len(drawn) == 100
    assert max(drawn) == 99
    assert drawn[0] == 0  # the lead
    assert max(outline(heard, 100)[:50]) == 0  # the pupil waits
    assert outline(said[:0], 7) == [0] * 7
