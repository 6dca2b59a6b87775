"""What travels between a page and the server, and the limits on it.

Sound comes as binary packets of a few blocks: the 32-bit number of the first block, then BLOCK
16-bit samples for each, all little-endian. Everything else is small JSON objects that name
themselves in ``t``.
"""

from __future__ import annotations

import json
import struct
from collections.abc import Mapping
from typing import Any

from oralquiz.errors import BadInput
from oralquiz.sound import BLOCK, Samples, from_pcm16, to_pcm16

_HEAD = struct.Struct("<I")
BLOCKS_MOST = 8
"""Blocks in one packet at most (160 ms). Pages send three: a class then costs the server a third
of the messages, and a voice's end comes 20 ms later on average."""

PACKET_BYTES = _HEAD.size + 2 * BLOCK * BLOCKS_MOST
"""The longest packet."""

MESSAGE_BYTES = 2_000
"""The longest JSON message a page has a reason to send."""

MAX_TYPED = 999_999_999

# what a page may say: kind -> the type of each field
_FIELDS: dict[str, dict[str, type]] = {
    "hello": {"mic": bool, "run": str, "first": int, "play": int},
    "ready": {"mic": bool},
    "delay": {"out_s": float, "in_s": float, "measured": bool},
    "late": {"run": str, "play": int},
    "typed": {"run": str, "value": int},
    "command": {"run": str, "name": str},
    "pong": {"n": int},
    "time": {"stretch": int},
    "practise": {"pace_s": float, "count": int},
    # the teacher's page
    "do": {"name": str, "pupil": str},
    "correct": {"number": int, "verdict": str, "value": int},
    "reveal": {"on": bool},
}
_OPTIONAL = {("correct", "value"), ("do", "pupil")}


class ProtocolError(BadInput):
    """A page sent something that no page of ours sends."""


def packet(raw: bytes) -> tuple[int, Samples]:
    """The first block's number and the samples (k * BLOCK,) of a packet. Raises ProtocolError."""
    blocks, rest = divmod(len(raw) - _HEAD.size, 2 * BLOCK)
    if rest or not 1 <= blocks <= BLOCKS_MOST:
        raise ProtocolError(f"a packet has 1 to {BLOCKS_MOST} blocks, not {len(raw)} bytes")
    samples = from_pcm16(raw[_HEAD.size :])
    return _HEAD.unpack_from(raw)[0], samples


def as_packet(number: int, samples: Samples) -> bytes:
    """A packet, as a page makes it: the other end of ``packet``."""
    return _HEAD.pack(number) + to_pcm16(samples).tobytes()


def message(text: str) -> Mapping[str, Any]:
    """A page's message with every field of the right type. Raises ProtocolError."""
    if len(text) > MESSAGE_BYTES:
        raise ProtocolError(f"a message has at most {MESSAGE_BYTES} characters")
    try:
        data: Any = json.loads(text)
    except (ValueError, RecursionError):
        raise ProtocolError("a message is a JSON object") from None
    kind = data.get("t") if isinstance(data, dict) else None
    if not isinstance(kind, str) or kind not in _FIELDS:
        raise ProtocolError("a message names its kind")
    for name, wanted in _FIELDS[kind].items():
        value: Any = data.get(name)
        if value is None and (kind, name) in _OPTIONAL:
            continue
        if wanted is float and isinstance(value, int) and not isinstance(value, bool):
            value = data[name] = float(value)
        if type(value) is not wanted:
            raise ProtocolError(f"{kind}: {name} is missing or of another type")
        if wanted in (int, float) and not abs(float(data[name])) < 2**40:
            raise ProtocolError(f"{kind}: {name} is too large")
    checked: Mapping[str, Any] = data
    return checked
