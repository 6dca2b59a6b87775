"""Every route and socket, by every kind of visitor: what each may see, according to a model.

Browsers sign in and out, copy each other's cookies, ask and get answers, in any order; after every
step one of them tries something, and the model says what must happen.

    python -m tests.campaigns.visitors --count 10000 --seed 1
"""

from __future__ import annotations

import tempfile
import time
from collections.abc import Callable
from copy import copy
from dataclasses import dataclass, field
from pathlib import Path
from random import Random

from starlette.routing import BaseRoute, Mount, Route, WebSocketRoute
from starlette.testclient import TestClient

from oralquiz.records.pupil_list import Pupil, pupils
from oralquiz.records.session_rows import store
from oralquiz.session import open_session
from oralquiz.web.app import create_app
from oralquiz.web.attempt_limits import AttemptLimits
from oralquiz.web.classroom import Classroom
from tests.campaigns.socket_visits import SocketVisits, Visitor, WatchedHost
from tests.campaigns.tally import Tally, command
from tests.session.room import make_round, run
from tests.web.room import client_of, make_classroom, make_pupils

NAMES = ("Ashavari", "Benedictus")
PASSPHRASE = "a lamp on the table"
BROWSERS = 6

TEACHERS = (
    "/class", "/class/erase?pupil={name}", "/class/pupil?name={name}", "/plan", "/plan/sample",
    "/plan/sample.wav", "/live", "/live/{round}/0.wav", "/wall", "/results", "/results/{round}",
    "/results/{round}/replay", "/results/{round}/0.wav",
)  # fmt: skip
TEACHERS_FORMS: tuple[dict[str, str], ...] = (
    {"what": "consent", "pupil": NAMES[0], "on": "no"},
    {"what": "consent", "pupil": NAMES[1], "on": "yes"},
    {"what": "allow", "asking": "nobody's"}, {"what": "nothing that there is"}, {},
    {"turn": "0", "verdict": "wrong", "value": "38"}, {"turn": "0", "verdict": "right"},
    {"step": "direct", "count": "2", "terms": "3", "pace": "1.5", "way": "own"},
)  # fmt: skip
"""What a teacher sends without changing who may see what."""
POSTED = ("/class", "/plan", "/results/{round}/correct", "/lock")
OPEN = ("/about", "/join", "/chirp", "/favicon.ico", "/static/me.js")
NOBODYS = ("/clip/a/b", "/replay/a.js")
SOCKETS = ("/ws/me", "/ws/teacher", "/ws/wall")
OTHERS = ("/", "/enter", "/leave", "/me", "/me/ask", "/me/replay/{round}")


def paths(routes: list[BaseRoute]) -> set[str]:
    """The paths of an app, as ``covered`` names them."""
    found = set()
    for route in routes:
        if isinstance(route, Route | WebSocketRoute | Mount):
            found.add(
                route.path.replace(":count", "").replace("{turn}", "0").replace("{number}", "0")
            )
    return found


def covered() -> set[str]:
    """The same of what is tried here."""
    known = {
        path.split("?")[0] for path in (*TEACHERS, *POSTED, *OPEN, *NOBODYS, *SOCKETS, *OTHERS)
    }
    same = {"/clip/a/b": "/clip/{run}/{clip}", "/replay/a.js": "/replay/{name}",
            "/static/me.js": "/static"}  # fmt: skip
    return {same.get(path, path) for path in known}


@dataclass(eq=False)
class Visit:
    """What one cookie stands for."""

    kind: str
    pupil: str = ""
    card: str = ""
    epoch: int = 0
    ended: bool = False
    allowed: bool = False
    asks: bool = False


@dataclass
class Model:
    """Who may do what at the moment."""

    epoch: int = 1
    visits: list[Visit | None] = field(default_factory=lambda: [None] * BROWSERS)
    places: dict[str, Visit] = field(default_factory=dict)
    cards: dict[str, str] = field(default_factory=dict)

    def role(self, browser: int) -> str:
        """``teacher``, ``home``, ``allowed``, ``class``, or ``nobody``."""
        visit = self.visits[browser]
        if visit is None or visit.ended:
            return "nobody"
        if visit.kind == "teacher":
            return "teacher" if visit.epoch == self.epoch else "nobody"
        if visit.kind == "home":
            return "home" if self.cards.get(visit.pupil) == visit.card else "nobody"
        if self.places.get(visit.pupil) is not visit:
            return "nobody"
        return "allowed" if visit.allowed else "class"

    def pupil(self, browser: int) -> str:
        visit = self.visits[browser]
        return visit.pupil if visit and self.role(browser) in ("home", "allowed", "class") else ""


