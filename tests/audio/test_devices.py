"""Loudspeakers and microphones are chosen by number or name, and what is missing is named."""

from __future__ import annotations

import pytest

from oralquiz.audio.devices import SoundDevice, choose_device, sound_library
from oralquiz.errors import AudioError, BadInput


def device(index: int, name: str, inputs: int, outputs: int, default: bool = False) -> SoundDevice:
    return SoundDevice(index, name, "ALSA", inputs, outputs, 48_000, 0.1, default, default)


ROOM = [
    device(0, "Built-in Audio", 2, 2, default=True),
    device(1, "USB Headset", 1, 2),
    device(2, "USB Camera", 1, 0),
]


@pytest.mark.parametrize(
    ("wanted", "output", "index"),
    [
        (None, True, 0),
        (None, False, 0),
        ("headset", True, 1),
        ("2", False, 2),
        ("camera", False, 2),
    ],
)
def test_a_device_is_chosen_by_number_or_part_of_its_name(
    wanted: str | None, output: bool, index: int
) -> None:
    assert choose_device(ROOM, wanted, output=output).index == index


@pytest.mark.parametrize(
    ("wanted", "output", "message"),
    [
        ("camera", True, "'camera' fits no loudspeaker: there are 0 Built-in Audio, 1 USB Headset"),
        ("usb", False, "'usb' fits several microphones: there are 1 USB Headset, 2 USB Camera"),
        ("7", False, "'7' fits no microphone"),
    ],
)
def test_a_choice_that_fits_none_or_several_is_refused(
    wanted: str, output: bool, message: str
) -> None:
    with pytest.raises(BadInput, match=message):
        choose_device(ROOM, wanted, output=output)


def test_without_any_device_the_line_names_the_demo() -> None:
    with pytest.raises(AudioError, match=r"no microphone.*oralquiz demo"):
        choose_device([], None, output=False)


def test_without_portaudio_the_line_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    import builtins

    real = builtins.__import__

    def without(name: str, *args: object, **more: object) -> object:
        if name == "sounddevice":
            raise OSError("PortAudio library not found")
        return real(name, *args, **more)  # type: ignore[arg-type]

    monkeypatch.setattr(builtins, "__import__", without)
    with pytest.raises(AudioError, match="PortAudio is missing: install"):
        sound_library()
