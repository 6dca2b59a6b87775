"""Sounds on one timeline, mixed piece by piece."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from oralquiz.sound.mixing import Mixer

pytestmark = pytest.mark.slow


def pieces(mixer: Mixer, length: int, total: int) -> list[float]:
    """What sounds from 0 to ``total``, mixed in pieces of ``length``."""
    out: list[float] = []
    for start in range(0, total, length):
        piece = np.zeros(length, np.float32)
        mixer.mix(piece, start)
        out += piece.tolist()
    return out[:total]


@given(
    st.lists(st.tuples(st.integers(0, 40), st.integers(0, 30)), max_size=5),
    st.integers(1, 17),
)
def test_the_pieces_are_the_whole(sounds: list[tuple[int, int]], length: int) -> None:
    mixer, whole = Mixer(), np.zeros(80)
    for number, (at, count) in enumerate(sounds, start=1):
        mixer.add(np.full(count, number, np.float32), at)
        whole[at : at + count] += number
    assert pieces(mixer, length, 80) == whole.tolist()


def test_it_adds_to_what_is_there() -> None:
    mixer, room = Mixer(), np.full(4, 0.5)
    mixer.add(np.ones(2, np.float32), 1)
    mixer.mix(room, 0)
    assert room.tolist() == [0.5, 1.5, 1.5, 0.5]


def test_stopping_cuts_what_sounds_and_what_was_to_come() -> None:
    mixer = Mixer()
    mixer.add(np.ones(6, np.float32), 0)
    mixer.add(np.ones(6, np.float32), 5)
    mixer.stop(3)
    assert pieces(mixer, 4, 12) == [1, 1, 1] + [0] * 9


def test_what_is_moved_sounds_elsewhere() -> None:
    mixer = Mixer()
    mixer.add(np.ones(2, np.float32), 5)
    mixer.move(-3)
    assert pieces(mixer, 4, 8) == [0, 0, 1, 1, 0, 0, 0, 0]


def test_it_says_whether_something_has_begun() -> None:
    mixer = Mixer()
    mixer.add(np.ones(2, np.float32), 5)
    assert not mixer.sounding(5)
    assert mixer.sounding(6)
    mixer.mix(np.zeros(8), 0)
    assert not mixer.sounding(6)
