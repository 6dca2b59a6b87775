"""The loudspeakers and microphones of this computer: listing them and choosing one."""

from __future__ import annotations

import contextlib
import ctypes
import sys
from dataclasses import dataclass
from functools import cache
from types import ModuleType

from oralquiz.errors import AudioError, BadInput


@dataclass(frozen=True)
class SoundDevice:
    """One loudspeaker or microphone, as the system lists it.

    ``inputs`` and ``outputs`` count channels, ``default_rate`` is in hertz.
    """

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
        _quieten_alsa()
    module: ModuleType = sounddevice
    return module


@cache
def _quieten_alsa() -> object:
    """Keep ALSA from writing to the terminal; the sound card counts and reports what goes wrong."""
    with contextlib.suppress(OSError, AttributeError):
        library = ctypes.CDLL("libasound.so.2")
        # file, line, function, error number, format; what C passes for "..." is not looked at
        kind = ctypes.CFUNCTYPE(
            None, ctypes.c_char_p, ctypes.c_int, ctypes.c_char_p, ctypes.c_int, ctypes.c_char_p
        )
        silent = kind(lambda *_: None)
        library.snd_lib_error_set_handler(silent)
        return silent  # kept for as long as the library may call it
    return None


def sound_devices() -> list[SoundDevice]:
    """What this computer has, freshly looked up. Raises AudioError when sound cannot be used."""
    sd = sound_library()
    try:
        # PortAudio lists the devices once, when it starts: only a restart sees what was plugged in
        sd._terminate()
        sd._initialize()
        hosts = sd.query_hostapis()
        default_in, default_out = sd.default.device
        return [
            SoundDevice(
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
        raise AudioError(f"the system's sound cannot be used: {own_words(error)}") from error


def choose_device(found: list[SoundDevice], wanted: str | None, *, output: bool) -> SoundDevice:
    """The loudspeaker or microphone whose number or part of its name is ``wanted``.

    None is the system's default. Raises AudioError when there is none at all, BadInput when
    ``wanted`` fits none or several.
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


def own_words(error: BaseException | None) -> str:
    """A PortAudio error's own words, without its number and the call's name."""
    return str(error.args[0] if error and error.args else error)
