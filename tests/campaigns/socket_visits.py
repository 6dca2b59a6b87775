"""What visitors say over the sockets: whatever any page may say, their own or another's.

``SocketVisits`` opens a socket, says some of it, and compares what came back and what has changed
with what the protocol permits to that page and that pupil.
"""

from __future__ import annotations

import json
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from random import Random
from typing import Any

import numpy as np
from starlette.testclient import TestClient, WebSocketTestSession
from starlette.websockets import WebSocketDisconnect

from oralquiz.records.pupil_list import Pupil
from oralquiz.rounds import COMMANDS, Command
from oralquiz.sound import BLOCK
from oralquiz.web.browser_device import SLOWER, BrowserDevice
from oralquiz.web.class_round import Phase
from oralquiz.web.classroom import Classroom
from oralquiz.web.connection import BROKEN, REASON_BYTES, REFUSED, REPLACED, Connection
from oralquiz.web.device_messages import BeginStream
from oralquiz.web.inbox import EndRound, Item, Obey, Put, ReadSlower, RoomReads, TeacherVerdict
from oralquiz.web.packets import BLOCKS_MOST, as_packet
from oralquiz.web.protocol import Ready
from oralquiz.web.reports import Hear
from oralquiz.web.round_host import HearingThreads
from oralquiz.web.round_worker import Opening
from tests.session.room import PulseRecognizer
from tests.web.room import InlineExecutor, plan, standing_clock

Said = dict[str, Any] | bytes

TEACHERS_WORDS = ("do", "correct", "reveal", "allow")
"""What a teacher's page says and a pupil's does not."""

HELLO = {"t": "hello", "mic": True, "run": "", "first": 0, "play": 0}

NO_SOUND = bytes(10)

FOR_PUPILS = {
    "welcome", "aside", "begin", "end", "receipt", "resend", "clip", "play", "hush", "reading",
    "ping", "note", "show",
}  # fmt: skip
"""What a pupil's page may be told."""


class WatchedHost(HearingThreads):
    """Hears rounds, and notes what is put into whose."""

    def __init__(self) -> None:
        super().__init__(PulseRecognizer, InlineExecutor(), standing_clock, 30)
        self.put: list[tuple[str, Item]] = []
        """The pupil whose round it is, and what was put into it."""

    async def open(self, openings: Sequence[Opening], hears: Sequence[Hear]) -> list[Put]:
        puts = await super().open(openings, hears)
        return [
            self._noting(opening.round.turns[0].pupil, put)
            for opening, put in zip(openings, puts, strict=True)
        ]

    def _noting(self, pupil: str, put: Put) -> Put:
        def noting(item: Item) -> None:
            self.put.append((pupil, item))
            put(item)

        return noting


@dataclass(frozen=True)
class Visitor:
    """Who opens a socket: ``role`` as in the model, ``pupil`` whose page it is (empty: no pupil's),
    ``visit`` what stands for the cookie."""

    client: TestClient
    role: str
    pupil: str
    visit: object


class Talk:
    """An open socket and what came over it; ``end`` is how the server ended it."""

    def __init__(self, socket: WebSocketTestSession) -> None:
        self._socket = socket
        self.came: list[dict[str, Any]] = []
        self.end: WebSocketDisconnect | None = None

    def send(self, said: Said) -> None:
        if isinstance(said, bytes):
            self._socket.send_bytes(said)
        else:
            self._socket.send_json(said)

    def receive(self) -> str:
        """What kind of message came; empty at the end."""
        try:
            self.came.append(self._socket.receive_json())
        except WebSocketDisconnect as end:
            self.end = end
            return ""
        return str(self.came[-1]["t"])

    def until(self, *kinds: str) -> None:
        """Read until such a message has come, or the end."""
        for _ in range(200):
            if self.receive() in ("", *kinds):
                return
        raise AssertionError(f"no {kinds}")


