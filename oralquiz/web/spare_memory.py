"""Memory that is not needed any more, given back to the system."""

from __future__ import annotations

import ctypes
import gc
import sys
from collections.abc import Callable
from functools import cache


def give_back() -> None:
    """Let go of what only refers to itself, as rounds that are over do, and have the C library give
    free memory back, where it would keep it (glibc).

    A round leaves tens of megabytes of freed sound between what is still used, in as many places as
    there are threads; without this a server grows from round to round although it holds no more.
    """
    gc.collect()
    trim = _of_c("malloc_trim")
    if trim is not None:
        trim(0)


def few_heaps() -> None:
    """Have the C library keep HEAPS heaps for all threads, instead of one or more for each (glibc).
    Called before there are threads."""
    limit = _of_c("mallopt")
    if limit is not None:
        limit(_M_ARENA_MAX, HEAPS)


HEAPS = 2
"""One for the first thread, one for all others: what is free in one is of no use to another."""

_M_ARENA_MAX = -8  # malloc.h


@cache
def _of_c(name: str) -> Callable[..., int] | None:
    if not sys.platform.startswith("linux"):
        return None
    found: Callable[..., int] | None = getattr(ctypes.CDLL(None), name, None)
    return found
