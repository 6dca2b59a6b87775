"""This computer's loudspeaker and microphone on one clock.

Two PortAudio callback streams, one that plays and one that records. Where what is played is heard
is known to ``alignment``; ``measure_lag`` corrects it by a chirp that is heard back.

(One stream for both directions would be simpler, but PortAudio's ALSA back end gives up in about
two of three openings when PulseAudio's microphone starts later than its loudspeaker.)

The callbacks only copy: they mix what is due, hand the recorded piece to a queue and count what
was lost. A high latency is asked for, since a late sound that is steady can be corrected and a
gap cannot.
"""

from __future__ import annotations

import contextlib
import queue
import threading
from typing import Any

import numpy as np

from oralquiz.audio.alignment import PIECE_S, Alignment
from oralquiz.audio.delay_chirp import Echo, chirp, find_echo
from oralquiz.audio.devices import (
    SoundDevice,
    choose_device,
    own_words,
    sound_devices,
    sound_library,
)
from oralquiz.errors import AudioError
from oralquiz.sound import (
    BLOCK,
    SESSION_RATE,
    Block,
    Clip,
    Mixer,
    Samples,
    StreamResampler,
    at_rate,
    resample,
)

FIRST_BLOCK_S = 5.0
"""A microphone's first block has been seen to take 1.4 s after opening."""

NEXT_BLOCK_S = 2.0
"""A stream that was running and gives nothing for this long is gone."""

MUTED_S = 15.0
"""Exact silence for this long is a muted microphone: a live one always hisses."""

FADE_S = 0.005

LATENCY_IN_S, LATENCY_OUT_S = 0.2, 0.4
"""Buffers asked for, or the device's own "high" if that is more. PulseAudio's "high" is 40 ms: on a
busy computer playing ran empty 26 times in 4 s. In turns on an overloaded one (2 cores, load 9), it
stumbled in 3 of 4 openings with 0.2 s and in 1 of 4 with 0.4 s; more is felt as a late start."""

RUNAWAY_S = 3.0
"""A loudspeaker that takes sound this far ahead of what is heard is no longer playing it."""

SAME_LAG_S = 0.001
"""Two sweeps must come back at the same lag within this to be believed."""

LONGEST_LAG_S = 1.0
"""Bluetooth is a third of a second late."""


