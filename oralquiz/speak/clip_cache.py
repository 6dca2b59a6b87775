"""Clips that were rendered before, kept from one run to the next.

A clip's file is named by a digest of everything that its sound depends on, so that another
engine, version, voice, rate or text gives another file.
"""

from __future__ import annotations

import contextlib
import hashlib
from collections.abc import Callable
from pathlib import Path

from oralquiz.errors import AudioError, BadInput
from oralquiz.folders import cache_folder, write_private
from oralquiz.sound import Clip, read_clip


def clip_cache() -> Path:
    """The folder in which rendered clips are kept."""
    return cache_folder() / "clips"


def kept(key: tuple[str, ...], render: Callable[[], bytes]) -> Clip:
    """The clip of ``key``, from the cache or from ``render``, which gives a sound file's bytes.

    Raises AudioError when what was rendered is not a sound.
    """
    digest = hashlib.sha256("\n".join(key).encode()).hexdigest()
    path = clip_cache() / f"{digest}.wav"
    try:
        return read_clip(path.read_bytes())
    except (OSError, BadInput):
        data = render()  # not said before, or the kept file is damaged
    try:
        clip = read_clip(data)
    except BadInput as error:
        raise AudioError("the engine wrote a broken sound file") from error
    _keep(path, data)
    return clip


def _keep(path: Path, data: bytes) -> None:
    """Write the clip if it can be: a full disk costs time next run, never the dictation."""
    with contextlib.suppress(OSError):
        write_private(path, data)
