"""How long sound and messages take to a page and back."""

from __future__ import annotations

from oralquiz.web.page_stream import Delays

MOST_DELAY_S = 2.0
"""A delay counts as at most this, whatever a page says."""

PINGS = 4
"""Pings that may be under way at once."""


class PageDelays:
    """All in seconds. What the page says of its sound, and what pings measure."""

    def __init__(self) -> None:
        self._out_s = 0.0
        self._in_s = 0.0
        self._way_s = 0.05
        self._pings: dict[int, float] = {}

    def are(self, out_s: float, in_s: float) -> None:
        """Note how long sound takes out of the loudspeaker and in from the microphone."""
        self._out_s = min(max(0.0, out_s), MOST_DELAY_S)
        self._in_s = min(max(0.0, in_s), MOST_DELAY_S)

    def pinged(self, now_s: float) -> int:
        """The number of a ping that is sent at ``now_s``."""
        number = max(self._pings, default=0) + 1
        self._pings = dict([*self._pings.items(), (number, now_s)][-PINGS:])
        return number

    def ponged(self, number: int, now_s: float) -> None:
        """The answer to ping ``number`` came."""
        sent_s = self._pings.pop(number, None)
        if sent_s is None:
            return
        # jumps up at once, comes down slowly: too early is worse than a little late
        self._way_s = min(max(now_s - sent_s, 0.9 * self._way_s), MOST_DELAY_S)

    @property
    def known(self) -> Delays:
        """What is known so far."""
        return Delays(self._out_s + self._in_s, self._in_s, self._way_s)