class SoundCard:
    """Clock, AudioOut and AudioIn of a session. Use it as a context manager.

    Positions count from the first block that ``read`` returns, at SESSION_RATE. ``play``,
    ``stop`` and ``now`` may be called from any thread, ``read`` and ``measure_lag`` from one.
    """

    def __init__(self, speaker: str | None = None, microphone: str | None = None) -> None:
        """Names or numbers of devices; None is the system's default. Opens nothing yet."""
        self._speaker = speaker
        self._microphone = microphone
        self.output_name = ""
        self.input_name = ""
        self.xruns = 0
        """Times that a device wanted sound, or had sound, and was not served in time."""
        self.gaps = 0
        """Those of them that left a hole in something that was playing."""
        self.lost = 0
        """Samples at SESSION_RATE that the microphone lost and zeros stand for."""
        self._lock = threading.Lock()
        self._streams: list[Any] = []
        self._position = 0  # session position of the next block that read returns
        self._reset()

    def _reset(self) -> None:
        """Forget what belongs to one opening."""
        self._alignment = Alignment()
        self._recorded: queue.Queue[tuple[int, Samples] | None] = queue.Queue()
        self._waiting: Samples = np.zeros(0, np.float32)  # heard, less than a block yet
        self._resampler: StreamResampler | None = None
        self._made = 0  # samples made of what was recorded, those waiting included
        self._due = Mixer()  # in frames, at the loudspeaker's rate
        self._hush = False
        self._broken: BaseException | None = None
        self._zeros = 0

    # --- opening ------------------------------------------------------------------------------

    def __enter__(self) -> SoundCard:
        self.open()
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def open(self) -> None:
        """Open the devices, or open them again after trouble: positions go on where they were.

        Raises AudioError when they cannot be used, BadInput when a name fits none.
        """
        self.close()
        self._reset()
        sd = sound_library()
        found = sound_devices()
        output = choose_device(found, self._speaker, output=True)
        source = choose_device(found, self._microphone, output=False)
        self.output_name, self.input_name = output.name, source.name
        recorder = self._stream(sd.InputStream, source, 1, self._record)
        # a loudspeaker wants both its channels; of a microphone one is enough
        player = self._stream(sd.OutputStream, output, min(2, output.outputs), self._fill)
        self._streams = [recorder, player]
        self._alignment = Alignment(round(recorder.samplerate), round(player.samplerate))
        if self._alignment.rate_in != SESSION_RATE:
            self._resampler = StreamResampler(self._alignment.rate_in, SESSION_RATE)
        for stream in self._streams:
            try:
                stream.start()
            except sd.PortAudioError as error:
                self.close()
                raise AudioError(
                    f"'{output.name}' and '{source.name}' do not start: {own_words(error)}"
                ) from error
        self._take(*self._next(FIRST_BLOCK_S))
        for _ in range(round(FIRST_BLOCK_S / PIECE_S)):
            if self._alignment.settled:
                break
            self._take(*self._next(NEXT_BLOCK_S))
        else:
            self.close()
            raise AudioError(f"'{self.output_name}' was opened but takes no sound")
        with self._lock:
            self._alignment.trust_times()
        with contextlib.suppress(queue.Empty):  # the session begins now, not when that began
            while (piece := self._recorded.get_nowait()) is not None:
                self._take(*piece)
        self._waiting = self._waiting[:0]
        self._begin_at(self._position)

    def reopen(self) -> None:
        """Open again in the middle of a session; the lag has changed and is measured again.

        Raises AudioError when the devices still cannot be used.
        """
        self.open()
        self.measure_lag()

    def _stream(self, kind: Any, device: SoundDevice, channels: int, callback: Any) -> Any:
        """A stream of ``kind`` at SESSION_RATE, or at the device's own rate."""
        sd = sound_library()
        extra = sd.WasapiSettings(auto_convert=True) if "WASAPI" in device.host else None
        wanted_s = LATENCY_OUT_S if kind is sd.OutputStream else LATENCY_IN_S
        trouble: Exception | None = None
        for rate in dict.fromkeys((SESSION_RATE, device.default_rate)):
            try:
                return kind(
                    samplerate=rate,
                    blocksize=round(PIECE_S * rate),
                    device=device.index,
                    channels=channels,
                    dtype="float32",
                    latency=max(wanted_s, device.high_latency_s),
                    extra_settings=extra,
                    callback=callback,
                    finished_callback=lambda: self._recorded.put(None),
                )
            except (sd.PortAudioError, ValueError) as error:
                trouble = error
        self.close()
        raise AudioError(f"'{device.name}' cannot be opened: {own_words(trouble)}")

    def close(self) -> None:
        """Release the devices. Closing twice does no harm."""
        streams, self._streams = self._streams, []
        for stream in streams:
            with contextlib.suppress(Exception):  # a device that was pulled out
                stream.abort()
            with contextlib.suppress(Exception):
                stream.close()

    # --- the ports ----------------------------------------------------------------------------

    @property
    def lag_s(self) -> float:
        """Seconds from handing a sample to the loudspeaker to hearing it in the microphone."""
        with self._lock:
            return self._alignment.lag / SESSION_RATE

    @property
    def lag_measured(self) -> bool:
        """Whether the lag stands on a sound that was heard back, and not only on times."""
        return self._alignment.lag_measured

    def now(self) -> int:
        """The position of the next sample that the microphone will deliver."""
        with self._lock:
            return self._alignment.now

    def play(self, samples: Samples, at: int) -> int:
        """See AudioOut. The position returned is where the microphone would hear it."""
        if not self._streams:
            raise AudioError("the sound card is not open")
        alignment = self._alignment
        sound = resample(samples.astype(np.float32), SESSION_RATE, alignment.rate_out, "VHQ")
        with self._lock:
            frame = alignment.frame_at(at)
            self._due.add(sound, frame)
            place = alignment.heard_at(frame)
            alignment.played(samples, place)
            return place

    def stop(self) -> None:
        with self._lock:
            self._hush = True
            self._alignment.forget_played()

    def read(self) -> Block:
        """See AudioIn. Raises AudioError when the device is gone or has been muted."""
        while len(self._waiting) < BLOCK:
            self._take(*self._next(NEXT_BLOCK_S))
        if self.lag_s > RUNAWAY_S:
            self.close()
            raise AudioError(
                f"'{self.output_name}' lost its place: the computer was too busy, or the "
                f"loudspeaker is gone"
            )
        samples, self._waiting = self._waiting[:BLOCK], self._waiting[BLOCK:]
        block = Block(self._position, samples)
        self._position += BLOCK
        self._look_again(block)
        self._zeros = 0 if samples.any() else self._zeros + BLOCK
        if self._zeros >= MUTED_S * SESSION_RATE:
            self._zeros = 0
            raise AudioError(
                f"'{self.input_name}' hears nothing at all, not even noise: is the microphone "
                f"muted, or its use not allowed in the system's settings?"
            )
        return block

    def measure_lag(self) -> Echo | None:
        """Play a chirp twice and hear it come back: about 2 s, before a session begins.

        Corrects where sounds are taken to be heard. None when the chirp was not heard twice at
        the same distance (headphones, a muted microphone): PortAudio's times, settled by then,
        are trusted. Positions go on afterwards as if no time had passed. Raises AudioError as
        ``read`` does.
        """
        begin = self._position
        rising, falling = chirp(), chirp()[::-1].copy()
        first = self.play(rising, self.now() + SESSION_RATE // 10)
        second = self.play(falling, first + len(rising) + SESSION_RATE // 10)
        heard = []
        while self._position < second + len(falling) + round(LONGEST_LAG_S * SESSION_RATE):
            heard.append(self.read().samples)
        recording = np.concatenate(heard)
        one, two = find_echo(recording, rising), find_echo(recording, falling)
        echo = None
        if one and two:
            errors = begin + one.at - first, begin + two.at - second
            if abs(errors[0] - errors[1]) <= SAME_LAG_S * SESSION_RATE:
                echo = two
                with self._lock:
                    self._alignment.correct(errors[1])
        if not self.lag_measured:
            with self._lock:
                self._alignment.trust_times()
        self._begin_at(begin)
        return echo

    # --- inside -------------------------------------------------------------------------------

    def _look_again(self, block: Block) -> None:
        """Find the sounds that were played in what was heard, and correct the shift by them."""
        with self._lock:
            search = self._alignment.heard(block)
        place = None if search is None else search.find()
        if search is None or place is None:
            return
        with self._lock:
            self._keep_places(self._alignment.found(search, place))

    def _keep_places(self, moved: int) -> None:
        """What is played is heard ``moved`` samples later from now on: what is due is kept at the
        places that were promised, by leaving out or repeating a piece of it."""
        if moved:
            self._due.move(-self._alignment.frames(moved))

    def _begin_at(self, position: int) -> None:
        """Have the next block that ``read`` returns lie at ``position``."""
        with self._lock:
            self._position = position
            self._alignment.begin_at(position, self._made - len(self._waiting))

    def _next(self, patience_s: float) -> tuple[int, Samples]:
        """The next recorded piece with the number of lost frames before it."""
        if not self._streams:
            raise AudioError("the sound card is not open")
        with contextlib.suppress(queue.Empty):
            piece = self._recorded.get(timeout=patience_s)
            if piece is not None:
                return piece
        why = f": {own_words(self._broken)}" if self._broken else ""
        self.close()
        raise AudioError(
            f"'{self.input_name}' and '{self.output_name}' stopped working{why}: was one "
            f"unplugged, or taken by another program?"
        )

    def _take(self, lost: int, samples: Samples) -> None:
        """Bring a recorded piece to the session's rate and queue it for ``read``."""
        if lost:
            samples = np.concatenate([np.zeros(lost, np.float32), samples])
            self.lost += round(lost * SESSION_RATE / self._alignment.rate_in)
        if self._resampler is not None:
            samples = self._resampler.feed(samples)
        self._made += len(samples)
        self._waiting = np.concatenate([self._waiting, samples])

    # --- PortAudio's threads: copy, mix, count; nothing that may wait ---------------------------

    def _record(self, heard: Any, frames: int, time: Any, status: Any) -> None:
        with self._lock:
            self.xruns += bool(status.input_overflow)
            adc = float(time.inputBufferAdcTime)
            lost = self._alignment.recorded(frames, adc, bool(status.input_overflow))
        self._recorded.put((lost, heard[:, 0].copy()))

    def _fill(self, said: Any, frames: int, time: Any, status: Any) -> None:
        try:
            with self._lock:
                begin, underflow = self._alignment.frames_out, bool(status.output_underflow)
                self.xruns += underflow
                self.gaps += underflow and self._due.sounding(begin)
                dac = float(time.outputBufferDacTime)
                self._keep_places(self._alignment.taking(dac, underflow))
                said[:] = self._mix(begin, frames)[:, np.newaxis]
                self._alignment.took(frames)
        except BaseException as error:  # told to the reader: PortAudio would only print it
            self._broken = error
            raise

    def _mix(self, begin: int, frames: int) -> Samples:
        """What is due in ``frames`` from ``begin`` on, limited to full scale."""
        mixed = np.zeros(frames, np.float32)
        self._due.mix(mixed, begin)
        if self._hush:
            fade = min(frames, round(FADE_S * self._alignment.rate_out))
            mixed[:fade] *= np.linspace(1, 0, fade, dtype=np.float32)
            mixed[fade:] = 0
            self._due.clear()
            self._hush = False
        return np.clip(mixed, -1.0, 1.0)


def say_aloud(clip: Clip, speaker: str | None = None) -> None:
    """Play ``clip`` and wait until it has been heard. Raises AudioError, BadInput as SoundCard."""
    sd = sound_library()
    output = choose_device(sound_devices(), speaker, output=True)
    extra = sd.WasapiSettings(auto_convert=True) if "WASAPI" in output.host else None
    sound = at_rate(clip, output.default_rate).samples
    try:
        sd.play(sound, output.default_rate, device=output.index, extra_settings=extra)
        sd.wait()
    except (sd.PortAudioError, ValueError) as error:
        raise AudioError(f"'{output.name}' cannot be opened: {own_words(error)}") from error
