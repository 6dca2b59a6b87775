"""A server of its own for browser tests, and browsers with a microphone that a test can speak into.

The microphone is a MediaStream that the test feeds (`say`), so that a pupil answers when the lamp
is lit, as pupils do. What they say comes from a synthetic voice and is heard by the real
recogniser.
"""

from __future__ import annotations

import asyncio
import base64
import json
import threading
import time
from collections import Counter, defaultdict
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path
from typing import Literal
from urllib.parse import urlsplit

import numpy as np
from playwright.sync_api import (
    Browser,
    BrowserContext,
    ConsoleMessage,
    Page,
    Request,
    WebSocket,
    WebSocketRoute,
)

from oralquiz.listen import open_recognizer
from oralquiz.sound.blocks import BLOCK
from oralquiz.sound.resampling import at_session_rate
from oralquiz.speak.reading import number_words
from oralquiz.speak.voices import pupil_voices
from oralquiz.web import server
from oralquiz.web.classroom import Classroom
from oralquiz.web.packets import packet
from oralquiz.web.round_host import HearingThreads
from tests.web.message_types import fits

ColorScheme = Literal["light", "dark"]
Motion = Literal["reduce", "no-preference"]

MICROPHONE = """
(() => {
  let room = null, ear = null;
  navigator.mediaDevices.getUserMedia = async () => {
    room = new AudioContext();
    await room.resume();
    ear = room.createMediaStreamDestination();
    const hiss = room.createBuffer(1, 48000, 48000), noise = hiss.getChannelData(0);
    for (let i = 0; i < noise.length; i++) noise[i] = (Math.random() - 0.5) * 0.002;
    const floor = room.createBufferSource();
    floor.buffer = hiss; floor.loop = true; floor.connect(ear); floor.start();
    return ear.stream;
  };
  window.say = (base64, rate, after) => {
    const raw = Uint8Array.from(atob(base64), (c) => c.charCodeAt(0));
    const pcm = new Int16Array(raw.buffer);
    const buffer = room.createBuffer(1, pcm.length, rate), out = buffer.getChannelData(0);
    for (let i = 0; i < pcm.length; i++) out[i] = pcm[i] / 32768;
    const voice = room.createBufferSource();
    voice.buffer = buffer; voice.connect(ear); voice.start(room.currentTime + after);
  };
})();
"""


@dataclass
class RunningServer:
    """A running server. ``url`` is for this computer."""

    classroom: Classroom
    url: str
    loop: asyncio.AbstractEventLoop
    stop: Callable[[], None]


def run_server(folder: Path) -> RunningServer:
    """Serve from ``folder`` in a thread until ``stop`` is called."""
    ready = threading.Event()
    found: list[RunningServer] = []
    pool = ThreadPoolExecutor(3)  # a process for each module of tests would be long in starting
    tools = replace(
        server.usual_tools(None),
        hearing=lambda: HearingThreads(open_recognizer, pool, time.monotonic, 30),
    )

    def run() -> None:
        async def main() -> None:
            loop = asyncio.get_running_loop()
            task = asyncio.current_task()
            assert task is not None

            def opened(classroom: Classroom, urls: list[str]) -> None:
                def stop() -> None:
                    loop.call_soon_threadsafe(task.cancel)
                    thread.join(20)

                found.append(RunningServer(classroom, urls[0], loop, stop))
                ready.set()

            await server.serve(
                lambda: server.open_classroom(tools, folder=folder),
                port=0,
                network_port=None,
                names=[],
                ready=opened,
            )

        try:
            asyncio.run(main())
        except asyncio.CancelledError:
            pass
        finally:
            ready.set()

    thread = threading.Thread(target=run, daemon=True)
    thread.start()
    ready.wait(30)
    assert found, "the server did not start"
    return found[0]


FILES = "file://"


@dataclass
class Visitor:
    """One browser window: its page, and everything that went wrong in it."""

    page: Page
    context: BrowserContext
    scripts: tuple[str, ...]  # that run before those of each page
    origin: str = ""  # of the server that it visits, or of files
    rewired: bool = False  # it contains a Cable, which stays
    complaints: list[str] = field(default_factory=list)
    packets: Counter[int] = field(default_factory=Counter)
    """How many blocks the packets of sound had that it sent, and how often."""

    def complains(self, message: ConsoleMessage) -> None:
        if self.origin == FILES or message.type in ("error", "warning"):
            self.complaints.append(f"{message.text} {message.location['url']}")

    def asks(self, request: Request) -> None:
        """The pages work offline: nothing is requested from anywhere else."""
        if not request.url.startswith((self.origin, "data:", "blob:")):
            self.complaints.append(f"asked for {request.url}")


