from __future__ import annotations

import numpy as np

from oralquiz.audio.one_take import record_one_word
from oralquiz.sound.blocks import BLOCK, SESSION_RATE, Block
from oralquiz.sound.clip import Samples


class Tape:
    """A microphone that plays a recording; ``late`` blocks of it are in the queue already."""

    def __init__(self, sound: Samples, late: int = 0) -> None:
        self.sound = sound
        self.position = 0
        self.late = late

    def now(self) -> int:
        return self.position + self.late * BLOCK

    def read(self) -> Block | None:
        if self.position + BLOCK > len(self.sound):
            return None
        block = Block(self.position, self.sound[self.position : self.position + BLOCK])
        self.position += BLOCK
        return block


def room(seconds: float) -> Samples:
    rng = np.random.default_rng(4)
    return (2e-4 * rng.standard_normal(round(seconds * SESSION_RATE))).astype(np.float32)


def with_word(seconds: float, at: float, length: float) -> Samples:
    sound = room(seconds)
    t = np.arange(round(length * SESSION_RATE)) / SESSION_RATE
    word = np.sum([0.2 * np.sin(2 * np.pi * 150 * k * t) / k for k in range(1, 9)], axis=0)
    begin = round(at * SESSION_RATE)
    sound[begin : begin + len(t)] += word.astype(np.float32)
    return sound


def test_a_take_ends_soon_after_the_word() -> None:
    taken = record_one_word(Tape(with_word(6.0, 1.0, 0.5)))
    assert 2.0 <= len(taken) / SESSION_RATE <= 2.4
    assert np.abs(taken[round(1.05 * SESSION_RATE) : round(1.45 * SESSION_RATE)]).max() > 0.1


def test_without_a_word_it_ends_after_the_longest_wait() -> None:
    assert len(record_one_word(Tape(room(10.0)), longest_s=3.0)) == 3 * SESSION_RATE


def test_what_was_said_before_the_prompt_does_not_count() -> None:
    tape = Tape(np.concatenate([with_word(1.0, 0.2, 0.5), with_word(5.0, 1.0, 0.5)]), late=50)
    taken = record_one_word(tape)
    assert np.abs(taken[: round(0.9 * SESSION_RATE)]).max() < 0.01
    assert np.abs(taken).max() > 0.1


def test_a_stream_that_ends_ends_the_take() -> None:
    assert len(record_one_word(Tape(room(0.5)))) == SESSION_RATE // 2
    assert len(record_one_word(Tape(room(0.0)))) == 0
