"""A virtual sound card: PulseAudio with null sinks, for tests on a machine without a real one.

The loudspeaker ``room`` and the microphone ``roommic`` hear each other, as in a room without
walls; ``desk`` is a second pair that hears nothing of the first. Everything lives in one private
folder and one process, and ends with it. Needs pulseaudio, pulseaudio-utils, libasound2-plugins
and libportaudio2.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import signal
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

MODULES = """\
load-module module-native-protocol-unix auth-anonymous=1 socket={socket}
load-module module-null-sink sink_name=room rate=48000 channels=1
load-module module-remap-source source_name=roommic master=room.monitor
load-module module-null-sink sink_name=desk rate=48000 channels=1
load-module module-remap-source source_name=deskmic master=desk.monitor
set-default-sink room
set-default-source roommic
"""

ALSA = """\
</usr/share/alsa/alsa.conf>
pcm.!default { type pulse }
ctl.!default { type pulse }
"""


def missing() -> str | None:
    """What this machine lacks for a virtual sound card, or None."""
    for program in ("pulseaudio", "pactl", "pacat"):
        if shutil.which(program) is None:
            return f"the program {program}"
    try:
        import sounddevice  # noqa: F401
    except OSError:
        return "the library PortAudio"
    return None


class VirtualCard:
    """A running PulseAudio; ``env`` is what a process needs to use it."""

    def __init__(self, folder: Path) -> None:
        folder.mkdir(exist_ok=True)
        socket = folder / "native"
        (folder / "default.pa").write_text(MODULES.format(socket=socket))
        (folder / "asoundrc").write_text(ALSA)
        self.env = {
            "HOME": str(folder),
            "XDG_RUNTIME_DIR": str(folder),
            "PULSE_SERVER": f"unix:{socket}",
            "ALSA_CONFIG_PATH": str(folder / "asoundrc"),
        }
        self._log = (folder / "pulse.log").open("wb")
        options = "-n --daemonize=no --exit-idle-time=-1 --use-pid-file=no --disallow-exit"
        options += " --realtime=no --high-priority=yes -F"
        self._process = subprocess.Popen(
            ["pulseaudio", *options.split(), str(folder / "default.pa")],
            env={**os.environ, **self.env},
            stdout=self._log,
            stderr=self._log,
        )
        for _ in range(100):
            if socket.exists() and self.control("info", check=False).returncode == 0:
                return
            time.sleep(0.1)
        self.close()
        raise RuntimeError((folder / "pulse.log").read_text())

    def control(self, *args: str, check: bool = True) -> subprocess.CompletedProcess[str]:
        """Run pactl."""
        return subprocess.run(
            ["pactl", *args], env={**os.environ, **self.env}, check=check,
            capture_output=True, text=True,
        )  # fmt: skip

    def stall(self, seconds: float) -> None:
        """Make the sound server do nothing for a while, as on a computer that is too busy."""
        self._process.send_signal(signal.SIGSTOP)
        time.sleep(seconds)
        self._process.send_signal(signal.SIGCONT)

    def close(self) -> None:
        self._process.kill()
        self._process.wait()
        self._log.close()


def start_card(folder: Path) -> VirtualCard:
    """A virtual card. Where there can be none the test is skipped, or fails if
    ORALQUIZ_REQUIRE_SOUND=1."""
    lacks = missing()
    if lacks and os.environ.get("ORALQUIZ_REQUIRE_SOUND") == "1":
        pytest.fail(f"no virtual sound card: {lacks} is missing")
    if lacks:
        pytest.skip(f"no virtual sound card: {lacks} is missing")
    return VirtualCard(folder)


@contextlib.contextmanager
def using_card(folder: Path) -> Iterator[VirtualCard]:
    """A virtual card that this process uses in the meantime."""
    card = start_card(folder)
    try:
        with pytest.MonkeyPatch.context() as patch:
            for name, value in card.env.items():
                patch.setenv(name, value)
            yield card
    finally:
        card.close()
