"""Files that only this user can read."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from oralquiz.folders import private_folder


def write_private(path: Path, data: bytes) -> None:
    """Write ``data`` as a file that only this user can read; whole or not at all."""
    private_folder(path.parent)
    opened, name = tempfile.mkstemp(prefix=f".{path.name}-", suffix=".part", dir=path.parent)
    with os.fdopen(opened, "wb") as file:
        file.write(data)
    Path(name).replace(path)
