"""Whether a model on disk works: it is loaded, and hears the clips that come with it.

In a process of its own: a damaged model may crash the native library, and must not crash us.
"""

from __future__ import annotations

import json
import subprocess
import sys
import time
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from oralquiz.errors import ModelError, OralquizError
from oralquiz.listen.models import Model, find_model, model_paths

LONGEST_S = 120
"""Seconds that loading and testing a model may take."""


@dataclass(frozen=True)
class Check:
    """What was found about one model; ``error`` is one line, None when all is well.

    ``lowest`` and ``highest`` are None when the numbers are told at run time. ``heard`` of
    ``clips`` self-test clips were heard right.
    """

    name: str
    path: str
    language: str | None = None
    version: str | None = None
    lowest: int | None = None
    highest: int | None = None
    ranges: tuple[tuple[int, int], ...] = ()
    size_mb: float | None = None
    load_s: float | None = None
    clips: int = 0
    heard: int = 0
    error: str | None = None

    def as_json(self) -> dict[str, Any]:
        return asdict(self)

    def as_row(self) -> tuple[str, ...]:
        if self.error is not None:
            return (self.name, self.language or "?", "", "", "", "does not work")
        numbers = "as asked for" if self.lowest is None else f"{self.lowest} to {self.highest}"
        test = f"{self.heard} of {self.clips} heard" if self.clips else "loads; no clips of its own"
        return (
            f"{self.name} {self.version}".strip(),
            self.language or "?",
            numbers,
            f"{self.size_mb:.1f} MB",
            f"{self.load_s:.2f} s",
            test,
        )


def check_models(model: str | None = None, language: str | None = None) -> list[Check]:
    """Each model that is there, or only ``model`` (a name or a folder), tested."""
    if model is not None:
        return [check_model(model, language)]
    return [check_model(str(path), language) for path in model_paths()]


def check_model(wanted: str, language: str | None = None) -> Check:
    """Look at one model and try it. Never raises for a bad model: the error is in the result."""
    name = Path(wanted).name
    try:
        model = find_model(wanted, language)
    except ModelError as bad:
        return Check(name, wanted, error=str(bad))
    files = (file for file in model.path.rglob("*") if file.is_file())
    size_mb = sum(file.stat().st_size for file in files) / 1e6
    tried = _try_apart(model)
    error = tried.get("error")
    clips, heard = len(model.self_tests), int(tried.get("heard", 0))
    if error is None and heard < clips:
        error = f"model {model.path}: only {heard} of {clips} self-test clips were heard right"
    return Check(
        name=model.name,
        path=str(model.path),
        language=model.language,
        version=model.version,
        lowest=model.lowest,
        highest=model.highest,
        ranges=tuple((graph.lowest, graph.highest) for graph in model.graphs),
        size_mb=round(size_mb, 2),
        load_s=tried.get("load_s"),
        clips=clips,
        heard=heard,
        error=error,
    )


def _try_apart(model: Model) -> dict[str, Any]:
    command = [sys.executable, "-m", "oralquiz.listen.self_test", str(model.path), model.language]
    try:
        done = subprocess.run(
            command, capture_output=True, text=True, timeout=LONGEST_S, check=False
        )
        result: dict[str, Any] = json.loads(done.stdout.splitlines()[-1])
    except subprocess.TimeoutExpired:
        return {"error": f"model {model.path}: did not load and answer within {LONGEST_S} s"}
    except (IndexError, ValueError):
        return {"error": f"model {model.path}: Vosk crashed while it loaded or tested it"}
    return result


def _try(path: str, language: str) -> dict[str, Any]:
    """Load the model and hear its clips, in this process."""
    from oralquiz.listen.recognizer import AnswerRecognizer
    from oralquiz.listen.vosk import VoskDecoder
    from oralquiz.sound import read_recording

    try:
        model = find_model(path, language)
        recognizer = AnswerRecognizer(VoskDecoder(model))
        started = time.perf_counter()
        recognizer.load(*recognizer.limits)
        load_s = time.perf_counter() - started
        heard = 0
        for test in model.self_tests:
            samples = read_recording(model.path / test.file, recognizer.sample_rate)
            heard += recognizer.hear(samples, *recognizer.limits).value == test.value
    except OralquizError as error:
        return {"error": str(error)}
    return {"load_s": round(load_s, 3), "heard": heard}


if __name__ == "__main__":
    print(json.dumps(_try(*sys.argv[1:3])))
