"""The speech engine of this computer, driven through pyttsx3 in a process of its own.

Why a process: pyttsx3 prints to stdout, some of its drivers want the main thread, a wrong
data path ends the whole process, and after many changes of voice and rate an engine may write
empty files until it is started afresh. A worker is one process with one voice and one rate,
saying one clip at a time; when it fails it is killed and a fresh one is tried. It ends by itself
when it is asked for nothing, or when whoever started it is gone.
"""

from __future__ import annotations

import contextlib
import ctypes
import io
import json
import os
import queue
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import IO, Any

from oralquiz.errors import AudioError

ANSWER_SECONDS = 20.0
"""A clip takes about 10 ms on Linux and up to seconds where the engine loads its voice first."""

IDLE_S = 10.0
"""A worker ends when it is asked for nothing for this long after a phrase, which may have been the
last of a round."""

ATTEMPTS = 3
"""Fresh engines tried before a phrase is given up."""


def bundled_engine() -> bool:
    """Whether the engine that came with ``pip install`` is the one to use (Linux)."""
    return sys.platform.startswith("linux")


def engine_version() -> str:
    """What the sound of a clip depends on besides voice, rate and text; part of the cache key."""
    from importlib.metadata import version

    if bundled_engine():
        # clips kept from before the rate was checked may have been said too fast, and are not used
        return f"espeakng-loader {version('espeakng-loader')}, rate checked"
    import platform

    return f"{platform.system()} {platform.version()} pyttsx3 {version('pyttsx3')}"


def start_engine() -> Any:
    """A pyttsx3 engine in this process; the bundled library is put where pyttsx3 looks for it."""
    if bundled_engine():
        import espeakng_loader

        # pyttsx3 asks for the library by its SONAME: loaded globally beforehand, it is found
        os.environ["ESPEAK_DATA_PATH"] = espeakng_loader.get_data_path()
        ctypes.CDLL(espeakng_loader.get_library_path(), mode=ctypes.RTLD_GLOBAL)
    import pyttsx3

    return pyttsx3.init()


def _check_voice(engine: Any, voice: str) -> None:
    """pyttsx3 goes on with its default when it does not know ``voice``: raise instead."""
    base, _, variant = voice.partition("+")
    ids = [str(known.id) for known in engine.getProperty("voices")]
    if not any(base == known or known.endswith("/" + base) for known in ids):
        raise ValueError("the engine has no such voice")
    if variant and bundled_engine():
        import espeakng_loader

        if not (Path(espeakng_loader.get_data_path()) / "voices" / "!v" / variant).is_file():
            raise ValueError(f"the engine has no variant '{variant}'")


def _say(engine: Any, text: str, path: Path) -> None:
    """Have ``text`` written as sound to ``path``."""
    engine.save_to_file(text, str(path))
    engine.runAndWait()
    if bundled_engine():
        _wait_until_idle(engine)


def _wait_until_idle(engine: Any) -> None:
    """pyttsx3 does not wait for the first phrase, and for others only until their sound is there.
    The bundled engine's own thread then still has to restore its settings: what it is told
    meanwhile is lost (about one start in 300 kept the driver's rate, a third too fast)."""
    from pyttsx3.drivers import _espeak

    until = time.monotonic() + ANSWER_SECONDS
    while engine.isBusy() and time.monotonic() < until:
        time.sleep(0.001)
    _espeak.Synchronize()


def _settle(engine: Any) -> None:
    """Have the bundled engine say an unheard word, so that it takes its driver's first settings."""
    if bundled_engine():
        with tempfile.TemporaryDirectory(prefix="oralquiz-") as folder:
            _say(engine, "a", Path(folder) / "unheard.wav")


def _has_rate(rate: int) -> bool:
    """Whether the bundled engine speaks at ``rate``. (pyttsx3 asks it without saying whether the
    present or the usual value is meant.)"""
    if not bundled_engine():
        return True
    from pyttsx3.drivers import _espeak

    return bool(_espeak.dll.espeak_GetParameter(_espeak.RATE, 1) == rate)


def _requests(stream: IO[bytes], idle_s: float) -> Iterator[dict[str, Any]]:
    """What the worker is asked for, one JSON object a line, until the stream ends or nothing came
    for ``idle_s`` seconds after a phrase."""
    lines: queue.Queue[bytes] = queue.Queue()
    threading.Thread(target=_pump, args=(stream, lines), daemon=True).start()
    patience_s: float | None = None
    with contextlib.suppress(queue.Empty):
        while line := lines.get(timeout=patience_s):
            request: dict[str, Any] = json.loads(line)
            yield request
            patience_s = idle_s if request["do"] == "say" else patience_s


