"""Exact integers in limbs."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from oralquiz.compose import limbs


def limbs_of(numbers: list[int], count: int) -> limbs.Limbs:
    return np.array(
        [
            [n >> (limbs.BITS * at) & ((1 << limbs.BITS) - 1) for n in numbers]
            for at in range(count)
        ],
        dtype=np.int64,
    )


@given(st.lists(st.integers(0, 2**190), min_size=1, max_size=9), st.integers(1, 200))
def test_sums_settle_to_the_exact_integers(numbers: list[int], times: int) -> None:
    settled = limbs.settle(limbs_of(numbers, 4) * times)
    assert [limbs.to_int(settled, at) for at in range(len(numbers))] == [n * times for n in numbers]
    assert (settled >= 0).all()
    assert (settled < 2**limbs.BITS).all()


@given(st.integers(0, 2**140), st.integers(0, 2**140))
def test_differences_borrow(a: int, b: int) -> None:
    high, low = max(a, b), min(a, b)
    difference = limbs_of([high], 3) - limbs_of([low], 3)
    limbs.settle_in_place(difference)
    assert limbs.to_int(difference, 0) == high - low


@given(st.integers(0, 2**300))
def test_floats_are_close(number: int) -> None:
    value = limbs.to_float(limbs_of([number], 7))[0]
    assert abs(value - number) <= number * 2**-50
