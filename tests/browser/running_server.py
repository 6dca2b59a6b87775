"""A server of its own for browser tests, and browsers with a microphone that a test can speak into.

The microphone is a MediaStream that the test feeds (`say`), so that a pupil answers when the lamp
is lit, as pupils do. What is said is rendered by a synthetic voice; what is heard is heard by the
real recogniser.
"""

from __future__ import annotations

import asyncio
import base64
import json
import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from playwright.sync_api import Browser, BrowserContext, Page, WebSocket, WebSocketRoute

from oralquiz.sound.resampling import at_session_rate
from oralquiz.speak.reading import number_words
from oralquiz.speak.voices import pupil_voices
from oralquiz.web import server
from oralquiz.web.classroom import Classroom
from tests.web.message_types import fits

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
    tools = server.usual_tools(None)

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


@dataclass
class Visitor:
    """One browser window: its page, and everything that went wrong in it."""

    page: Page
    context: BrowserContext
    complaints: list[str] = field(default_factory=list)


class Cable:
    """What lies between a pupil's page and the server. Plugged in before the page connects."""

    def __init__(self, page: Page) -> None:
        self._cut = False
        self._ends: list[WebSocketRoute] = []
        self._dead: list[WebSocketRoute] = []
        page.route_web_socket("**/ws/me", self._connect)

    def _connect(self, here: WebSocketRoute) -> None:
        if self._cut:
            here.close(code=1006)
            return
        there = here.connect_to_server()
        self._ends = [here, there]
        here.on_message(lambda message: None if here in self._dead else there.send(message))
        there.on_message(lambda message: None if here in self._dead else here.send(message))

    def cut(self) -> None:
        """Both ends are told, and no new connection is had until ``mend``."""
        self._cut = True
        for end in self._ends:
            end.close(code=4000)

    def mend(self) -> None:
        self._cut = False

    def deaden(self) -> None:
        """The present connection carries nothing any more, and nobody is told."""
        self._dead.append(self._ends[0])


# a page whose sum was not fetched in time does not begin it: `longest` tells that one sounds
SOUNDING = """
window.longest = 0;
const start = AudioBufferSourceNode.prototype.start;
AudioBufferSourceNode.prototype.start = function (...args) {
  window.longest = Math.max(window.longest, this.loop ? 0 : this.buffer.duration);
  return start.apply(this, args);
};
"""

# what was said to a pupil on the way is gone after a second: `said` keeps it
SAID = """
window.said = [];
addEventListener("DOMContentLoaded", () => {
  for (const part of document.querySelectorAll("#say, #more")) {
    const watch = new MutationObserver(() => said.push(part.textContent));
    watch.observe(part, { childList: true, characterData: true, subtree: true });
  }
});
"""


def visit(browser: Browser, url: str, *, microphone: bool = True, **context: object) -> Visitor:
    """Open ``url`` in a window with a memory of its own."""
    opened = browser.new_context(**context)  # type: ignore[arg-type]
    opened.add_init_script(SOUNDING)
    opened.add_init_script(SAID)
    if microphone:
        opened.add_init_script(MICROPHONE)
    visitor = Visitor(opened.new_page(), opened)
    visitor.page.on(
        "console",
        lambda m: (
            visitor.complaints.append(f"{m.text} {m.location['url']}")
            if m.type in ("error", "warning")
            else None
        ),
    )
    visitor.page.on("pageerror", lambda error: visitor.complaints.append(str(error)))
    visitor.page.on("websocket", lambda socket: _check_messages(socket, visitor.complaints))
    visitor.page.goto(url)
    return visitor


def _check_messages(socket: WebSocket, complaints: list[str]) -> None:
    """Every message of both directions is of the types that the scripts are checked with."""

    def check(type_: str) -> Callable[[str | bytes], None]:
        def look(payload: str | bytes) -> None:
            if isinstance(payload, str) and not fits(json.loads(payload), type_):
                complaints.append(f"no {type_}: {payload}")

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