def _serve(requests: Iterator[dict[str, Any]], replies: IO[str]) -> None:
    """The worker's loop: one JSON reply a line to each request."""
    try:
        engine = start_engine()
        _settle(engine)
    except Exception as error:  # whatever the platform's driver raises
        replies.write(json.dumps({"error": f"the speech engine does not start: {error}"}) + "\n")
        replies.flush()
        return
    rate = 0
    for request in requests:
        reply: dict[str, Any] = {}
        try:
            if request["do"] == "voices":
                reply["voices"] = [
                    {
                        "id": voice.id,
                        "name": voice.name,
                        "languages": [str(language) for language in voice.languages or []],
                    }
                    for voice in engine.getProperty("voices")
                ]
            elif request["do"] == "set":
                if request["voice"]:
                    _check_voice(engine, request["voice"])
                    engine.setProperty("voice", request["voice"])
                rate = request["rate"]
                engine.setProperty("rate", rate)
            else:
                _say(engine, request["text"], Path(request["path"]))
                if not _has_rate(rate):
                    raise ValueError("the engine lost its rate")
        except Exception as error:
            reply["error"] = str(error) or type(error).__name__
        replies.write(json.dumps(reply) + "\n")
        replies.flush()


class Engine:
    """A worker process with one voice and one rate; started when needed. It ends when idle."""

    def __init__(self, voice: str | None, rate: int, idle_s: float = IDLE_S) -> None:
        self._voice = voice
        self._rate = rate
        self._idle_s = idle_s
        self._lock = threading.Lock()
        self._process: subprocess.Popen[bytes] | None = None
        self._replies: queue.Queue[bytes] = queue.Queue()

    @property
    def pid(self) -> int | None:
        """The process of the worker; None while there is none."""
        return self._process.pid if self._process is not None else None

    def voices(self) -> list[dict[str, Any]]:
        """What the engine offers: dicts of id, name, languages. Raises AudioError."""
        with self._lock:
            try:
                self._start()
                found: list[dict[str, Any]] = self._ask({"do": "voices"})["voices"]
                return found
            finally:
                self._kill()

    def render(self, text: str) -> bytes:
        """``text`` as the bytes of a sound file (WAV or AIFF, by the engine). Raises AudioError."""
        trouble = "the engine wrote no sound"
        with self._lock, tempfile.TemporaryDirectory(prefix="oralquiz-") as folder:
            for attempt in range(ATTEMPTS):
                path = Path(folder) / f"clip{attempt}.wav"
                try:
                    self._start()
                    self._ask({"do": "say", "text": text, "path": str(path)})
                    if path.exists() and path.stat().st_size > 100:  # more than a bare header
                        return path.read_bytes()
                except AudioError as error:
                    trouble = str(error)
                self._kill()
        raise AudioError(trouble)

    @property
    def running(self) -> bool:
        """Whether its worker process is there."""
        process = self._process
        return process is not None and process.poll() is None

    def close(self) -> None:
        """End the worker. The next phrase starts a fresh one."""
        with self._lock:
            self._kill()

    def _start(self) -> None:
        if self._process is not None and self._process.poll() is None:
            return
        self._kill()  # lets go of one that died by itself
        self._process = subprocess.Popen(
            [sys.executable, "-m", "oralquiz.speak.engine", str(self._idle_s)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            bufsize=0,  # nothing is left to be flushed into a worker that has died
        )
        self._replies = queue.Queue()
        threading.Thread(
            target=_replies_of, args=(self._process, self._replies), daemon=True
        ).start()
        self._ask({"do": "set", "voice": self._voice, "rate": self._rate})

    def _ask(self, request: dict[str, Any]) -> dict[str, Any]:
        process = self._process
        assert process is not None and process.stdin is not None
        try:
            process.stdin.write(json.dumps(request).encode() + b"\n")
            line = self._replies.get(timeout=ANSWER_SECONDS)
        except (OSError, ValueError, queue.Empty) as error:  # ValueError: it has just ended
            raise AudioError("the speech engine does not answer") from error
        if not line:
            raise AudioError("the speech engine stopped")
        reply: dict[str, Any] = json.loads(line)
        if "error" in reply:
            raise AudioError(str(reply["error"]))
        return reply

    def _kill(self) -> None:
        if self._process is None:
            return
        process, self._process = self._process, None
        process.kill()
        process.wait()
        assert process.stdin is not None and process.stdout is not None
        with contextlib.suppress(OSError):
            process.stdin.close()

    def __del__(self) -> None:
        with contextlib.suppress(Exception):
            self._kill()


def _replies_of(process: subprocess.Popen[bytes], replies: queue.Queue[bytes]) -> None:
    """Move the worker's lines into the queue; when it has ended let go of it, and add an empty
    one."""
    assert process.stdin is not None and process.stdout is not None
    _pump(process.stdout, replies)
    process.wait()
    with contextlib.suppress(OSError):
        process.stdin.close()


def _pump(stream: IO[bytes], lines: queue.Queue[bytes]) -> None:
    """Move the lines of ``stream`` into the queue, and an empty one at its end."""
    with stream:
        for line in stream:
            lines.put(line)
    lines.put(b"")


if __name__ == "__main__":
    # pyttsx3 prints to stdout: keep the replies' channel apart and send its prints nowhere
    channel = os.fdopen(os.dup(1), "w", encoding="utf-8")
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
    # read without a buffer: no lock of it is held by the waiting thread when the worker ends
    _serve(_requests(io.FileIO(0), float(sys.argv[1])), channel)
