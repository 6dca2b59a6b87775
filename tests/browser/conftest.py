"""A real browser for the pages. Where there is none, these tests are skipped, unless
ORALQUIZ_REQUIRE_BROWSER=1, which makes that a failure."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Error, expect, sync_playwright

from oralquiz.records.pupil_list import add_pupil
from oralquiz.rounds.planning import RoundPlan
from tests.browser.lesson import on_loop
from tests.browser.running_server import RunningServer, Visitor, Windows, run_server

expect.set_options(timeout=60_000)  # a machine that runs tests is busy

# the first is Chromium without a window's frame, which takes a third less of the computer
BROWSERS = ("chromium-headless-shell", "chromium", "chromium-browser", "chrome")


# for this package only: while Playwright runs, no other test can run an event loop
@pytest.fixture(scope="package")
def browser() -> Iterator[Browser]:
    found = next(filter(None, map(shutil.which, BROWSERS)), None)
    with sync_playwright() as playwright:
        try:
            # no sandbox: containers that run tests as root have none; the pages are our own
            started = playwright.chromium.launch(
                executable_path=found,
                args=["--no-sandbox", "--autoplay-policy=no-user-gesture-required"],
            )
        except Error as error:
            if os.environ.get("ORALQUIZ_REQUIRE_BROWSER") == "1":
                raise
            pytest.skip(f"no browser: {str(error).splitlines()[0]}")
        yield started
        started.close()


Open = Callable[..., Visitor]


@pytest.fixture(scope="package")
def windows(browser: Browser) -> Windows:
    return Windows(browser)


@pytest.fixture
def open_page(windows: Windows, tmp_path: Path) -> Iterator[Open]:
    """Opens the HTML of a replay from the file system, as a parent would."""
    used: list[Visitor] = []

    def opened(
        html: str, width: int = 1280, height: int = 800, *, calm: bool = True, dark: bool = False
    ) -> Visitor:
        path = tmp_path / f"page-{len(used)}.html"
        path.write_text(html, encoding="utf-8")
        visitor = windows.visit(
            path.as_uri(),
            replay=True,
            viewport=(width, height),
            color_scheme="dark" if dark else "light",
            reduced_motion="reduce" if calm else "no-preference",
        )
        used.append(visitor)
        return visitor

    yield opened
    for visitor in used:
        windows.close(visitor)


@pytest.fixture(scope="module")
def room(tmp_path_factory: pytest.TempPathFactory) -> Iterator[RunningServer]:
    server = run_server(tmp_path_factory.mktemp("class"))

    async def fill() -> None:
        classroom = server.classroom
        classroom.class_name = "3B"
        classroom.plan = RoundPlan("direct", terms=3)  # read in less time than the usual five
        for name in ("Asha Rao", "Ben Okoro"):
            await classroom.records.do(
                add_pupil, name, created="2026-01-05T09:00:00+00:00", class_name="3B", consent=True
            )
        await classroom.assembly.hearing.at_once()  # loaded before the first round, not during it

    on_loop(server, fill())
    yield server
    server.stop()


@pytest.fixture
def visitors(windows: Windows) -> Iterator[Callable[..., Visitor]]:
    """Opens windows; afterwards none of them may have had an error."""
    opened: list[Visitor] = []

    def open_window(url: str, **more: Any) -> Visitor:
        opened.append(windows.visit(url, **more))
        return opened[-1]

    yield open_window
    complaints = [c for visitor in opened for c in visitor.complaints]
    for visitor in opened:
        windows.close(visitor)
    assert complaints == []
