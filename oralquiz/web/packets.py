"""Sound on its way from a page: binary packets of a few blocks.

A packet is the 32-bit number of its first block, then BLOCK 16-bit samples for each block, all
little-endian.
"""

from __future__ import annotations

import struct

import numpy as np

from oralquiz.sound import BLOCK, Pcm, Samples, to_pcm16
from oralquiz.web.protocol import ProtocolError

_HEAD = struct.Struct("<I")
BLOCKS_MOST = 12
"""Blocks in one packet at most (240 ms). Pages send three: a class then costs the server a third
of the messages, and the end of a voice is noticed 20 ms later on average. While a sum is read, up
to its last term, no answer can come: pages send twelve."""

PACKET_BYTES = _HEAD.size + 2 * BLOCK * BLOCKS_MOST
"""The longest packet."""


def packet(raw: bytes) -> tuple[int, Pcm]:
    """The first block's number and the sound (k * BLOCK,) of a packet. Raises ProtocolError."""
    blocks, rest = divmod(len(raw) - _HEAD.size, 2 * BLOCK)
    if rest or not 1 <= blocks <= BLOCKS_MOST:
        raise ProtocolError(f"a packet has 1 to {BLOCKS_MOST} blocks, not {len(raw)} bytes")
    return _HEAD.unpack_from(raw)[0], np.frombuffer(raw, "<i2", offset=_HEAD.size)


def as_packet(number: int, samples: Samples) -> bytes:
    """A packet, as a page makes it: the inverse of ``packet``."""
    return _HEAD.pack(number) + to_pcm16(samples).tobytes()
