"""The life of a round: opened, held, then finished, abandoned or discarded, whatever happens.

    with open_round(round, options, devices, folder) as live:
        live.run(card)
    live.file

Everything that can fail before a word is said fails in ``open_round``, and then no folder is left.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Protocol

from oralquiz import __version__
from oralquiz.errors import AudioError, OralquizError
from oralquiz.listen import Recognizer
from oralquiz.rounds import (
    AudioIn,
    AudioOut,
    Command,
    Corrected,
    EchoFilter,
    Options,
    Reader,
    Round,
    Runner,
    State,
    Watch,
)
from oralquiz.session.buffered_recorder import BufferedRecorder, SessionRecorder
from oralquiz.session.file import header
from oralquiz.session.recorder import FileRecorder

Mend = Callable[[AudioError], bool]
"""Asked when the sound fails: True when the device works again and goes on where it was."""


class RoundReader(Reader, Protocol):
    """What reads a round aloud, and whose voice it is."""

    @property
    def voice_name(self) -> str: ...

    def prepare(self, round_: Round, options: Options) -> None:
        """Render what must not fail later. Raises BadInput or AudioError."""
        ...


@dataclass(frozen=True)
class Devices:
    """What a round is held with; an ``echo_filter`` where the microphone hears the loudspeaker."""

    reader: RoundReader
    out: AudioOut
    recognizer: Recognizer
    echo_filter: EchoFilter | None = None


def open_round(
    round_: Round,
    options: Options,
    devices: Devices,
    folder: Path,
    *,
    watch: Watch | None = None,
    buffered: bool = False,
) -> LiveRound:
    """Make ready to hold ``round_``, which is kept in ``folder`` and becomes ``folder.zip``.

    ``watch`` is told of every event. ``buffered``: the sound goes to the disk in larger pieces
    (see BufferedRecorder), and events are on it for certain only after ``sync``.

    Raises OralquizError, with nothing left behind, when a sum cannot be
    read aloud or the session cannot be kept there.
    """
    devices.reader.prepare(round_, options)
    head = header(
        round_,
        options,
        voice=devices.reader.voice_name,
        model=devices.recognizer.name,
        software=f"oralquiz {__version__}",
    )
    try:
        file = FileRecorder(folder, head, syncs=not buffered)
    except OSError as error:
        raise OralquizError(f"{folder}: the session cannot be kept there ({error})") from None
    recorder: SessionRecorder = BufferedRecorder(file) if buffered else file
    runner = Runner(
        round_,
        devices.reader,
        devices.out,
        devices.recognizer,
        recorder,
        options,
        watch,
        devices.echo_filter,
    )
    return LiveRound(folder, runner, recorder)


class LiveRound:
    """A round while it is held. ``file`` is its session file once it is finished.

    As a context it ends with the block: finished, or, when the block raises, discarded if nothing
    was said yet, finished if it was an error of ours that a teacher can read, and otherwise left as
    a round that was cut short.
    """

    def __init__(self, folder: Path, runner: Runner, recorder: SessionRecorder) -> None:
        self.runner = runner
        self.file: Path | None = None
        self.over = False
        self._folder = folder
        self._recorder = recorder

    def run(self, source: AudioIn, mend: Mend | None = None) -> None:
        """Read ``source`` until the round is over.

        When the sound fails, the round pauses and ``mend`` is asked; if that says no, and when the
        keyboard interrupts, the round ends there and what was answered is kept.
        """
        while True:
            try:
                self.runner.run(source)
                return
            except AudioError as error:
                self.runner.interrupt(str(error))
                if mend is None or not mend(error):
                    self.runner.close(f"the sound failed: {error}")
                    return
                self.runner.command(Command("resume"))
            except KeyboardInterrupt:
                self.runner.close("stopped at the keyboard")
                return

    def correct(self, corrected: Corrected) -> None:
        """Add the teacher's correction while the round is held."""
        self._recorder.event(self.runner.position, corrected)

    def sync(self) -> None:
        """Have everything that happened until now on the disk. May be called from another thread.
        Raises OSError."""
        if not self.over:
            self._recorder.sync()

    @property
    def begun(self) -> bool:
        """Whether anything has been asked yet."""
        return self.runner.state is not State.START

    def finish(self) -> Path:
        """Close the session and pack it, once. Raises OralquizError when it cannot be written: the
        folder then holds what was answered."""
        if self.file is None:
            with self._kept_where_it_is():
                self.over = True
                self.file = self._recorder.finish()
        return self.file

    def abandon(self) -> None:
        """Leave the folder as it is, a round that was cut short."""
        self.over = True
        self._recorder.abandon()

    def discard(self) -> None:
        """Remove the folder: nothing has been asked yet."""
        self.over = True
        self._recorder.discard()

    def __enter__(self) -> LiveRound:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        traceback: TracebackType | None,
    ) -> None:
        if self.over:
            return
        if error is None:
            self.finish()
        elif not self.begun:
            self.discard()
        elif isinstance(error, OralquizError):  # the recogniser, say: what was answered is kept
            with self._kept_where_it_is():
                self.runner.close(str(error))
            self.finish()
        elif isinstance(error, OSError):
            with self._kept_where_it_is():
                raise error
        else:
            self.abandon()

    @contextlib.contextmanager
    def _kept_where_it_is(self) -> Iterator[None]:
        """After an error in writing the folder stays, and the message names it."""
        try:
            yield
        except OSError as error:
            self.abandon()
            raise OralquizError(
                f"{self._folder}: writing failed ({error.strerror or error}); "
                "what was answered until then is kept there"
            ) from None
