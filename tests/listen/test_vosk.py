"""Vosk as the decoder: what it loads, and what it gives."""

from __future__ import annotations

import numpy as np
import pytest

from oralquiz.listen.models import find_model
from oralquiz.listen.vosk import VoskDecoder, loaded_model
from oralquiz.sound.sound_files import read_recording
from tests.listen.rooms import RATE


def test_what_is_loaded_is_shared() -> None:
    model = find_model()
    graph = model.graph(0, 99)
    assert loaded_model(model, graph) is loaded_model(find_model(), graph)
    assert loaded_model(model, graph) is not loaded_model(model, model.graph(0, 9))


def test_hypotheses_come_best_first_with_their_times() -> None:
    clip = find_model().path / "self_test" / "42.flac"
    samples = read_recording(clip, RATE)
    found = VoskDecoder(find_model()).decode(samples, 0, 99)
    assert found[0].text == "forty two"
    assert [one.score for one in found] == sorted((one.score for one in found), reverse=True)
    seconds = len(samples) / RATE
    first, last = found[0].words
    assert 0 <= first.start_s < first.end_s <= last.start_s < last.end_s <= seconds


def test_what_comes_after_a_sound_does_not_move_its_times() -> None:
    decoder = VoskDecoder(find_model())
    samples = read_recording(find_model().path / "self_test" / "42.flac", RATE)
    later = np.concatenate([np.zeros(RATE // 2, np.float32), samples])
    (first, _), (moved, _) = (decoder.decode(s, 0, 99)[0].words for s in (samples, later))
    assert moved.start_s - first.start_s == pytest.approx(0.5, abs=0.07)


def test_nothing_at_all_is_not_a_number() -> None:
    decoder = VoskDecoder(find_model())
    assert all(not one.words for one in decoder.decode(np.zeros(0, np.float32), 0, 99)[:1])
