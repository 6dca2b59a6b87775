import pytest

from oralquiz.judge.latency import is_early, latency_s


def test_latency_is_the_distance_on_one_clock() -> None:
    assert latency_s(100_000, 132_000, 16_000) == 2.0
    assert latency_s(100_000, 100_002, 16_000) == 0.000125  # two samples


def test_a_voice_before_the_end_of_the_term_is_early() -> None:
    assert latency_s(100_000, 96_000, 16_000) == -0.25
    assert is_early(-0.25)
    assert not is_early(0.0)


def test_no_voice_has_no_latency() -> None:
    assert latency_s(100_000, None, 16_000) is None
    assert not is_early(None)


def test_a_clock_that_stands_still_is_refused() -> None:
    with pytest.raises(ValueError, match="0 hertz"):
        latency_s(0, 1, 0)
