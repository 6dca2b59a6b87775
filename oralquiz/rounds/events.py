"""What happened in a session, one event a line: the only truth a session file holds.

An event is a JSON object with ``seq`` (0, 1, 2, ...), ``at`` (sample on the session clock at
which it was known) and ``type``; the other keys depend on the type and are listed in FORMAT.md.
Encoding is canonical (fixed key order, no spaces), so equal events are equal bytes; times and
probabilities are rounded to 6 decimals where they are made.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from oralquiz.errors import SessionFileError


def strict_json(text: str) -> Any:
    """JSON as RFC 8259 has it: without NaN and Infinity. Raises ValueError, RecursionError."""

    def refuse(constant: str) -> None:
        raise ValueError(f"{constant} is no JSON")

    return json.loads(text, parse_constant=refuse)


@dataclass(frozen=True)
class Event:
    """One thing that happened at sample ``at``."""

    seq: int
    at: int
    type: str
    data: Mapping[str, Any]

    def encode(self) -> str:
        """The event as one line of JSON, without the newline."""
        whole = {"seq": self.seq, "at": self.at, "type": self.type, **self.data}
        return json.dumps(whole, ensure_ascii=False, separators=(",", ":"))

    @classmethod
    def decode(cls, line: str) -> Event:
        """Read one line. Raises SessionFileError if it is no event."""
        try:
            whole = strict_json(line)
            seq, at, kind = whole.pop("seq"), whole.pop("at"), whole.pop("type")
        except (ValueError, KeyError, AttributeError, TypeError, RecursionError):
            raise SessionFileError(f"not an event: {line[:60]!r}") from None
        if not (isinstance(seq, int) and isinstance(at, int) and isinstance(kind, str)):
            raise SessionFileError(f"not an event: {line[:60]!r}")
        return cls(seq, at, kind, whole)