class Campaign:
    """A classroom with a round of each pupil in its records, and browsers around it."""

    def __init__(
        self, classroom: Classroom, heard: WatchedHost, own: TestClient, folder: Path, tally: Tally
    ) -> None:
        self.classroom, self.own, self.tally = classroom, own, tally
        self.model = Model(classroom.keys.epoch)
        self.browsers = [self.browser(number) for number in range(BROWSERS)]
        self.rounds = {name: self.recorded(folder / name, name) for name in NAMES}
        everyone = [self.pupil(name) for name in NAMES]
        self.sockets = SocketVisits(classroom, heard, own, everyone, self.rounds)

    def browser(self, number: int) -> TestClient:
        other = client_of(self.classroom, host=f"192.168.1.{20 + number}")
        other.portal = self.own.portal
        return other

    def recorded(self, folder: Path, name: str) -> str:
        file, _, _ = run(folder, make_round("12 + 21", pupil=name), [38])
        session = open_session(file)
        assert self.own.portal is not None
        self.own.portal.call(lambda: self.classroom.records.do(store, session, file))
        return str(session.header["id"])

    def pupil(self, name: str) -> Pupil:
        assert self.own.portal is not None
        known = self.own.portal.call(lambda: self.classroom.records.do(pupils))
        return next(one for one in known if one.name == name)

    # --- what changes who may ---------------------------------------------------------------

    def change(self, random: Random) -> None:
        self.classroom.attempts = AttemptLimits(time.monotonic)  # guessing is for another test
        number, name = random.randrange(BROWSERS), random.choice(NAMES)
        changes: list[Callable[[], None]] = [
            lambda: self.enter(number),
            lambda: self.join_class(number, name),
            lambda: self.join_class(number, name),
            lambda: self.join_home(number, name),
            lambda: self.leave(number),
            lambda: self.copy_cookie(number, random.randrange(BROWSERS)),
            lambda: self.ask(number),
            lambda: self.answer(yes=random.random() < 0.7),
            lambda: self.answer(yes=True),
            lambda: self.free(name),
            lambda: self.card(name, random.choice(["new card", "no card"])),
            lambda: self.close() if random.random() < 0.3 else None,
            lambda: self.lock() if random.random() < 0.1 else None,
            self.hold_round,
        ]
        random.choice(changes)()

    def teach(self, **form: str) -> None:
        """What the teacher does, in a browser that nobody else uses."""
        sent = self.own.post("/class", data=form)
        assert (sent.status_code, sent.headers.get("location", "/class")) in (
            (303, "/class"), (200, "/class"),
        ), form  # fmt: skip

    def enter(self, number: int) -> None:
        if self.model.role(number) == "teacher":
            return
        self.browsers[number].post("/enter", data={"passphrase": PASSPHRASE})
        self.model.visits[number] = Visit("teacher", epoch=self.model.epoch)

    def join_class(self, number: int, name: str) -> None:
        code, _ = self.classroom.codes.for_class("3B")
        self.browsers[number].post("/join", data={"code": code, "name": name})
        if name not in self.model.places:
            visit = Visit("class", name)
            self.model.places[name] = self.model.visits[number] = visit

    def join_home(self, number: int, name: str) -> None:
        card = self.model.cards.get(name, "BCDFGHJKM")
        self.browsers[number].post("/join", data={"code": card, "name": ""})
        if name in self.model.cards:
            self.model.visits[number] = Visit("home", name, card)

    def leave(self, number: int) -> None:
        role, visit = self.model.role(number), self.model.visits[number]
        self.browsers[number].post("/leave")
        if visit is not None:
            visit.ended = True
            if role in ("class", "allowed"):
                self.model.places.pop(visit.pupil)
        self.model.visits[number] = None

    def copy_cookie(self, to: int, of: int) -> None:
        cookies = [copy(cookie) for cookie in self.browsers[of].cookies.jar]
        self.browsers[to].cookies.clear()
        for cookie in cookies:
            self.browsers[to].cookies.jar.set_cookie(cookie)
        self.model.visits[to] = self.model.visits[of]

    def ask(self, number: int) -> None:
        self.browsers[number].post("/me/ask")
        visit = self.model.visits[number]
        if self.model.role(number) == "class" and visit is not None:
            visit.asks = True

    def answer(self, *, yes: bool) -> None:
        asking = self.classroom.roster.asking()
        waiting = {name for name, visit in self.model.places.items() if visit.asks}
        assert {one.pupil for one in asking} == waiting
        for one in asking[:1]:
            self.teach(what="allow" if yes else "refuse", asking=one.asking)
            self.model.places[one.pupil].allowed = yes
            self.model.places[one.pupil].asks = False

    def free(self, name: str) -> None:
        self.teach(what="free", pupil=name)
        self.model.places.pop(name, None)

    def card(self, name: str, what: str) -> None:
        self.teach(what=what, pupil=name)
        found = self.classroom.codes.card_of(self.pupil(name))
        self.model.cards.pop(name, None)
        if found is not None:
            self.model.cards[name] = found[0]

    def close(self) -> None:
        self.teach(what="close")
        self.model.places.clear()

    def lock(self) -> None:
        self.own.post("/lock", data={"passphrase": PASSPHRASE, "again": PASSPHRASE})
        self.model.epoch += 1
        assert self.model.epoch == self.classroom.keys.epoch

    def hold_round(self) -> None:
        """A round in class, on the pages of whoever came as its pupils."""
        pupils = [number for number in range(BROWSERS) if self.model.pupil(number)]
        self.sockets.hold_round([self.visitor(number) for number in pupils])

    # --- what is tried ----------------------------------------------------------------------

    def attempt(self, random: Random) -> None:
        roles: dict[str, list[int]] = {}
        for browser in range(BROWSERS):
            roles.setdefault(self.model.role(browser), []).append(browser)
        number, whose = random.choice(roles[random.choice(sorted(roles))]), random.choice(NAMES)
        role, client = self.model.role(number), self.browsers[number]
        kinds: list[Callable[[], str]] = [
            lambda: self.page(client, role, random.choice(TEACHERS), whose),
            lambda: self.post(client, role, random.choice(POSTED), whose, random),
            lambda: self.own_page(client, number),
            lambda: self.replay(client, number, whose),
            lambda: self.open_page(client, random.choice(OPEN)),
            lambda: self.way_in(client, role),
            lambda: self.socket(number, random.choice(SOCKETS), random),
            lambda: self.socket(number, own_socket(role), random),
            lambda: self.left_open(number, random),
            lambda: self.sound(client, number, whose),
            lambda: self.elsewhere(client, random),
            lambda: self.unknown(client, random.choice(NOBODYS)),
        ]
        what = random.choice(kinds)()
        self.tally.add(f"{role}: {what.split('?')[0]}", "as it must be")

    def filled(self, path: str, name: str) -> str:
        return path.format(name=name, round=self.rounds[name])

    def page(self, client: TestClient, role: str, path: str, name: str) -> str:
        got = client.get(self.filled(path, name))
        self.kept_from(role, got.status_code, got.headers.get("location", ""), got.text, path)
        return path

    def kept_from(self, role: str, status: int, place: str, text: str, path: str) -> None:
        if role == "teacher":
            assert status in (200, 303, 400, 404) and place != "/enter", (path, status, place)
            return
        assert (status, place) == ((303, "/enter") if role == "nobody" else (403, "")), path
        assert not any(secret in text for secret in (*NAMES, *self.rounds.values())), path

    def post(self, client: TestClient, role: str, path: str, name: str, random: Random) -> str:
        asking = next((one.asking for one in self.classroom.roster.asking()), "")
        form = random.choice(TEACHERS_FORMS) if role == "teacher" else random.choice([
            {"what": "erase", "pupil": name}, {"what": "card", "pupil": name},
            {"what": "new card", "pupil": name}, {"what": "consent", "pupil": name, "on": "no"},
            {"what": "allow", "asking": asking},
            {"passphrase": "x" * 12, "again": "x" * 12}, {"turn": "0", "verdict": "right"},
        ])  # fmt: skip
        sent = client.post(self.filled(path, name), data=form)
        place = sent.headers.get("location", "")
        self.kept_from(role, sent.status_code, place, sent.text, f"POST {path}")
        return f"POST {path}"

    def own_page(self, client: TestClient, number: int) -> str:
        role, own, got = self.model.role(number), self.model.pupil(number), client.get("/me")
        if not own:
            assert (got.status_code, got.headers["location"]) == (303, "/join")
            return "/me"
        assert got.status_code == 200
        assert f"Hello {own}!" in got.text
        assert (self.rounds[own] in got.text) == (role != "class")
        (other,) = set(NAMES) - {own}
        assert other not in got.text and self.rounds[other] not in got.text
        return "/me"

    def replay(self, client: TestClient, number: int, whose: str) -> str:
        role, own = self.model.role(number), self.model.pupil(number)
        got = client.get(f"/me/replay/{self.rounds[whose]}")
        sees = own == whose and role in ("home", "allowed")
        assert (got.status_code == 200) == sees, (role, own, whose)
        if not sees:
            assert got.headers["location"] == ("/me" if own else "/join")
        return "/me/replay of one's own round" if own == whose else "/me/replay of another's round"

    def open_page(self, client: TestClient, path: str) -> str:
        got = client.get(path)
        assert got.status_code == 200, path
        return path

    def unknown(self, client: TestClient, path: str) -> str:
        assert client.get(path).status_code == 404, path
        return path

    def way_in(self, client: TestClient, role: str) -> str:
        place = {"teacher": "/class", "nobody": "/join"}.get(role, "/me")
        found = client.get("/").headers["location"]
        ended = role == "nobody" and found == "/me"  # there one is told that a card has ended
        assert found == place or ended, (role, found)
        assert client.get("/enter").status_code == (303 if role == "teacher" else 200)
        return "/ and /enter"

    def visitor(self, number: int) -> Visitor:
        role, pupil = self.model.role(number), self.model.pupil(number)
        return Visitor(self.browsers[number], role, pupil, self.model.visits[number])

    def socket(self, number: int, path: str, random: Random) -> str:
        """Say what pages say; the teacher's yes or no to a pupil may be among it."""
        end = self.sockets.say(self.visitor(number), path, random)
        waiting = {one.pupil for one in self.classroom.roster.asking()}
        for visit in self.model.places.values():
            if visit.asks and visit.pupil not in waiting:
                visit.asks, visit.allowed = False, True
        return f"{path}: {end}"

    def left_open(self, number: int, random: Random) -> str:
        """A page that was open when its visitor signed out."""
        visitor = self.visitor(number)
        if random.random() < 0.7:  # else hardly anybody is signed in
            return self.socket(number, own_socket(visitor.role), random)
        end = self.sockets.opened(visitor, own_socket(visitor.role), lambda: self.leave(number))
        return f"{own_socket(visitor.role)}: open when they left, {end}"

    def sound(self, client: TestClient, number: int, whose: str) -> str:
        """A sound of the round in class: only one's own can be fetched."""
        run, clip = self.sockets.clips.get(whose, ("a", "b"))
        running, own = self.sockets.device(whose).running, self.model.pupil(number) == whose
        mine = own and running is not None and running.key == run
        status = client.get(f"/clip/{run}/{clip}").status_code
        assert status == 404 if not mine else status in (200, 404), (run, clip, status)
        return f"/clip of one's own round: {status}" if mine else "/clip of another's round"

    def elsewhere(self, client: TestClient, random: Random) -> str:
        """A page of another site, or a foreign name for this computer."""
        if random.random() < 0.5:
            path = random.choice(("/class", "/me/ask", "/leave", "/join", "/lock"))
            sent = client.post(path, headers={"origin": "http://evil.example"})
            assert sent.status_code == 403
            return "a form from another site"
        got = client.get(random.choice(("/me", "/class")), headers={"host": "evil.example"})
        assert got.status_code == 421
        return "a foreign name"


