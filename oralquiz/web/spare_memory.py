"""Memory that is not needed any more, given back to the system."""

from __future__ import annotations

import ctypes
import sys
from collections.abc import Callable
from functools import cache


def give_back() -> None:
    """Have the C library give free memory back, where it would keep it (glibc).

    A round leaves tens of megabytes of freed sound between what is still used, in as many places as
    there are threads; without this a server grows from round to round although it holds no more.
    """
    trim = _trim()
    if trim is not None:
        trim(0)


@cache
def _trim() -> Callable[[int], int] | None:
    if not sys.platform.startswith("linux"):
        return None
    trim: Callable[[int], int] | None = getattr(ctypes.CDLL(None), "malloc_trim", None)
    return trim
