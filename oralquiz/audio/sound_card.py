"""This computer's loudspeaker and microphone on one clock.

Two PortAudio callback streams, one that plays and one that records. The session clock counts what
the microphone delivers. A sample played is heard back at a place that stays the same, relative to
its place in what was played, for as long as both streams are open: the ``shift``. It is another
at every opening. PortAudio's own times give a first value; ``measure_lag`` hears a chirp come
back and corrects it. It moves when the sound stumbles (an xrun), and two devices with clocks of
their own drift apart by some milliseconds a minute. So every sound played is looked for in what
is heard, and corrects the shift. Where it is not heard (headphones), PortAudio's times, averaged,
show the large moves; on a busy computer they wander by 30 ms while the sound itself is exact.

(One stream for both directions would be simpler, but PortAudio's ALSA back end gives up in about
two of three openings when PulseAudio's microphone starts later than its loudspeaker.)

The callbacks only copy: they mix what is due, hand the recorded piece to a queue and count what
was lost. A high latency is asked for, since a late sound that is steady can be corrected and a
gap cannot.
"""

from __future__ import annotations

import contextlib
import ctypes
import queue
import statistics
import sys
import threading
from collections import deque
from dataclasses import dataclass
from functools import cache
from types import ModuleType
from typing import Any

import numpy as np

