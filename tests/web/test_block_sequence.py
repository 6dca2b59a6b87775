from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from oralquiz.sound.blocks import SESSION_RATE
from oralquiz.web.block_sequence import BlockSequence, Gap, StreamClock

pytestmark = pytest.mark.slow


def test_blocks_in_order_pass_once() -> None:
    sequence = BlockSequence()
    assert [sequence.fresh(*p) for p in ((0, 3), (3, 3), (3, 3), (0, 1), (4, 3), (7, 1))] == [
        *(3, 3, 0, 0, 1, 1),
    ]
    assert (sequence.next, sequence.doubled, sequence.lost) == (8, 6, 0)


def test_a_missing_block_is_asked_for() -> None:
    sequence = BlockSequence(next=5)
    with pytest.raises(Gap) as gap:
        sequence.fresh(7, 3)
    assert gap.value.expected == 5
    assert sequence.next == 5


@pytest.mark.parametrize(
    ("first", "count", "missing"), [(5, 3, 3), (3, 4, 2), (2, 3, 0), (0, 1, 0), (6, 2, 0)]
)
def test_what_is_lost_for_good_is_counted_once(first: int, count: int, missing: int) -> None:
    sequence = BlockSequence(next=5)
    assert sequence.skip(first, count) == missing
    assert (sequence.lost, sequence.next) == (missing, 5 + missing)


@given(st.data())
def test_however_often_the_connection_breaks_every_block_passes_once(data: st.DataObject) -> None:
    """A page sends in order, and after a break again from what is wanted or from earlier."""
    sequence, passed, at = BlockSequence(), [], 0
    for _ in range(40):
        if data.draw(st.integers(0, 4)) == 0:
            at = data.draw(st.integers(max(0, sequence.next - 9), sequence.next))
        count = data.draw(st.integers(1, 8))
        new = sequence.fresh(at, count)
        passed += list(range(at, at + count))[count - new :]
        at += count
    assert passed == list(range(len(passed)))
    assert sequence.next == len(passed)


def test_the_quickest_packet_tells_the_clock() -> None:
    """A stream that began at 50.0 s; its packets take 3 to 40 ms."""
    clock = StreamClock()
    ways = [0.02, 0.011, 0.04, 0.003, 0.03, 0.025]
    for k, way in enumerate(ways, start=1):
        clock.arrived(320 * k, 50.0 + 0.02 * k + way)
    assert clock.time_of(0) == pytest.approx(50.003)
    assert clock.sample_at(51.003) == SESSION_RATE


def test_an_old_offset_is_forgotten() -> None:
    """A clock that runs 100 parts in a million slow falls 2 ms behind in 20 s."""
    clock = StreamClock(memory_s=10.0)
    for k in range(1, 1001):
        clock.arrived(320 * k, 0.02 * k * (1 + 100e-6))
    assert clock.time_of(320_000) == pytest.approx(20.002, abs=0.0011)
    slowest = StreamClock(memory_s=1e9)
    for k in range(1, 1001):
        slowest.arrived(320 * k, 0.02 * k * (1 + 100e-6))
    assert slowest.time_of(320_000) == pytest.approx(20.0, abs=1e-4)


def test_without_a_packet_there_is_no_clock() -> None:
    clock = StreamClock()
    assert not clock.running
    with pytest.raises(ValueError, match="no clock"):
        clock.sample_at(1.0)
    with pytest.raises(ValueError, match="no clock"):
        clock.time_of(0)
