from __future__ import annotations

import json
import struct

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from oralquiz.session.ports import BLOCK
from oralquiz.web.wire import PACKET_BYTES, WireError, as_packet, message, packet


def test_a_packet_is_a_number_and_a_block() -> None:
    raw = struct.pack("<I", 7) + np.arange(-160, 160, dtype="<i2").tobytes()
    number, samples = packet(raw)
    assert number == 7
    assert samples.tolist() == [v / 32768 for v in range(-160, 160)]
    assert as_packet(number, samples) == raw
    assert PACKET_BYTES == 644


@given(st.binary(max_size=700).filter(lambda raw: len(raw) != PACKET_BYTES))
def test_no_other_length_is_a_packet(raw: bytes) -> None:
    with pytest.raises(WireError, match="644 bytes"):
        packet(raw)


def test_samples_beyond_full_scale_are_cut() -> None:
    _, samples = packet(as_packet(0, np.full(BLOCK, 1.5, dtype=np.float32)))
    assert set(samples.tolist()) == {32767 / 32768}


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
def test_no_page_says_that(text: str) -> None:
    with pytest.raises(WireError):
        message(text)


def test_what_pages_say() -> None:
    assert message('{"t": "typed", "run": "a", "value": 47}')["value"] == 47
    assert message('{"t": "delay", "out_s": 0, "in_s": 0.01, "measured": true}')["out_s"] == 0.0
    assert message('{"t": "do", "name": "begin"}') == {"t": "do", "name": "begin"}


@given(st.text(max_size=300))
def test_no_text_does_more_than_being_refused(text: str) -> None:
    with pytest.raises(WireError):
        message(text)