class Cable:
    """The connection between a pupil's page and the server. Plugged in before the page connects."""

    def __init__(self, visitor: Visitor) -> None:
        self._cut = False
        self._ends: list[WebSocketRoute] = []
        self._dead: list[WebSocketRoute] = []
        visitor.rewired = True
        visitor.page.route_web_socket("**/ws/me", self._connect)

    def _connect(self, here: WebSocketRoute) -> None:
        if self._cut:
            here.close(code=1006)
            return
        there = here.connect_to_server()
        self._ends = [here, there]
        here.on_message(lambda message: None if here in self._dead else there.send(message))
        there.on_message(lambda message: None if here in self._dead else here.send(message))

    def cut(self) -> None:
        """Both ends are told, and there is no new connection until ``mend``."""
        self._cut = True
        for end in self._ends:
            end.close(code=4000)

    def mend(self) -> None:
        self._cut = False

    def deaden(self) -> None:
        """The present connection stops carrying anything, and nobody is told."""
        self._dead.append(self._ends[0])


# a page whose sum was not fetched in time does not begin it: `longest` shows that one is sounding
SOUNDING = """
window.longest = 0;
const start = AudioBufferSourceNode.prototype.start;
AudioBufferSourceNode.prototype.start = function (...args) {
  window.longest = Math.max(window.longest, this.loop ? 0 : this.buffer.duration);
  return start.apply(this, args);
};
"""

# a replay makes its player with `new Audio()`: `player` gives a test access to it
PLAYER = """
const Original = window.Audio;
window.Audio = function (...args) { return (window.player = new Original(...args)); };
"""

# what a pupil is told in passing is gone after a second: `said` keeps it
SAID = """
window.said = [];
addEventListener("DOMContentLoaded", () => {
  for (const part of document.querySelectorAll("#say, #more")) {
    const watch = new MutationObserver(() => said.push(part.textContent));
    watch.observe(part, { childList: true, characterData: true, subtree: true });
  }
});
"""


class Windows:
    """The windows of the tests. One that is closed is used again, as a new one with an empty
    memory: starting a browser process costs half a second or more."""

    def __init__(self, browser: Browser) -> None:
        self._browser = browser
        self._free: defaultdict[tuple[str, ...], list[Visitor]] = defaultdict(list)

    def visit(
        self,
        url: str,
        *,
        microphone: bool = True,
        replay: bool = False,
        viewport: tuple[int, int] = (1280, 720),
        color_scheme: ColorScheme = "light",
        reduced_motion: Motion = "no-preference",
    ) -> Visitor:
        """Open ``url`` in a window with a memory of its own; a ``replay`` is a page alone."""
        scripts = (PLAYER,) if replay else (SOUNDING, SAID, *([MICROPHONE] if microphone else []))
        free = self._free[scripts]
        visitor = free.pop() if free else self._new(scripts)
        visitor.origin = "{0.scheme}://{0.netloc}".format(urlsplit(url))
        page = visitor.page
        page.set_viewport_size({"width": viewport[0], "height": viewport[1]})
        page.emulate_media(media="null", color_scheme=color_scheme, reduced_motion=reduced_motion)
        page.goto(url)
        return visitor

    def close(self, visitor: Visitor) -> None:
        if visitor.rewired:
            visitor.context.close()
            return
        page = visitor.page
        page.unroute_all()
        if visitor.origin == FILES:
            page.goto("about:blank")
        else:
            page.goto(f"{visitor.origin}/static/icon.svg")  # no script, and the same memory
            page.evaluate("localStorage.clear(); sessionStorage.clear()")
        for other in visitor.context.pages[1:]:
            other.close()
        visitor.context.clear_cookies()
        visitor.complaints.clear()
        visitor.packets.clear()
        self._free[visitor.scripts].append(visitor)

    def _new(self, scripts: tuple[str, ...]) -> Visitor:
        context = self._browser.new_context()
        for script in scripts:
            context.add_init_script(script)
        visitor = Visitor(context.new_page(), context, scripts)
        visitor.page.on("console", visitor.complains)
        visitor.page.on("pageerror", lambda error: visitor.complaints.append(str(error)))
        visitor.page.on("request", visitor.asks)
        visitor.page.on("websocket", partial(_check_messages, visitor))
        return visitor


def _check_messages(visitor: Visitor, socket: WebSocket) -> None:
    """Every message in both directions has one of the types that the scripts are checked
    against."""

    def check(type_: str) -> Callable[[str | bytes], None]:
        def look(payload: str | bytes) -> None:
            if isinstance(payload, bytes):
                visitor.packets[len(packet(payload)[1]) // BLOCK] += 1
            elif not fits(json.loads(payload), type_):
                visitor.complaints.append(f"no {type_}: {payload}")

        return look

    socket.on("framesent", check("PageMessage"))
    socket.on("framereceived", check("ServerMessage"))


def say(page: Page, number: int, voice: int = 0, after_s: float = 0.3) -> None:
    """Have the pupil at ``page`` say ``number`` in a synthetic voice."""
    clip = at_session_rate(pupil_voices()[voice].say(number_words(number)))
    samples = 0.5 * clip.samples / max(1e-6, float(np.abs(clip.samples).max()))
    pcm = np.round(samples * 32767).astype("<i2").tobytes()
    page.evaluate(
        "([sound, rate, after]) => window.say(sound, rate, after)",
        [base64.b64encode(pcm).decode(), clip.sample_rate, after_s],
    )
