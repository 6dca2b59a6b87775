"""A speech engine that falls back to a rate of its own, as the bundled one now and then does."""

from __future__ import annotations

import io
import os
import wave
from pathlib import Path

import pytest

from oralquiz.speak.engine import Engine, bundled_engine

pytestmark = pytest.mark.slow

DRIVER = '''
import wave
from pathlib import Path
from pyttsx3.drivers import _espeak

HERE = Path(__file__).parent
FAST = {1: 1, 2: 2}
"""Worker -> which of its phrases is the first that it says at the driver's own rate."""


class Engine:
    def __init__(self):
        with (HERE / "workers").open("a+") as workers:
            workers.write("x")
            self.worker = workers.tell()
        self.phrases = -1  # the first is not heard

    def setProperty(self, name, value):
        _espeak.dll.rate = value

    def save_to_file(self, text, path):
        self.path = path

    def runAndWait(self):
        self.phrases += 1
        if self.phrases == FAST.get(self.worker):
            _espeak.dll.rate = 200
        samples = 60 * 1000 // _espeak.dll.rate  # one word
        if self.phrases:
            (HERE / "said").open("a").write(f"{samples} ")
        with wave.open(self.path, "wb") as sound:
            sound.setnchannels(1)
            sound.setsampwidth(2)
            sound.setframerate(1000)
            sound.writeframes(bytes(2 * samples))

    def isBusy(self):
        return False


init = Engine
'''

LIBRARY = """
RATE = 1


class dll:
    rate = 200

    @classmethod
    def espeak_GetParameter(cls, parameter, current):
        return cls.rate


def Synchronize():
    pass
"""


@pytest.fixture
def driver(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The folder of a driver that the engine's workers find instead of the installed one."""
    folder = tmp_path / "pyttsx3"
    (folder / "drivers").mkdir(parents=True)
    (folder / "__init__.py").write_text(DRIVER)
    (folder / "drivers" / "__init__.py").touch()
    (folder / "drivers" / "_espeak.py").write_text(LIBRARY)
    monkeypatch.setenv("PYTHONPATH", str(tmp_path), prepend=os.pathsep)
    return folder


@pytest.mark.skipif(not bundled_engine(), reason="the rate is that of the bundled engine")
def test_a_phrase_that_was_spoken_too_fast_is_spoken_again_by_a_fresh_worker(driver: Path) -> None:
    engine = Engine(None, rate=150)
    try:
        clips = [engine.render("seven") for _ in range(3)]
    finally:
        engine.close()
    assert (driver / "said").read_text().split() == ["300", "400", "300", "400", "400"]
    for clip in clips:
        with wave.open(io.BytesIO(clip)) as sound:
            assert sound.getnframes() == 400
