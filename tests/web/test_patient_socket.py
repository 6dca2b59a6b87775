"""When a connection stops reading."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from unittest import mock

from oralquiz.web.patient_socket import PatientTransport


class Later:
    """A loop on which delayed calls happen when the test says so."""

    def __init__(self) -> None:
        self.calls: list[Callable[[], None]] = []

    def call_later(self, delay_s: float, call: Callable[[], None]) -> None:
        self.calls.append(call)

    def pass_time(self) -> None:
        calls, self.calls = self.calls, []
        for call in calls:
            call()


def patient(loop: Later) -> tuple[PatientTransport, mock.Mock]:
    inner = mock.Mock(spec=asyncio.Transport)
    inner.is_closing.return_value = False
    return PatientTransport(inner, loop), inner  # type: ignore[arg-type]


def test_reading_goes_on_past_a_message_that_is_taken_soon() -> None:
    loop = Later()
    transport, inner = patient(loop)
    for _ in range(5):
        transport.pause_reading()
        transport.resume_reading()
    loop.pass_time()
    inner.pause_reading.assert_not_called()
    inner.resume_reading.assert_not_called()


def test_reading_stops_while_a_message_waits_for_longer() -> None:
    loop = Later()
    transport, inner = patient(loop)
    transport.pause_reading()
    inner.pause_reading.assert_not_called()
    loop.pass_time()
    inner.pause_reading.assert_called_once()
    transport.resume_reading()
    inner.resume_reading.assert_called_once()
    transport.pause_reading()
    loop.pass_time()
    assert inner.pause_reading.call_count == 2


def test_everything_else_is_left_to_the_transport() -> None:
    transport, inner = patient(Later())
    transport.write(b"now")
    inner.write.assert_called_once_with(b"now")