def own_socket(role: str) -> str:
    """The socket that the pages of such a visitor open."""
    return "/ws/teacher" if role == "teacher" else "/ws/me"


def campaign(count: int, seed: int) -> Tally:
    """``count`` attempts, with a change before each."""
    tally = Tally(seed)
    with tempfile.TemporaryDirectory() as name:
        heard = WatchedHost()
        classroom = make_classroom(Path(name), hearing=heard)
        classroom.keys.set_passphrase(PASSPHRASE, classroom.passphrases)
        missing = paths(create_app(classroom, ["testserver"]).routes) ^ covered()
        with client_of(classroom) as own:
            assert own.portal is not None
            own.portal.call(make_pupils, classroom, *NAMES)
            own.post("/enter", data={"passphrase": PASSPHRASE})
            tried = Campaign(classroom, heard, own, Path(name) / "held", tally)
            if missing:
                tally.fail("routes", f"tried here or there, and not in the other: {missing}")
            for number in range(count):
                random = Random(f"{seed} {number}")
                try:
                    tried.change(random)
                    tried.attempt(random)
                except AssertionError as error:
                    tally.fail("access", f"number {number}: {error}")
                    break  # the model and the server may differ from here on
            own.portal.call(classroom.close)
    return tally


if __name__ == "__main__":
    command(campaign, 10_000)
