from __future__ import annotations

import numpy as np

from oralquiz.audio.virtual_room import VirtualRoom
from oralquiz.rounds.playback import Playback
from oralquiz.sound.blocks import BLOCK
from oralquiz.sound.clip import Samples


class TakesOut:
    """An echo filter that was told exactly what sounds."""

    def __init__(self) -> None:
        self.sounds = np.zeros(4 * BLOCK, np.float32)

    def played(self, samples: Samples, at: int) -> None:
        self.sounds[at : at + len(samples)] += samples

    def stopped(self, at: int) -> None:
        self.sounds[at:] = 0

    def clean(self, start: int, heard: Samples) -> Samples:
        cleaned: Samples = heard - self.sounds[start : start + len(heard)]
        return cleaned


def test_what_is_played_is_mixed_until_it_is_stopped_and_the_echo_filter_knows() -> None:
    playback = Playback(VirtualRoom(np.random.default_rng(1)), TakesOut())
    assert playback.play(np.full(3 * BLOCK, 0.25, np.float32), BLOCK // 2) == BLOCK // 2
    playback.stop(2 * BLOCK)
    mixed = np.concatenate([playback.mixed(block * BLOCK, BLOCK) for block in range(4)])
    sounding = np.flatnonzero(mixed)
    assert (sounding[0], sounding[-1], len(sounding)) == (BLOCK // 2, 2 * BLOCK - 1, 3 * BLOCK // 2)
    assert not playback.cleaned(BLOCK, mixed[BLOCK : 2 * BLOCK]).any()
