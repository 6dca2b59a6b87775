"""The few calls of Vosk's C library (vosk_api.h) that hearing numbers needs.

The library and its binding are those of the ``vosk`` package. Its Python module is avoided where
possible: it imports a downloader and a subtitle writer, 15 MB and a tenth of a second in every
process that hears.
"""

from __future__ import annotations

import importlib.util
import json
import sys
from collections.abc import Sequence
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from oralquiz.errors import ModelError
from oralquiz.listen.hypothesis import Hypothesis, Word
from oralquiz.sound import Samples

LIBRARIES = {"linux": "libvosk.so", "darwin": "libvosk.dyld"}
QUIET = -3
"""Log level at which the library is silent: our own errors say what goes wrong."""


@cache
def _binding() -> tuple[Any, Any]:
    """The library and its foreign-function interface."""
    spec = importlib.util.find_spec("vosk")
    folders = list(spec.submodule_search_locations or []) if spec is not None else []
    library = LIBRARIES.get(sys.platform)
    for folder in map(Path, folders):
        if library is not None and (folder / library).is_file():
            cffi = importlib.util.spec_from_file_location("_vosk_cffi", folder / "vosk_cffi.py")
            if cffi is not None and cffi.loader is not None:
                module = importlib.util.module_from_spec(cffi)
                cffi.loader.exec_module(module)
                api = module.ffi.dlopen(str(folder / library))
                api.vosk_set_log_level(QUIET)
                return api, module.ffi
    import vosk  # where the package is laid out otherwise, as on Windows

    vosk.SetLogLevel(QUIET)
    return vosk._c, vosk._ffi


class LoadedModel:
    """A model in memory. Safe to use from several threads at once."""

    def __init__(self, folder: Path) -> None:
        """Raises ModelError when the library cannot load the model in ``folder``."""
        self._api, self._ffi = _binding()
        handle = self._api.vosk_model_new(str(folder).encode())
        if handle == self._ffi.NULL:
            raise ModelError(f"model {folder}: Vosk cannot load it")
        self._handle = self._ffi.gc(handle, self._api.vosk_model_free)

    def knows(self, word: str) -> bool:
        """Whether ``word`` is in its vocabulary."""
        return bool(self._api.vosk_model_find_word(self._handle, word.encode()) >= 0)

    def decode(
        self, samples: Samples, sample_rate: int, most: int, phrases: Sequence[str] | None = None
    ) -> list[Hypothesis]:
        """The ``most`` likeliest hypotheses of ``samples`` (n,), best first.

        ``phrases`` is the grammar of a model that gets it at run time. Word times come in steps of
        0.03 s.
        """
        handle = self._recognizer(float(sample_rate), phrases)
        try:
            self._api.vosk_recognizer_set_max_alternatives(handle, most)
            self._api.vosk_recognizer_set_words(handle, 1)
            data = pcm16(samples)
            if self._api.vosk_recognizer_accept_waveform(handle, data, len(data)) < 0:
                return []
            answer = self._api.vosk_recognizer_final_result(handle)
            result = json.loads(self._ffi.string(answer).decode())
        finally:
            self._api.vosk_recognizer_free(handle)
        return [
            Hypothesis(
                tuple(
                    Word(str(word["word"]), float(word["start"]), float(word["end"]))
                    for word in alternative.get("result", [])
                ),
                float(alternative["confidence"]),
            )
            for alternative in result["alternatives"]
        ]

    def _recognizer(self, sample_rate: float, phrases: Sequence[str] | None) -> Any:
        if phrases is None:
            return self._api.vosk_recognizer_new(self._handle, sample_rate)
        grammar = json.dumps(list(phrases), ensure_ascii=False).encode()
        return self._api.vosk_recognizer_new_grm(self._handle, sample_rate, grammar)


def pcm16(samples: Samples) -> bytes:
    """16-bit little-endian PCM of samples in [-1, 1]."""
    return (np.clip(samples, -1.0, 1.0) * 32767.0).astype("<i2").tobytes()
