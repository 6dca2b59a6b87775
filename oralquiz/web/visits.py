"""Which visits have ended: signing out also ends every copy of the cookie."""

from __future__ import annotations

import secrets
import time
from collections.abc import Callable
from pathlib import Path

import msgspec

from oralquiz.errors import BadInput
from oralquiz.folders import write_private


class Visits:
    """Every cookie that opens something names its visit. A visit that has ended opens nothing; it
    is kept at ``path`` until its cookie would have run out by itself.

    Raises BadInput for a file at ``path`` that this program did not write.
    """

    def __init__(self, path: Path, now: Callable[[], float] = time.time) -> None:
        self._path = path
        self._now = now
        self._ended = _read(path)

    def begin(self) -> str:
        """A mark for a new visit."""
        return secrets.token_urlsafe(12)

    def end(self, visit: str, until: float) -> None:
        """``visit`` is over; its cookie would be good ``until`` then (seconds since the epoch)."""
        now = self._now()
        self._ended = {one: end for one, end in self._ended.items() if end > now} | {visit: until}
        write_private(self._path, msgspec.json.encode(self._ended))

    def has_ended(self, visit: str) -> bool:
        return visit in self._ended


def _read(path: Path) -> dict[str, float]:
    try:
        return msgspec.json.decode(path.read_bytes(), type=dict[str, float])
    except FileNotFoundError:
        return {}
    except (OSError, ValueError) as error:
        raise BadInput(f"{path}: no list of visits ({error}); remove it to start over") from None
