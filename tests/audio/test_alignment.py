"""The clock of two streams, without a device: places, stumbles, sounds found again."""

from __future__ import annotations

import numpy as np
import pytest

from oralquiz.audio.alignment import AGAIN_S, LATEST, PIECE_S, SEARCH_S, Alignment, Search
from oralquiz.sound.blocks import BLOCK, SESSION_RATE, Block
from oralquiz.sound.clip import Samples

LAG_S = 0.3
"""From handing a sample to the loudspeaker of this room to hearing it."""


class Streams:
    """Two streams that run evenly: in every piece one is recorded, then one is played."""

    def __init__(self, rate_in: int = SESSION_RATE, rate_out: int = SESSION_RATE) -> None:
        self.alignment = Alignment(rate_in, rate_out)
        self.time = 100.0
        self.lag_s = LAG_S

    def run(self, pieces: int, *, underflow: bool = False, overflow: bool = False) -> list[int]:
        """Run ``pieces`` of both; returns what ``taking`` said of each. If one stumbles, it is the
        first."""
        moved = []
        for n in range(pieces):
            lines = self.alignment
            lines.recorded(round(PIECE_S * lines.rate_in), self.time, overflow and n == 0)
            moved.append(lines.taking(self.time + self.lag_s, underflow and n == 0))
            lines.took(round(PIECE_S * lines.rate_out))
            self.time += PIECE_S
        return moved


@pytest.mark.parametrize("rate_in", [16_000, 44_100, 48_000])
@pytest.mark.parametrize("rate_out", [16_000, 44_100, 48_000])
def test_times_tell_where_a_frame_is_heard(rate_in: int, rate_out: int) -> None:
    streams = Streams(rate_in, rate_out)
    assert not streams.alignment.settled
    streams.run(LATEST)
    assert streams.alignment.settled
    streams.alignment.trust_times()
    assert streams.alignment.lag == pytest.approx(LAG_S * SESSION_RATE, abs=2)
    assert streams.alignment.now == LATEST * BLOCK
    assert not streams.alignment.lag_measured


def test_positions_begin_where_they_are_said_to() -> None:
    streams = Streams()
    streams.run(LATEST)
    streams.alignment.trust_times()
    before = streams.alignment.now, streams.alignment.heard_at(0)
    streams.alignment.begin_at(5_000, made=1_000)
    assert (streams.alignment.now, streams.alignment.heard_at(0)) == (
        before[0] + 4_000,
        before[1] + 4_000,
    )


@pytest.mark.parametrize("rate_out", [16_000, 44_100])
def test_a_sound_is_placed_where_it_is_wanted_or_as_soon_as_it_can_be(rate_out: int) -> None:
    streams = Streams(rate_out=rate_out)
    streams.run(LATEST)
    streams.alignment.trust_times()
    wanted = streams.alignment.now + SESSION_RATE
    assert streams.alignment.heard_at(streams.alignment.frame_at(wanted)) == pytest.approx(
        wanted, abs=1
    )
    late = streams.alignment.frame_at(streams.alignment.now - SESSION_RATE)
    assert late == streams.alignment.frames_out


def test_what_the_microphone_lost_is_counted_by_the_times() -> None:
    streams = Streams()
    streams.run(10)
    streams.time += 0.1
    lost = streams.alignment.recorded(BLOCK, streams.time, True)
    assert lost == pytest.approx(0.1 * SESSION_RATE, abs=1)
    assert streams.alignment.frames_in == 11 * BLOCK + lost
    assert streams.alignment.recorded(BLOCK, streams.time + 0.5, False) == 0


def test_a_chirp_corrects_the_times_and_what_was_played_before_is_not_looked_for() -> None:
    streams = Streams()
    streams.run(LATEST)
    streams.alignment.trust_times()
    before = streams.alignment.heard_at(0)
    streams.alignment.played(np.ones(SESSION_RATE, np.float32), 0)
    streams.alignment.correct(48)
    assert streams.alignment.heard_at(0) == before + 48
    assert streams.alignment.lag_measured
    assert all(streams.alignment.heard(block) is None for block in blocks(noise(3.0)))


