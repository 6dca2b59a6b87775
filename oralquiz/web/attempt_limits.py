"""How often one may try to get in."""

from __future__ import annotations

from enum import StrEnum

from oralquiz.web.credentials import Limit
from oralquiz.web.page_stream import Now

ONE_ADDRESS = (10.0, 1 / 30)
"""Attempts at once from one address, and how many a second after that."""

ALL_ADDRESSES = (120.0, 0.5)
"""The same from the whole class network."""


class Purpose(StrEnum):
    """What is tried: attempts at one do not count towards the other."""

    PASSPHRASE = "passphrase"
    CODE = "code"


class AttemptLimits:
    """Failed attempts, by purpose and address. Those of the whole class network are limited
    together, too; the teacher's own computer does not count among them, so nobody else can lock it
    out."""

    def __init__(self, now: Now) -> None:
        self._one = {purpose: Limit(*ONE_ADDRESS, now) for purpose in Purpose}
        self._all = {purpose: Limit(*ALL_ADDRESSES, now) for purpose in Purpose}

    def may_try(self, purpose: Purpose, address: str, *, own: bool) -> bool:
        """Whether ``address`` may try now; ``own``: it is this computer itself."""
        return self._one[purpose].take(address) and (own or self._all[purpose].take(""))

    def came_in(self, purpose: Purpose, address: str, *, own: bool) -> None:
        """Only attempts that fail count: a whole class may come from behind one address."""
        self._one[purpose].give_back(address)
        if not own:
            self._all[purpose].give_back("")
