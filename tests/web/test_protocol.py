from __future__ import annotations

import json
import struct

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from oralquiz.sound.blocks import BLOCK
from oralquiz.sound.pcm import from_pcm16
from oralquiz.web.packets import PACKET_BYTES, as_packet, packet
from oralquiz.web.protocol import Delay, Do, ProtocolError, Typed, from_page


def test_a_packet_is_a_number_and_blocks() -> None:
    raw = struct.pack("<I", 7) + np.arange(-160, 160, dtype="<i2").tobytes()
    number, samples = packet(raw)
    assert number == 7
    assert samples.tolist() == list(range(-160, 160))
    assert as_packet(number, from_pcm16(samples)) == raw
    number, samples = packet(raw + raw[4:] * 7)
    assert (number, len(samples)) == (7, 8 * BLOCK)
    assert PACKET_BYTES == 4 + 12 * 640


@pytest.mark.parametrize("length", [0, 3, 4, 643, 645, 644 + 639, PACKET_BYTES + 640])
def test_no_other_length_is_a_packet(length: int) -> None:
    with pytest.raises(ProtocolError, match=f"not {length} bytes"):
        packet(bytes(length))


def test_samples_beyond_full_scale_are_cut() -> None:
    _, samples = packet(as_packet(0, np.full(BLOCK, 1.5, dtype=np.float32)))
    assert set(samples.tolist()) == {32767}


@pytest.mark.parametrize(
    "text",
    [
        "",
        "[]",
        "3",
        "{}",
        '{"t": "nothing"}',
        '{"t": ["typed"]}',
        '{"t": "typed", "run": "a"}',
        '{"t": "typed", "run": "a", "value": "3"}',
        '{"t": "typed", "run": "a", "value": true}',
        '{"t": "typed", "run": "a", "value": 3.0}',
        '{"t": "typed", "run": "a", "value": 1e99}',
        '{"t": "typed", "run": "a", "value": 1' + "0" * 60 + "}",
        '{"t": "delay", "out_s": NaN, "in_s": 0, "measured": false}',
        '{"t": "delay", "out_s": Infinity, "in_s": 0, "measured": false}',
        '{"t": "hello", "mic": 1, "run": "", "first": 0, "play": 0}',
        "[" * 1900,
        json.dumps({"t": "do", "name": "x" * 3000}),
    ],
)
def test_a_message_that_no_page_sends_is_refused(text: str) -> None:
    with pytest.raises(ProtocolError):
        from_page(text)


def test_messages_of_pages_are_read() -> None:
    assert from_page('{"t": "typed", "run": "a", "value": 47}') == Typed("a", 47)
    said = from_page('{"t": "delay", "out_s": 0, "in_s": 0.01, "measured": true}')
    assert said == Delay(0.0, 0.01, True)
    assert from_page('{"t": "do", "name": "begin"}') == Do("begin")


@given(st.text(max_size=300))
def test_any_other_text_is_refused_and_nothing_worse(text: str) -> None:
    with pytest.raises(ProtocolError):
        from_page(text)
