"""A process that hears rounds for the server: in one thread, what its input says, in order.

It ends with its input. Rounds that are not over then are left as ones that were cut short, which
the next start enters into the records.
"""

from __future__ import annotations

import gc
import os
import signal
import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Executor, ThreadPoolExecutor
from contextlib import suppress
from threading import Lock
from typing import IO, Any

from oralquiz.errors import OralquizError
from oralquiz.listen import AnswerRecognizer, Recognizer
from oralquiz.web.hearing_frames import (
    HEAD,
    NO_ROUND,
    AnswerTakes,
    Begin,
    Forget,
    Forgotten,
    NotOpened,
    Opened,
    TimeAnAnswer,
    frame,
    unpacked,
)
from oralquiz.web.inbox import Item
from oralquiz.web.reports import URGENT
from oralquiz.web.round_host import Inbox, kept
from oralquiz.web.round_worker import Opening, RoundWorker, plain_reason

Send = Callable[[int, Sequence[Any]], None]
"""Sends what a round says, by its number. May be called from several threads."""

DISKS = 8
"""Threads that wait for the disk, so that hearing does not."""

COLLECT_AFTER = 20_000
"""Objects after which Python looks for cycles: there are none in what a packet makes."""


class HeldRound:
    """A round, and what it says on its way to the server: in order, and after the disk."""

    def __init__(self, number: int, worker: RoundWorker, disk: Executor, send: Send) -> None:
        self.worker = worker
        self._number = number
        self._send = send
        self._outbox = Inbox(disk, self._pass_on)

    def take(self, item: Item) -> None:
        said = self.worker.handle(item)
        urgent = [one for one in said if isinstance(one, URGENT)]
        if urgent:
            self._send(self._number, urgent)
        rest = [one for one in said if not isinstance(one, URGENT)]
        if rest or self.worker.unpacked:
            self._outbox.put((rest, self.worker.unpacked))

    def forgotten(self) -> None:
        """Say so, after everything else."""
        self._outbox.put(([Forgotten()], False))

    def _pass_on(self, said: tuple[Sequence[Any], bool]) -> None:
        told = kept(self.worker, *said)
        if told:
            self._send(self._number, told)


class Helper:
    """Rounds by their numbers."""

    def __init__(self, recognizer: Recognizer, send: Send) -> None:
        self._recognizer = recognizer
        self._send = send
        self._rounds: dict[int, HeldRound] = {}
        self._disk = ThreadPoolExecutor(DISKS, "disk")

    def take(self, number: int, said: Any) -> None:
        """Take what the server says, of round ``number``."""
        match said:
            case Opening():
                self._send(number, [self._open(number, said)])
            case TimeAnAnswer():
                self._send(number, [AnswerTakes(answer_s(self._recognizer))])
            case Forget():
                self._rounds.pop(number).forgotten()
            case _ if number in self._rounds:
                self._rounds[number].take(said)
            case _:
                pass  # on its way when the round failed to begin

    def leave(self) -> None:
        """Nobody is there any more: end what is on its way to the disk."""
        self._disk.shutdown(wait=True)
        for held in self._rounds.values():
            held.worker.leave()

    def _open(self, number: int, opening: Opening) -> Opened | NotOpened:
        try:
            if isinstance(self._recognizer, AnswerRecognizer):
                self._recognizer.load(0, opening.round.highest)
            worker = RoundWorker(opening, self._recognizer, time.monotonic)
        except Exception as error:  # the rounds of others go on
            return NotOpened(plain_reason(error))
        self._rounds[number] = HeldRound(number, worker, self._disk, self._send)
        return Opened()


def answer_s(recognizer: Recognizer) -> float:
    """Seconds of a core that decoding an answer takes here; next to nothing for a recogniser that
    does not decode."""
    return recognizer.answer_s(0, 99) if isinstance(recognizer, AnswerRecognizer) else 0.001


def frames(pipe: IO[bytes]) -> Iterator[Any]:
    """What comes, up to the end of the input."""
    while len(head := pipe.read(HEAD.size)) == HEAD.size:
        (length,) = HEAD.unpack(head)
        data = pipe.read(length)
        if len(data) < length:
            return
        yield unpacked(data)


def own_pipes() -> tuple[IO[bytes], IO[bytes]]:
    """This process's input and output, out of reach of whoever prints."""
    pipes = os.fdopen(os.dup(0), "rb", buffering=1 << 16), os.fdopen(os.dup(1), "wb", buffering=0)
    nothing = os.open(os.devnull, os.O_RDONLY)
    os.dup2(nothing, 0)
    os.dup2(2, 1)
    return pipes


def main() -> None:
    """Hear until the input ends."""
    for name in ("SIGINT", "SIGTERM"):  # sent to all of a terminal or a service: the server decides
        signal.signal(getattr(signal, name), signal.SIG_IGN)
    with suppress(BrokenPipeError):  # the server is gone
        hear(*own_pipes())


def hear(given: IO[bytes], said: IO[bytes]) -> None:
    """Hear until ``given`` ends. Raises BrokenPipeError where nobody reads what is ``said``."""
    coming = frames(given)
    ((_, begin),) = next(coming, [(NO_ROUND, None)])
    if not isinstance(begin, Begin):
        return
    try:
        recognizer = begin.recognizer()
    except OralquizError as error:
        send(said, frame([(NO_ROUND, NotOpened(str(error)))]))
        return
    send(said, frame([(NO_ROUND, Opened())]))
    sending = Lock()

    def send_of(number: int, what: Sequence[Any]) -> None:
        with sending:
            send(said, frame([(number, one) for one in what]))

    helper = Helper(recognizer, send_of)
    gc.freeze()
    gc.set_threshold(COLLECT_AFTER)
    try:
        for some in coming:
            for number, what in some:
                helper.take(number, what)
    finally:
        helper.leave()


def send(pipe: IO[bytes], data: bytes) -> None:
    """All of ``data``."""
    view = memoryview(data)
    while view:
        view = view[pipe.write(view) :]


if __name__ == "__main__":
    main()
