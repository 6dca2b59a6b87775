"""What was worked out of a clip, kept for as long as the clip is.

A voice keeps what it has said, and a class is read the same few words hundreds of times: bringing
them to another rate and measuring their loudness is nearly all that a dictation costs.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable
from functools import wraps
from typing import Concatenate, ParamSpec, TypeVar
from weakref import WeakKeyDictionary

from oralquiz.sound import Clip

P = ParamSpec("P")
T = TypeVar("T")


def once_a_clip(work: Callable[Concatenate[Clip, P], T]) -> Callable[Concatenate[Clip, P], T]:
    """``work``, of a clip and of hashable settings, done once for the same ones. What comes of it
    must not hold the clip: neither would ever be let go."""
    kept: WeakKeyDictionary[Clip, dict[Hashable, T]] = WeakKeyDictionary()

    @wraps(work)
    def once(clip: Clip, /, *settings: P.args, **named: P.kwargs) -> T:
        found, key = kept.setdefault(clip, {}), (settings, *named.items())
        if key not in found:
            found[key] = work(clip, *settings, **named)
        return found[key]

    return once
