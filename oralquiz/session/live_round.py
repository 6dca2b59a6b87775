"""Holding a round from the first term to the finished file, whatever happens on the way."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Protocol

from oralquiz import __version__
from oralquiz.errors import AudioError, OralquizError
from oralquiz.listen import Recognizer
from oralquiz.rounds import (
    AudioIn,
    AudioOut,
    Command,
    EchoFilter,
    Options,
    Round,
    Runner,
    VoiceReader,
    Watch,
)
from oralquiz.session.file import header
from oralquiz.session.recorder import FileRecorder


class Device(AudioIn, AudioOut, Protocol):
    """A microphone and a loudspeaker on one clock."""


Mend = Callable[[AudioError], bool]
"""Asked when the sound fails: True when the device works again and goes on where it was."""


def conduct(
    round_: Round,
    options: Options,
    reader: VoiceReader,
    device: Device,
    recognizer: Recognizer,
    folder: Path,
    *,
    watch: Watch | None = None,
    mend: Mend | None = None,
    guard: EchoFilter | None = None,
) -> Path:
    """Run ``round_`` on ``device`` and keep it as ``folder.zip``, whose path is returned.

    Raises BadInput or AudioError, before anything is kept, when a sum cannot be read aloud.
    When the sound fails in the round, it pauses and ``mend`` is asked; if that says no, and when
    the keyboard interrupts, the round ends there and what was answered is kept. Raises
    OralquizError when the session cannot be written (a full disk); ``folder`` then holds
    everything up to that moment. ``guard`` is needed where the microphone hears the loudspeaker.
    """
    head = header(
        round_,
        options,
        voice=reader.voice.name,
        model=recognizer.name,
        software=f"oralquiz {__version__}",
    )
    reader.prepare(round_, options)
    try:
        recorder = FileRecorder(folder, head)
    except OSError as error:
        raise OralquizError(f"{folder}: the session cannot be kept there ({error})") from None
    runner = Runner(round_, reader, device, recognizer, recorder, options, watch, guard)
    try:
        try:
            _run(runner, device, mend)
        except OralquizError as error:  # the recogniser, say: what was answered is kept
            runner.close(str(error))
            recorder.finish()
            raise
        return recorder.finish()
    except OSError as error:
        recorder.abandon()
        raise OralquizError(
            f"{folder}: writing failed ({error.strerror or error}); "
            "what was answered until then is kept there"
        ) from None


def _run(runner: Runner, device: Device, mend: Mend | None) -> None:
    while True:
        try:
            runner.run(device)
            return
        except AudioError as error:
            runner.interrupt(str(error))
            if mend is None or not mend(error):
                runner.close(f"the sound failed: {error}")
                return
            runner.command(Command("resume"))
        except KeyboardInterrupt:
            runner.close("stopped at the keyboard")
            return
