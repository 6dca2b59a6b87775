"""The training scripts are not a package: they are imported from the folder they run in."""

import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(autouse=True, scope="package")
def training_scripts() -> Iterator[None]:
    folder = str(ROOT / "models" / "train")
    sys.path.insert(0, folder)
    yield
    sys.path.remove(folder)


@pytest.fixture(scope="session")
def model_folder() -> Path:
    return ROOT / "models" / "number-en"