@pytest.mark.parametrize("moved_s", [0.05, -0.05])
def test_a_stumble_that_moved_the_sound_is_mended_once_times_have_settled(moved_s: float) -> None:
    streams = Streams()
    streams.run(2 * LATEST)
    streams.alignment.correct(0)
    before = streams.alignment.heard_at(0)
    streams.lag_s += moved_s
    moves = streams.run(4 * LATEST, underflow=True)
    assert [moved for moved in moves if moved] == [round(moved_s * SESSION_RATE)]
    assert moves.index(round(moved_s * SESSION_RATE)) >= 1.0 / PIECE_S - 1
    assert streams.alignment.heard_at(0) - before == round(moved_s * SESSION_RATE)
    assert not streams.alignment.lag_measured


def test_times_that_wander_a_little_after_a_stumble_move_nothing() -> None:
    streams = Streams()
    streams.run(2 * LATEST)
    streams.lag_s += 0.008
    assert not any(streams.run(4 * LATEST, underflow=True))


def test_a_stumble_before_times_have_settled_moves_nothing() -> None:
    streams = Streams()
    streams.run(LATEST - 1)
    streams.lag_s += 0.1
    assert not any(streams.run(4 * LATEST, underflow=True))


def noise(seconds: float) -> Samples:
    return np.random.default_rng(3).normal(0, 0.1, round(seconds * SESSION_RATE)).astype(np.float32)


def blocks(heard: Samples) -> list[Block]:
    return [Block(at, heard[at : at + BLOCK]) for at in range(0, len(heard), BLOCK)]


def search_for(sound: Samples, place: int, alignment: Alignment, late: int) -> Search | None:
    """``sound`` is played for ``place`` and heard ``late`` samples after it, in a quiet room."""
    room = np.random.default_rng(4).normal(0, 0.001, place + len(sound) + 2 * SESSION_RATE)
    heard = room.astype(np.float32)
    heard[place + late : place + late + len(sound)] += sound
    alignment.played(sound, place)
    found = [search for block in blocks(heard) if (search := alignment.heard(block)) is not None]
    assert len(found) <= 1
    return found[0] if found else None


@pytest.mark.parametrize("late", [-4_000, 0, 30, 60, 4_000])
def test_what_was_played_is_found_and_corrects_the_shift(late: int) -> None:
    alignment = Alignment()
    before = alignment.heard_at(0)
    search = search_for(noise(1.5), SESSION_RATE, alignment, late)
    assert search is not None
    place = search.find()
    assert place is not None and abs(place - SESSION_RATE - late) <= 1
    moved = alignment.found(search, place)
    assert moved == (0 if abs(late) <= 30 else place - SESSION_RATE)
    assert alignment.heard_at(0) == before + moved
    assert alignment.lag_measured


def test_what_is_not_heard_is_not_found() -> None:
    alignment = Alignment()
    alignment.played(noise(1.5), SESSION_RATE)
    room = np.random.default_rng(4).normal(0, 0.001, 5 * SESSION_RATE).astype(np.float32)
    searches = [s for block in blocks(room) if (s := alignment.heard(block)) is not None]
    assert [search.find() for search in searches] == [None]


def test_a_search_holds_the_sound_and_its_surroundings_and_no_more() -> None:
    sound = noise(AGAIN_S)
    search = search_for(sound, 2 * SESSION_RATE, Alignment(), 0)
    assert search is not None
    reach = round(SEARCH_S * SESSION_RATE)
    assert 2 * SESSION_RATE - reach - BLOCK < search.start <= 2 * SESSION_RATE - reach
    assert search.start + len(search.heard) - (2 * SESSION_RATE + len(sound)) in range(
        reach, reach + BLOCK
    )


def test_short_sounds_are_not_looked_for() -> None:
    assert search_for(noise(AGAIN_S - 0.1), SESSION_RATE, Alignment(), 0) is None


def test_a_sound_during_which_it_stumbled_says_nothing() -> None:
    streams = Streams()
    sound, place = noise(1.5), SESSION_RATE
    heard = np.concatenate([np.zeros(place, np.float32), sound, noise(1.0)])
    streams.alignment.played(sound, place)
    first, second = blocks(heard)[:60], blocks(heard)[60:]
    assert all(streams.alignment.heard(block) is None for block in first)
    streams.run(1, overflow=True)
    assert all(streams.alignment.heard(block) is None for block in second)


def test_a_sound_found_after_a_stumble_no_longer_moves_anything() -> None:
    streams = Streams()
    search = search_for(noise(1.5), SESSION_RATE, streams.alignment, 4_000)
    assert search is not None and (place := search.find()) is not None
    streams.run(1, underflow=True)
    before = streams.alignment.heard_at(0)
    assert streams.alignment.found(search, place) == 0
    assert streams.alignment.heard_at(0) == before
    assert not streams.alignment.lag_measured