from oralquiz.audio.delay_chirp import Echo, chirp, find_again, find_echo
from oralquiz.errors import AudioError, BadInput
from oralquiz.sound import (
    BLOCK,
    SESSION_RATE,
    Block,
    Clip,
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

PIECE_S = 0.02
"""How much the devices are asked to hand over at a time."""

SAME_LAG_S = 0.001
"""Two sweeps must come back at the same lag within this to be believed."""

LONGEST_LAG_S = 1.0
"""Bluetooth is a third of a second late."""

LATEST = 25
"""Pieces whose times are averaged. PulseAudio's are wrong by up to 0.7 s in the first 1.5 s."""

BEFORE_S = 2.0
AFTER_S = 1.0
"""PortAudio's times from before and after a stumble that tell how far it moved the sound."""

STUMBLE_S = 0.01
"""They are believed about moves of more than this."""

AGAIN_S = 1.0
SEARCH_S = 0.6
"""Sounds of this length and more are looked for, so far around their place."""

MOVED_S = 0.003
"""A sound found further from its place corrects the shift."""


@dataclass(frozen=True)
class Device:
    """One loudspeaker or microphone, as the system lists it."""

    index: int
    name: str
    host: str
    inputs: int
    outputs: int
    default_rate: int
    high_latency_s: float
    is_default_input: bool
    is_default_output: bool


def sound_library() -> ModuleType:
    """The sounddevice module. Raises AudioError saying what to install."""
    try:
        import sounddevice
    except OSError as error:
        how = (
            "install it with `sudo apt install libportaudio2` (Debian, Ubuntu) or your system's "
            "package of the same library"
            if sys.platform.startswith("linux")
            else "install the sounddevice package again with pip"
        )
        raise AudioError(f"the sound library PortAudio is missing: {how}") from error
    if sys.platform.startswith("linux"):
        _hush_alsa()
    module: ModuleType = sounddevice
    return module


@cache
def _hush_alsa() -> object:
    """Keep ALSA from writing to the terminal; what goes wrong is counted and said by us."""
    with contextlib.suppress(OSError, AttributeError):
        library = ctypes.CDLL("libasound.so.2")
        # file, line, function, error number, format; the rest of a C "..." is not looked at
        kind = ctypes.CFUNCTYPE(
            None, ctypes.c_char_p, ctypes.c_int, ctypes.c_char_p, ctypes.c_int, ctypes.c_char_p
        )
        silent = kind(lambda *_: None)
        library.snd_lib_error_set_handler(silent)
        return silent  # kept for as long as the library may call it
    return None


def devices() -> list[Device]:
    """What this computer has, freshly looked up. Raises AudioError when sound cannot be used."""
    sd = sound_library()
    try:
        # PortAudio lists the devices once, when it starts: only a restart sees what was plugged in
        sd._terminate()
        sd._initialize()
        hosts = sd.query_hostapis()
        default_in, default_out = sd.default.device
        return [
            Device(
                index=index,
                name=str(found["name"]),
                host=str(hosts[found["hostapi"]]["name"]),
                inputs=int(found["max_input_channels"]),
                outputs=int(found["max_output_channels"]),
                default_rate=round(found["default_samplerate"]),
                high_latency_s=max(
                    float(found["default_high_input_latency"]),
                    float(found["default_high_output_latency"]),
                ),
                is_default_input=index == default_in,
                is_default_output=index == default_out,
            )
            for index, found in enumerate(sd.query_devices())
        ]
    except sd.PortAudioError as error:
        raise AudioError(f"the system's sound cannot be used: {_plain(error)}") from error


def choose(found: list[Device], wanted: str | None, *, output: bool) -> Device:
    """The loudspeaker or microphone whose number or part of its name is ``wanted``.

    None is the system's default. Raises AudioError when there is none at all, BadInput when the
    wish fits none or several.
    """
    kind = "loudspeaker" if output else "microphone"
    usable = [d for d in found if (d.outputs if output else d.inputs) > 0]
    if not usable:
        raise AudioError(
            f"this computer has no {kind}: plug one in and choose it in the system's sound "
            f"settings, or try `oralquiz demo`, which needs none"
        )
    if wanted is None:
        defaults = [d for d in usable if (d.is_default_output if output else d.is_default_input)]
        return defaults[0] if defaults else usable[0]
    if wanted.isdigit():
        fits = [d for d in usable if d.index == int(wanted)]
    else:
        fits = [d for d in usable if d.name == wanted]
        fits = fits or [d for d in usable if wanted.casefold() in d.name.casefold()]
    if len(fits) == 1:
        return fits[0]
    listed = ", ".join(f"{d.index} {d.name}" for d in (fits or usable))
    trouble = "fits several" if fits else "fits no"
    raise BadInput(f"'{wanted}' {trouble} {kind}{'s' if fits else ''}: there are {listed}")


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
        self.lag_measured = False
        self._lock = threading.Lock()
        self._streams: list[Any] = []
        self._position = 0  # session position of the next block that read returns
        self._reset()

    def _reset(self) -> None:
        """Forget what belongs to one opening."""
        self._recorded: queue.Queue[tuple[int, Samples] | None] = queue.Queue()
        self._waiting: Samples = np.zeros(0, np.float32)  # heard, less than a block yet
        self._resampler: StreamResampler | None = None
        self._rate_in = self._rate_out = SESSION_RATE
        self._made = 0  # samples made of what was recorded, those waiting included
        self._base = self._position  # session position of the first of them
        self._frames_in = self._frames_out = 0  # counted by the callbacks
        self._piece = 0  # the count at which the last recorded piece began
        self._adc = 0.0  # when its first frame was recorded
        # sample, counted like _made, at which frame 0 of what is played is heard
        self._shift: int | None = None
        # the shift by PortAudio's times, at every piece played since the last stumble
        self._estimates: deque[float] = deque(maxlen=round(BEFORE_S / PIECE_S))
        self._before: float | None = None  # their median before a stumble not yet mended
        self._moves = 0  # stumbles and corrections
        # sounds, with their places and the count of moves when they were begun
        self._looked_for: deque[tuple[int, Samples, int]] = deque()
        self._kept: deque[Block] = deque()  # heard, in which they are looked for
        self._due: list[tuple[int, Samples]] = []  # frame, sound at the loudspeaker's rate
        self._hush = False
        self._broken: BaseException | None = None
        self._zeros = 0
        self.lag_measured = False

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
        found = devices()
        output = choose(found, self._speaker, output=True)
        source = choose(found, self._microphone, output=False)
        self.output_name, self.input_name = output.name, source.name
        recorder = self._stream(sd.InputStream, source, 1, self._record)
        # a loudspeaker wants both its channels; of a microphone one is enough
        player = self._stream(sd.OutputStream, output, min(2, output.outputs), self._fill)
        self._streams = [recorder, player]
        self._rate_in, self._rate_out = round(recorder.samplerate), round(player.samplerate)
        if self._rate_in != SESSION_RATE:
            self._resampler = StreamResampler(self._rate_in, SESSION_RATE)
        for stream in self._streams:
            try:
                stream.start()
            except sd.PortAudioError as error:
                self.close()
                raise AudioError(
                    f"'{output.name}' and '{source.name}' do not start: {_plain(error)}"
                ) from error
        self._take(*self._next(FIRST_BLOCK_S))
        for _ in range(round(FIRST_BLOCK_S / PIECE_S)):
            if len(self._estimates) >= LATEST:
                break
            self._take(*self._next(NEXT_BLOCK_S))
        else:
            self.close()
            raise AudioError(f"'{self.output_name}' was opened but takes no sound")
        self._trust_times()
        with contextlib.suppress(queue.Empty):  # the session begins now, not when that began
            while (piece := self._recorded.get_nowait()) is not None:
                self._take(*piece)
        self._waiting = self._waiting[:0]
        self._begin_at(self._position)

    def reopen(self) -> None:
        """Open again in the middle of a session; the lag is another now and is measured again.

        Raises AudioError when the devices still cannot be used.
        """
        self.open()
        self.measure_lag()

    def _stream(self, kind: Any, device: Device, channels: int, callback: Any) -> Any:
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
        raise AudioError(f"'{device.name}' cannot be opened: {_plain(trouble)}")

    def close(self) -> None:
        """Let the devices go. Closing twice does no harm."""
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
            return (self._heard_at(self._frames_out) - self._recorded_to()) / SESSION_RATE

    def now(self) -> int:
        """The position of the next sample that the microphone will deliver."""
        with self._lock:
            return self._recorded_to()

    def play(self, samples: Samples, at: int) -> int:
        """See AudioOut. The position returned is where the microphone would hear it."""
        if not self._streams:
            raise AudioError("the sound card is not open")
        sound = resample(samples.astype(np.float32), SESSION_RATE, self._rate_out, "VHQ")
        with self._lock:
            ahead = at - self._heard_at(0)
            frame = max(round(ahead * self._rate_out / SESSION_RATE), self._frames_out)
            self._due.append((frame, sound))
            place = self._heard_at(frame)
            if len(samples) >= AGAIN_S * SESSION_RATE:
                self._looked_for.append((place, samples, self._moves))
            return place

    def stop(self) -> None:
        with self._lock:
            self._hush = True
            self._looked_for.clear()

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
                    self._shift = (self._shift or 0) + errors[1]
                    self._looked_for.clear()
                self.lag_measured = True
        if not self.lag_measured:
            self._trust_times()
        self._begin_at(begin)
        return echo

    # --- inside -------------------------------------------------------------------------------

    def _recorded_to(self) -> int:
        return self._base + round(self._frames_in * SESSION_RATE / self._rate_in)

    def _heard_at(self, frame: int) -> int:
        """The session position at which the microphone hears ``frame`` of what is played."""
        return self._base + (self._shift or 0) + round(frame * SESSION_RATE / self._rate_out)

    def _trust_times(self) -> None:
        """Set the shift by the latest of PortAudio's times."""
        with self._lock:
            if self._estimates:
                self._shift = round(statistics.median(list(self._estimates)[-LATEST:]))

    def _stumbled(self) -> None:
        """Something was lost or put in: how much, PortAudio's times will tell in a while."""
        self.xruns += 1
        self._moves += 1
        self.lag_measured = False
        if self._before is None and len(self._estimates) >= LATEST:
            self._before = statistics.median(self._estimates)
        self._estimates.clear()

    def _mend(self) -> None:
        """Once the times since the last stumble have settled, move the shift by what they say."""
        if self._before is None or len(self._estimates) < AFTER_S / PIECE_S:
            return
        moved = round(statistics.median(self._estimates) - self._before)
        self._before = None
        if abs(moved) > STUMBLE_S * SESSION_RATE:
            self._move(moved)

    def _move(self, moved: int) -> None:
        """What is played is heard ``moved`` samples later from now on; what is due is held to the
        places that were promised, by leaving out or repeating a piece of it."""
        self._moves += 1
        self._shift = (self._shift or 0) + moved
        frames = round(moved * self._rate_out / SESSION_RATE)
        self._due = [(at - frames, sound) for at, sound in self._due]

    def _look_again(self, block: Block) -> None:
        """Find the sounds that were played in what was heard, and correct the shift by them."""
        if not self._looked_for:
            self._kept.clear()
            return
        self._kept.append(block)
        search = round(SEARCH_S * SESSION_RATE)
        place, sound, moves = self._looked_for[0]
        while self._kept and self._kept[0].start + BLOCK <= place - search:
            self._kept.popleft()
        if block.start + BLOCK < place + len(sound) + search:
            return
        with self._lock:
            self._looked_for.popleft()
            if moves != self._moves:
                return  # one part of it lies here, another there
        heard = np.concatenate([kept.samples for kept in self._kept])
        found = find_again(heard, sound)
        if found is None:
            return
        moved = self._kept[0].start + found - place
        with self._lock:
            self.lag_measured = True
            if abs(moved) > MOVED_S * SESSION_RATE:
                self._move(moved)

    def _begin_at(self, position: int) -> None:
        """Have the next block that ``read`` returns lie at ``position``."""
        with self._lock:
            self._position = position
            self._base = position - (self._made - len(self._waiting))

    def _next(self, patience_s: float) -> tuple[int, Samples]:
        """The next recorded piece with the number of lost frames before it."""
        if not self._streams:
            raise AudioError("the sound card is not open")
        with contextlib.suppress(queue.Empty):
            piece = self._recorded.get(timeout=patience_s)
            if piece is not None:
                return piece
        why = f": {_plain(self._broken)}" if self._broken else ""
        self.close()
        raise AudioError(
            f"'{self.input_name}' and '{self.output_name}' stopped working{why}: was one "
            f"unplugged, or taken by another program?"
        )

    def _take(self, lost: int, samples: Samples) -> None:
        """Bring a recorded piece to the session's rate and queue it for ``read``."""
        if lost:
            samples = np.concatenate([np.zeros(lost, np.float32), samples])
            self.lost += round(lost * SESSION_RATE / self._rate_in)
        if self._resampler is not None:
            samples = self._resampler.feed(samples)
        self._made += len(samples)
        self._waiting = np.concatenate([self._waiting, samples])

    # --- PortAudio's threads: copy, mix, count; nothing that may wait ---------------------------

    def _record(self, heard: Any, frames: int, time: Any, status: Any) -> None:
        lost = 0
        adc = float(time.inputBufferAdcTime)
        with self._lock:
            if status.input_overflow:
                self._stumbled()
                if self._frames_in:
                    lost = max(0, round((adc - self._adc) * self._rate_in) - frames)
            self._adc = adc
            self._piece = self._frames_in + lost
            self._frames_in = self._piece + frames
        self._recorded.put((lost, heard[:, 0].copy()))

    def _fill(self, said: Any, frames: int, time: Any, status: Any) -> None:
        try:
            with self._lock:
                if status.output_underflow:
                    self._stumbled()
                    self.gaps += any(at < self._frames_out for at, _ in self._due)
                if self._frames_in:
                    self._estimate(float(time.outputBufferDacTime))
                self._mend()
                said[:] = self._mix(self._frames_out, frames)[:, np.newaxis]
                self._frames_out += frames
        except BaseException as error:  # told to the reader: PortAudio would only print it
            self._broken = error
            raise

    def _estimate(self, dac: float) -> None:
        """Note the shift by PortAudio's times; at ``dac`` the next frame played will sound."""
        said = self._frames_out * SESSION_RATE / self._rate_out
        heard = self._piece + (dac - self._adc) * self._rate_in
        self._estimates.append(heard * SESSION_RATE / self._rate_in - said)

    def _mix(self, begin: int, frames: int) -> Samples:
        """What is due in ``frames`` from ``begin`` on, limited to full scale."""
        mixed = np.zeros(frames, np.float32)
        for at, sound in self._due:
            low, high = max(begin, at), min(begin + frames, at + len(sound))
            if low < high:
                mixed[low - begin : high - begin] += sound[low - at : high - at]
        if self._hush:
            fade = min(frames, round(FADE_S * self._rate_out))
            mixed[:fade] *= np.linspace(1, 0, fade, dtype=np.float32)
            mixed[fade:] = 0
            self._due, self._hush = [], False
        self._due = [(at, s) for at, s in self._due if at + len(s) > begin + frames]
        return np.clip(mixed, -1.0, 1.0)


def say_aloud(clip: Clip, speaker: str | None = None) -> None:
    """Play ``clip`` and wait until it has been heard. Raises AudioError, BadInput as SoundCard."""
    sd = sound_library()
    output = choose(devices(), speaker, output=True)
    extra = sd.WasapiSettings(auto_convert=True) if "WASAPI" in output.host else None
    sound = at_rate(clip, output.default_rate).samples
    try:
        sd.play(sound, output.default_rate, device=output.index, extra_settings=extra)
        sd.wait()
    except (sd.PortAudioError, ValueError) as error:
        raise AudioError(f"'{output.name}' cannot be opened: {_plain(error)}") from error


def _plain(error: BaseException | None) -> str:
    """A PortAudio error's own words, without its number and the call's name."""
    return str(error.args[0] if error and error.args else error)
