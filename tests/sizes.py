"""How much a test does: the usual amount, or the full one with ``ORALQUIZ_THOROUGH=1``."""

from __future__ import annotations

import os
from typing import TypeVar

Amount = TypeVar("Amount")

THOROUGH = os.environ.get("ORALQUIZ_THOROUGH") == "1"


def size(usual: Amount, thorough: Amount) -> Amount:
    """``usual`` in an ordinary run of the suite, ``thorough`` in a full one."""
    return thorough if THOROUGH else usual
