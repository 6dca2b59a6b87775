"""The spoken explanation: repeated sentences are kept once, times are exact."""

from __future__ import annotations

import io

import numpy as np
import pytest
import soundfile

from oralquiz.beads import Sum
from oralquiz.replay.spoken_steps import Explainer
from oralquiz.replay.step_words import phrases
from oralquiz.replay.story import tell
from oralquiz.sound.clip import Clip


class Beeper:
    """A voice that beeps, longer for longer texts, and remembers what it was asked to say."""

    name = "beeper"
    sample_rate = 22_050

    def __init__(self) -> None:
        self.said: list[str] = []

    def say(self, text: str) -> Clip:
        self.said.append(text)
        count = 220 * len(text)
        wave = 0.3 * np.sin(2 * np.pi * 440 * np.arange(count) / self.sample_rate)
        return Clip(wave.astype(np.float32), self.sample_rate)


def test_each_step_is_said_and_then_shown_and_the_answer_comes_last() -> None:
    voice = Beeper()
    explainer = Explainer(voice, "hands", phrases("en"))
    story = tell(Sum.parse("34 + 13"), 2)
    told = explainer.explain(story)
    assert voice.said[-2:] == ["The hands show 47.", "That is the answer."]
    assert "3 more: not enough fingers, so plus 5 and minus 2." in voice.said
    assert len(told.beats) == len(story.steps)
    for beat, mark in zip(told.beats, told.said, strict=False):  # one sentence for each step here
        assert beat.slot == mark.onset
        assert beat.start == mark.offset  # nothing moves while it is being said
    assert told.beats[3].end - told.beats[3].start == pytest.approx(1.8)  # two gestures
    assert told.answer_at == told.said[-2].onset


def test_a_sentence_is_kept_once_for_all_sums() -> None:
    voice = Beeper()
    explainer = Explainer(voice, "hands", phrases("en"))
    for text in ("34 + 13", "34 + 13", "31 + 13"):
        explainer.explain(tell(Sum.parse(text), 2))
    assert len(voice.said) == len(set(voice.said))


def test_the_pieces_played_end_to_end_are_as_long_as_is_said() -> None:
    explainer = Explainer(Beeper(), "hands", phrases("en"))
    told = explainer.explain(tell(Sum.parse("7 + 6 - 8"), 2))
    whole = b"".join(explainer.pieces[name] for name in told.pieces)
    decoded, rate = soundfile.read(io.BytesIO(whole), dtype="float32")
    assert len(decoded) / rate == pytest.approx(told.duration, abs=0.1)
    loud = np.abs(decoded) > 0.1
    for mark in told.said:  # each sentence sounds where its caption is
        middle = round((mark.onset + mark.offset) / 2 * rate)
        assert loud[middle - 400 : middle + 400].any()
    for beat in told.beats:  # and it is quiet where something moves
        start = round((beat.start + 0.1) * rate)
        assert not loud[start : round(beat.end * rate)].any()