class SocketVisits:
    """Sockets of ``classroom``, whose rounds are ``heard``. ``recorded`` are the rounds that the
    records have of each pupil."""

    def __init__(
        self,
        classroom: Classroom,
        heard: WatchedHost,
        own: TestClient,
        pupils: Sequence[Pupil],
        recorded: Mapping[str, str],
    ) -> None:
        assert own.portal is not None
        self._classroom, self._heard, self._portal = classroom, heard, own.portal
        self._pupils, self._recorded = pupils, recorded
        self._pages: dict[BrowserDevice, Connection] = {}
        """The page of each device that was there last, but for those of visitors."""
        self._last: dict[BrowserDevice, object] = {}
        """Whose visit each pupil's page was opened in last."""
        self.clips: dict[str, tuple[str, str]] = {}
        """The key of each pupil's round in class, and its first sound."""

    def device(self, name: str) -> BrowserDevice:
        return self._classroom.roster.device_of(next(p for p in self._pupils if p.name == name))

    # --- the round in class -----------------------------------------------------------------

    def hold_round(self, visitors: Sequence[Visitor]) -> None:
        """Begin a round of all pupils, unless one is being held; ``visitors`` have their page open
        first, and a page of each pupil is there."""
        held = self._classroom.class_round
        if held is None or held.phase is Phase.OVER:
            for visitor in visitors:
                self.opened(visitor, "/ws/me", None)
            self._portal.call(self._hold_round)

    async def _hold_round(self) -> None:
        devices = list(map(self.device, self._recorded))
        for device in devices:
            self._open_page(device)
            device.hear(Ready(mic=True), 0.0)
        await self._classroom.conductor.start(plan(count=3), self._pupils)
        for device in devices:
            page = self._pages[device]
            told = [page.out.get_nowait() for _ in range(page.out.qsize())]
            begun = next(one for one in told if isinstance(one, BeginStream))
            self.clips[device.name] = (begun.run, str(begun.clip))

    def _open_page(self, device: BrowserDevice) -> None:
        """Open a page in the same visit as the last."""
        self._pages[device] = Connection(device.visit)
        device.attach(self._pages[device])

    # --- one visit --------------------------------------------------------------------------

    def say(self, visitor: Visitor, path: str, random: Random) -> str:
        """Open ``path`` and say a few things. Returns what came of it. Raises AssertionError."""
        self._portal.call(self._others_are_there, visitor)
        before, begun = self._portal.call(self._state, visitor.pupil), len(self._heard.put)
        may = self._may_open(visitor, path)
        with visitor.client.websocket_connect(path) as socket:
            talk = Talk(socket)
            broken = may and self._talk(talk, visitor, path, random)
            if not may:
                talk.send(self._word(visitor, random))
                talk.receive()
            self._ended(talk, None if may and not broken else BROKEN if may else REFUSED)
            socket.close()
            self._until_gone(visitor)
        if visitor.role != "teacher":
            self._nothing_of_others(visitor, talk.came)
            after = self._portal.call(self._state, visitor.pupil)
            assert after == before, (visitor, path)
            for whose, item in self._heard.put[begun:]:
                assert whose == visitor.pupil and self._may_put(visitor.pupil, item), (whose, item)
        elif path == "/ws/wall":
            self._shows_no_names(talk.came)
        return "its page does not say that" if broken else "answered" if may else "refused"

    def opened(self, visitor: Visitor, path: str, leave: Callable[[], None] | None) -> str:
        """Open ``path``, then ``leave`` (None: just close it): nothing comes after that."""
        self._portal.call(self._others_are_there, visitor)
        may = self._may_open(visitor, path)
        with visitor.client.websocket_connect(path) as socket:
            talk = Talk(socket)
            talk.receive()
            if may and leave is not None:
                leave()
                talk.until()
                self._ended(talk, REPLACED if visitor.pupil else REFUSED)
            else:
                self._ended(talk, None if may else REFUSED)
            socket.close()
            self._until_gone(visitor)
        return "closed" if may else "refused"

    def _others_are_there(self, visitor: Visitor) -> None:
        """Every page but the visitor's is open, and none of the visitor's."""
        for device, page in self._pages.items():
            device.detach(page)
        self._pages.clear()
        devices = [self.device(name) for name in self._recorded if name != visitor.pupil]
        front = [self._classroom.roster.front] if visitor.role != "teacher" else []
        for device in [*devices, *front]:
            self._open_page(device)

    def _may_open(self, visitor: Visitor, path: str) -> bool:
        if path != "/ws/me":
            return visitor.role == "teacher"
        if not visitor.pupil:
            return False
        device = self.device(visitor.pupil)
        theirs = self._last.get(device) is visitor.visit
        may = device.running is None or visitor.role == "home" or theirs
        if may:
            self._last[device] = visitor.visit
        return may

    def _talk(self, talk: Talk, visitor: Visitor, path: str, random: Random) -> bool:
        """Say one to three things. Returns whether the last was one that its page does not say."""
        talk.receive()
        for _ in range(random.randrange(1, 4)):
            said = self._word(visitor, random)
            if self._breaks(visitor, path, said):
                talk.send(said)
                talk.until()
                return True
            checks = self._effect(visitor, path, said)
            talk.send(said)
            if path != "/ws/wall":  # which never answers
                hellos = 2 if isinstance(said, dict) and said["t"] == "hello" else 1
                talk.send(HELLO)
                for _ in range(hellos):
                    talk.until("welcome", "aside")
                assert talk.end is None, (path, in_short(said), talk.end)
                assert checks(), (path, in_short(said))
        if path == "/ws/wall":
            talk.send(HELLO)
            talk.until()
        return path == "/ws/wall"

    def _ended(self, talk: Talk, code: int | None) -> None:
        """It ended with ``code`` and a reason, or not at all."""
        found = talk.end and talk.end.code
        assert found == code, (talk.came, found, code)
        if talk.end is not None:
            assert talk.end.reason and len(talk.end.reason.encode()) <= REASON_BYTES, talk.end

    def _until_gone(self, visitor: Visitor) -> None:
        while self._classroom.publisher.watching or (
            visitor.pupil and self.device(visitor.pupil).online
        ):
            time.sleep(0.001)

    # --- what may be told and changed -------------------------------------------------------

    def _nothing_of_others(self, visitor: Visitor, came: Sequence[dict[str, Any]]) -> None:
        for page in self._pages.values():
            assert page.out.empty() and not page.closed.is_set(), (visitor, page.why)
        others = [name for name in self._recorded if name != visitor.pupil]
        running = [self.device(name).running for name in others]
        secrets = {*others, *(self._recorded[name] for name in others)}
        secrets |= {one.key for one in running if one is not None}
        for told in came:
            assert told["t"] in FOR_PUPILS, told
            assert not any(secret in json.dumps(told) for secret in secrets), told

    def _shows_no_names(self, came: Sequence[dict[str, Any]]) -> None:
        for told in came:
            shown = told["t"] == "wall" and told["lesson"]
            if shown:
                assert not any(name in json.dumps(told) for name in self._recorded), told
                assert shown["revealed"] or "answer" not in shown, told

    def _may_put(self, pupil: str, item: Item) -> bool:
        """Whether a pupil's page may have had ``item`` put into the pupil's own round."""
        if not isinstance(item, Obey | ReadSlower):
            return not isinstance(item, EndRound | TeacherVerdict | RoomReads)
        held = self._classroom.class_round
        if held is None or held.phase is Phase.OVER or pupil not in held.by_pupil:
            return True
        return isinstance(item, Obey) and (
            item.command.name == "typed" or item.command.why == "the page was opened again"
        )

    def _state(self, but: str) -> dict[str, Any]:
        """What nobody but the teacher may change, except for pupil ``but``'s own part."""
        classroom, held = self._classroom, self._classroom.class_round
        found: dict[str, Any] = {
            "round": held and (held.key, held.revealed, held.phase is Phase.PAUSED),
            "plan": (classroom.plan, classroom.chosen, classroom.class_name),
            "epoch": classroom.keys.epoch,
            "watching": classroom.publisher.watching,
            "places": [replace(place) for place in classroom.roster.places.values()],
        }
        for device in [classroom.roster.front, *classroom.roster.devices.values()]:
            if device.name != but:
                found[f"device of {device.name}"] = device_state(device)
        for name, one in held.by_pupil.items() if held else ():
            if name != but:
                so_far = one.progress.stage, one.progress.turn, dict(one.judged)
                found[f"round of {name}"] = so_far, one.over, one.failed
        for key, practice in classroom.conductor.practices.items():
            if but not in practice.by_pupil:
                found[f"practice {key}"] = practice.key, practice.phase
        return found

    # --- what is said -----------------------------------------------------------------------

    def _word(self, visitor: Visitor, random: Random) -> Said:
        """Something that some page says, about this pupil's round, another's or none."""
        running = [one.running for name in self._recorded if (one := self.device(name))]
        run = random.choice([*(one.key for one in running if one is not None), "", "nobody's"])
        whose = random.choice([*self._recorded, None])
        asking = [one.asking for one in self._classroom.roster.asking()]
        commands = [*sorted(COMMANDS), SLOWER, "nothing"]
        words: list[Said] = [
            {**HELLO, "run": run},
            {"t": "ready", "mic": random.random() < 0.5},
            {"t": "delay", "out_s": 0.1, "in_s": 0.1, "measured": True},
            {"t": "late", "run": run, "play": random.randrange(3)},
            {"t": "typed", "run": run, "value": random.randrange(100)},
            {"t": "command", "run": run, "name": random.choice(commands)},
            {"t": "pong", "n": random.randrange(3)},
            {"t": "time", "stretch": random.choice([1, 2, 5, 10, 0])},
            {"t": "practise", "count": random.choice([1, 2, 99]), "rule": "", "slower": False},
            {"t": "do", "name": random.choice([*commands, "begin"]), "pupil": whose},
            {"t": "correct", "number": random.randrange(3), "verdict": "right", "value": None},
            {"t": "reveal", "on": random.random() < 0.5},
            {"t": "allow", "asking": random.choice([*asking, "nobody's"]), "yes": True},
            {"t": "nothing that there is"},
            NO_SOUND,
            self._sound(visitor, random),
        ]
        return random.choice(words)

    def _sound(self, visitor: Visitor, random: Random) -> bytes:
        running = self.device(visitor.pupil).running if visitor.pupil else None
        due = running.stream.blocks.next if running is not None else 0
        blocks = np.zeros(random.choice([1, 3, BLOCKS_MOST]) * BLOCK, dtype=np.float32)
        return as_packet(random.choice([due, due, due, due + 5, 0]), blocks)

    def _breaks(self, visitor: Visitor, path: str, said: Said) -> bool:
        """Whether this is what the page never says."""
        if isinstance(said, bytes):
            return path == "/ws/wall" or said is NO_SOUND
        kind = str(said["t"])
        if kind == "nothing that there is" or path == "/ws/wall":
            return kind != "reveal"
        if path == "/ws/teacher":
            return kind == "practise"
        device = self.device(visitor.pupil)
        mine = device.running is not None and said.get("run") == device.running.key
        command = kind == "command" and mine and said["name"] not in device.commands
        return kind in TEACHERS_WORDS or command

    def _effect(self, visitor: Visitor, path: str, said: Said) -> Callable[[], bool]:
        """Tells, later, whether what was said has been done, where that is easily seen."""
        held = self._classroom.class_round
        match said:
            case {"t": "do", "name": "pause", "pupil": None} if path == "/ws/teacher" and held:
                return lambda: held.phase in (Phase.PAUSED, Phase.OVER)
            case {"t": "reveal", "on": on} if path == "/ws/teacher" and held:
                return lambda: held.revealed is bool(on)
            case {"t": "time", "stretch": stretch} if path == "/ws/me":
                return lambda: self.device(visitor.pupil).stretch == int(stretch)
            case {"t": "typed", "run": run, "value": value} if path == "/ws/me":
                device, put = self.device(visitor.pupil), len(self._heard.put)
                mine = device.running is not None and device.running.key == run
                typed = (visitor.pupil, Obey(Command("typed", value)))
                return lambda: (typed in self._heard.put[put:]) == mine
        return lambda: True


def in_short(said: Said) -> Said:
    return said[:20] if isinstance(said, bytes) else said


def device_state(device: BrowserDevice) -> tuple[Any, ...]:
    """All that is known of a device but its connection."""
    running = device.running and device.running.key
    there = device.online, device.ready, device.mic, device.measured, device.home, device.stretch
    return device.commands, running, there, device.showing, device.visit, set(device.held)
