"""Arrays of exact non-negative integers wider than 64 bits.

An array of shape S is kept as int64 limbs of shape (L, *S), lowest limb first, base 2**50: a sum
of 2**12 limbs still fits an int64, so that sums and differences are taken limb by limb and the
carries settled once.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

Limbs = NDArray[np.int64]
BITS = 50
_MASK = (1 << BITS) - 1


def settle(limbs: Limbs) -> Limbs:
    """The same non-negative numbers with each limb in 0 .. 2**50 - 1, and no empty top limb."""
    settled: list[Limbs] = []
    carry: Limbs | None = None
    for limb in limbs:
        whole = limb if carry is None else limb + carry
        settled.append(whole & _MASK)
        carry = whole >> BITS
    while carry is not None and carry.any():
        settled.append(carry & _MASK)
        carry = carry >> BITS
    while len(settled) > 1 and not settled[-1].any():
        settled.pop()
    return np.stack(settled)


def settle_in_place(limbs: Limbs) -> None:
    """As `settle`, for numbers that fit the limbs they have."""
    for low, high in pairwise(limbs):
        high += low >> BITS
        low &= _MASK


def to_int(limbs: Limbs, *at: int) -> int:
    """One element, exactly."""
    value = 0
    for limb in limbs[::-1]:
        value = (value << BITS) + int(limb[at])
    return value


def to_float(limbs: Limbs) -> NDArray[np.float64]:
    """Every element as the nearest float64, up to a rounding a limb."""
    value: NDArray[np.float64] = limbs[-1].astype(np.float64)
    for limb in limbs[-2::-1]:
        value = value * 2.0**BITS + limb
    return value
