"""A real browser for the pages. Where there is none, these tests are skipped, unless
ORALQUIZ_REQUIRE_BROWSER=1, which makes that a failure."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Error, Page, expect, sync_playwright

from oralquiz.records.pupil_list import add_pupil
from oralquiz.rounds.planning import RoundPlan
from tests.browser.lesson import on_loop
from tests.browser.running_server import RunningServer, Visitor, Windows, run_server

expect.set_options(timeout=60_000)  # a machine that runs tests is busy

# the page makes its player with `new Audio()`; this gives a test access to it
REMEMBER_AUDIO = """
const Original = window.Audio;
window.Audio = function (...args) { return (window.player = new Original(...args)); };
"""


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


@dataclass
class Opened:
    """A page, everything it wrote on the console, and every request it made."""

    page: Page
    complaints: list[str] = field(default_factory=list)
    requests: list[str] = field(default_factory=list)

    def listen(self) -> None:
        self.page.on("console", lambda message: self.complaints.append(message.text))
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))
        self.page.on("request", lambda request: self.requests.append(request.url))


Open = Callable[..., Opened]


@pytest.fixture(scope="package")
def free_pages(browser: Browser) -> list[Opened]:
    """Pages that a test has finished with: opening one costs half a second."""
    return []


@pytest.fixture
def open_page(browser: Browser, free_pages: list[Opened], tmp_path: Path) -> Iterator[Open]:
    """Opens HTML from the file system, as a parent would."""
    used: list[Opened] = []

    def new() -> Opened:
        opened = Opened(browser.new_context().new_page())
        opened.page.add_init_script(REMEMBER_AUDIO)
        opened.listen()
        return opened

    def opened(
        html: str, width: int = 1280, height: int = 800, *, calm: bool = True, dark: bool = False
    ) -> Opened:
        path = tmp_path / f"page-{len(used)}.html"
        path.write_text(html, encoding="utf-8")
        used.append(free_pages.pop() if free_pages else new())
        page = used[-1].page
        page.set_viewport_size({"width": width, "height": height})
        page.emulate_media(
            media="null",
            color_scheme="dark" if dark else "light",
            reduced_motion="reduce" if calm else "no-preference",
        )
        page.goto(path.as_uri())
        return used[-1]

    yield opened
    for one in used:
        one.page.goto("about:blank")
        one.complaints.clear()
        one.requests.clear()
    free_pages += used


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


@pytest.fixture(scope="package")
def windows(browser: Browser) -> Windows:
    return Windows(browser)


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
