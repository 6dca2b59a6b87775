"""Where the tool keeps things on this machine (platformdirs: each system's own place)."""

from __future__ import annotations

import os
from pathlib import Path

import platformdirs

HOME_VARIABLE = "ORALQUIZ_HOME"
"""Environment variable that puts everything under one folder instead (a stick, a test)."""


def data_folder() -> Path:
    """Records and session files: what must not be lost."""
    return _folder("data", platformdirs.user_data_path("oralquiz", appauthor=False))


def sessions_folder() -> Path:
    """One file for every round held here."""
    return data_folder() / "sessions"


def cache_folder() -> Path:
    """Rendered clips and other things that can be made again."""
    return _folder("cache", platformdirs.user_cache_path("oralquiz", appauthor=False))


def _folder(name: str, usual: Path) -> Path:
    home = os.environ.get(HOME_VARIABLE)
    return Path(home) / name if home else usual
