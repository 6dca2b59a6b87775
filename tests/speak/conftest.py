"""Clips and tables of these tests live in a folder of their own."""

from __future__ import annotations

from collections.abc import Iterator

import pytest


@pytest.fixture(scope="session", autouse=True)
def home_of_its_own(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("ORALQUIZ_HOME", str(tmp_path_factory.mktemp("home")))
        yield
