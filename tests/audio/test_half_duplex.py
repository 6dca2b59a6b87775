from __future__ import annotations

import numpy as np

from oralquiz.audio.half_duplex import TAIL_S, HalfDuplexGate
from oralquiz.sound.blocks import BLOCK, SESSION_RATE


def test_what_sounds_is_replaced_by_the_rooms_own_noise() -> None:
    rng = np.random.default_rng(1)
    room = (rng.standard_normal((60, BLOCK)) * 1e-3).astype(np.float32)
    loud = np.full(BLOCK, 0.5, dtype=np.float32)
    gate = HalfDuplexGate()
    gate.played(np.ones(10 * BLOCK, dtype=np.float32), 20 * BLOCK)
    tail = round(TAIL_S * SESSION_RATE) // BLOCK
    for k in range(60):
        sounding = 20 <= k < 30 + tail
        out = gate.clean(k * BLOCK, loud if sounding else room[k])
        if sounding:
            assert any(np.array_equal(out, quiet) for quiet in room[:20])
        else:
            assert out is room[k] or np.array_equal(out, room[k])


def test_when_it_stops_listening_resumes() -> None:
    gate = HalfDuplexGate()
    voice = np.full(BLOCK, 0.5, dtype=np.float32)
    gate.clean(0, np.zeros(BLOCK, dtype=np.float32))
    gate.played(np.ones(100 * BLOCK, dtype=np.float32), BLOCK)
    gate.stopped(3 * BLOCK)
    heard = [bool(gate.clean(k * BLOCK, voice).any()) for k in range(1, 12)]
    assert heard == [False] * 8 + [True] * 3
