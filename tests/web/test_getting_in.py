"""Tests that try to get in, or to get further than they should."""

from __future__ import annotations

import re
import time
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from starlette.testclient import TestClient, WebSocketTestSession
from starlette.websockets import WebSocketDisconnect

from oralquiz.errors import BadInput
from oralquiz.records.cards import Cards
from oralquiz.records.pupil_list import Pupil
from oralquiz.sound.blocks import BLOCK
from oralquiz.web import app as app_module
from oralquiz.web import conversation
from oralquiz.web.app import COOKIE, create_app
from oralquiz.web.classroom import Classroom
from oralquiz.web.connection import Connection
from oralquiz.web.credentials import Codes, Passphrases
from oralquiz.web.packets import BLOCKS_MOST, as_packet
from oralquiz.web.protocol import MESSAGE_BYTES
from oralquiz.web.security import BODY_BYTES
from oralquiz.web.visits import Visits
from tests.web.conftest import browser

pytestmark = pytest.mark.slow

PASSPHRASE = "a lamp on the table"
TEACHERS = ["/class", "/plan", "/live", "/wall", "/results", "/results/x", "/results/x/replay"]
TEACHERS += [
    "/results/x/0.wav",
    "/plan/sample?step=direct",
    "/plan/sample.wav",
    "/class/erase",
    "/class/pupil",
]


def lock(classroom: Classroom) -> None:
    classroom.keys.set_passphrase(PASSPHRASE, classroom.passphrases)


def close_code(client: TestClient, path: str, **more: Any) -> tuple[int, str]:
    """How the server ends a socket that should not have been opened."""
    with (
        pytest.raises(WebSocketDisconnect) as end,
        client.websocket_connect(path, **more) as socket,
    ):
        socket.receive_json()
    return end.value.code, end.value.reason or ""


def join(classroom: Classroom, client: TestClient, name: str) -> None:
    code, _ = classroom.codes.for_class("3B")
    came = client.post("/join", data={"code": code, "name": name})
    assert (came.status_code, came.headers.get("location")) == (303, "/me"), came.text


# --- hosts, origins, headers ---


@pytest.mark.parametrize("host", ["evil.example", "testserver.evil.example", "", "[", "10.0.0.9"])
def test_a_foreign_name_for_this_computer_is_turned_away(teacher: TestClient, host: str) -> None:
    """A page elsewhere whose name resolves to 127.0.0.1 (DNS rebinding)."""
    assert teacher.get("/class", headers={"host": host}).status_code == 421


@pytest.mark.parametrize(
    "origin",
    [None, "", "null", "http://evil.example", "http://testserver:1", "https://testserver",
     "http://testserver.evil.example", "http://localhost"],
)  # fmt: skip
def test_nothing_is_changed_from_another_origin(
    classroom: Classroom, teacher: TestClient, origin: str | None
) -> None:
    del teacher.headers["origin"]
    headers = {} if origin is None else {"origin": origin}
    for path in ("/class", "/plan", "/join", "/enter", "/leave", "/lock", "/results/x/correct"):
        assert teacher.post(path, data={"what": "open"}, headers=headers).status_code == 403
    assert classroom.codes.open_for("3B") == ""
    for path in ("/ws/me", "/ws/teacher", "/ws/wall"):
        assert close_code(teacher, path, headers=headers)[0] == 4403


def test_every_page_has_a_strict_policy_and_nothing_inline(teacher: TestClient) -> None:
    teacher.post("/plan", data={"step": "direct", "way": "own"})
    teacher.post("/class", data={"what": "open"})
    for path in ("/class", "/plan", "/live", "/wall", "/results", "/about", "/join", "/nowhere"):
        page = teacher.get(path)
        policy = page.headers["content-security-policy"]
        assert "default-src 'none'" in policy
        assert "unsafe" not in policy
        assert "script-src 'self';" in policy
        assert "frame-ancestors 'none'" in policy
        assert page.headers["x-content-type-options"] == "nosniff"
        assert page.headers["cache-control"] == "no-store"
        # no script or style in the page, no handler, no address elsewhere
        assert not re.search(r"<style|\sstyle=|\son[a-z]+=|javascript:", page.text)
        for tag in re.findall(r"<script[^>]*>", page.text):
            assert re.fullmatch(r'<script type="module" src="/static/[a-z]+\.js">', tag)
        for url in re.findall(r'(?:src|href|action)="([^"]*)"', page.text):
            assert url.startswith(("/", "#")), url


def test_markup_in_a_name_stays_text(teacher: TestClient) -> None:
    name = '<img src=x onerror="alert(1)">'
    teacher.post("/class", data={"what": "add", "names": name})
    page = teacher.get("/class").text
    assert "<img" not in page
    assert "&lt;img" in page


# --- the teacher's door ---


def test_without_a_passphrase_only_this_computer_is_the_teacher(
    classroom: Classroom, teacher: TestClient
) -> None:
    assert teacher.get("/class").status_code == 200
    far = browser(classroom, teacher, host="192.168.1.20")
    for path in TEACHERS:
        assert far.get(path).headers.get("location") == "/enter", path
    assert close_code(far, "/ws/teacher") == (4403, "sign in first")
    assert close_code(far, "/ws/wall") == (4403, "sign in first")
    assert close_code(far, "/ws/me") == (4403, "sign in first")


def test_the_passphrase_opens_and_nothing_else_does(
    classroom: Classroom, teacher: TestClient
) -> None:
    lock(classroom)
    for path in TEACHERS:
        assert teacher.get(path).headers.get("location") == "/enter", path
    for wrong in ("", PASSPHRASE + "x", PASSPHRASE.upper(), "x" * 10_000):
        assert teacher.post("/enter", data={"passphrase": wrong}).status_code == 403
    assert teacher.get("/class").status_code == 303
    assert teacher.post("/enter", data={"passphrase": PASSPHRASE}).status_code == 303
    assert teacher.get("/class").status_code == 200
    assert teacher.post("/leave").status_code == 303
    assert teacher.get("/class").status_code == 303


def test_the_passphrase_is_kept_as_argon2id_in_a_private_file(classroom: Classroom) -> None:
    lock(classroom)
    text = classroom.keys.path.read_text()
    assert "$argon2id$" in text
    assert PASSPHRASE not in text
    assert classroom.keys.path.stat().st_mode & 0o077 == 0


def test_the_real_cost_is_what_the_library_recommends() -> None:
    """RFC 9106, section 4: the second recommended option, as argon2-cffi takes it."""
    hashed = Passphrases().hash(PASSPHRASE)
    assert hashed.startswith("$argon2id$v=19$m=65536,t=3,p=4$")
    assert Passphrases().fits(hashed, PASSPHRASE)


def test_a_short_passphrase_is_refused(classroom: Classroom, teacher: TestClient) -> None:
    teacher.post("/lock", data={"passphrase": "short", "again": "short"})
    assert classroom.keys.passphrase == ""
    teacher.post("/lock", data={"passphrase": PASSPHRASE, "again": PASSPHRASE + "x"})
    assert classroom.keys.passphrase == ""
    teacher.post("/lock", data={"passphrase": PASSPHRASE, "again": PASSPHRASE})
    assert classroom.passphrases.fits(classroom.keys.passphrase, PASSPHRASE)
    assert teacher.get("/class").status_code == 200


def test_a_new_passphrase_ends_the_pages_that_are_open(
    classroom: Classroom, teacher: TestClient
) -> None:
    for path in ("/ws/teacher", "/ws/wall"):
        with (
            pytest.raises(WebSocketDisconnect) as end,
            teacher.websocket_connect(path) as socket,
        ):
            teacher.post("/lock", data={"passphrase": PASSPHRASE, "again": PASSPHRASE})
            for _ in range(9):
                socket.receive_json()
        assert end.value.code == 4403


def test_guessing_is_slowed_down(classroom: Classroom, teacher: TestClient) -> None:
    lock(classroom)
    far = browser(classroom, teacher, host="192.168.1.20")
    codes = [far.post("/enter", data={"passphrase": "x"}).status_code for _ in range(12)]
    assert codes == [403] * 10 + [429] * 2
    # even the right one, from there, for a while; from elsewhere it opens
    assert far.post("/enter", data={"passphrase": PASSPHRASE}).status_code == 429
    assert teacher.post("/enter", data={"passphrase": PASSPHRASE}).status_code == 303


def test_a_class_guessing_codes_does_not_lock_the_teacher_out(
    classroom: Classroom, teacher: TestClient
) -> None:
    lock(classroom)
    for k in range(15):
        tablet = browser(classroom, teacher, host=f"192.168.1.{20 + k}")
        for _ in range(12):
            tablet.post("/join", data={"code": "AAAAAA", "name": "Ben"})
    laptop = browser(classroom, teacher, host="192.168.1.90")
    assert laptop.post("/join", data={"code": "AAAAAA", "name": ""}).status_code == 429
    # neither in the class network, nor at the teacher's own computer
    assert laptop.post("/enter", data={"passphrase": PASSPHRASE}).status_code == 303
    assert teacher.post("/enter", data={"passphrase": PASSPHRASE}).status_code == 303


def test_the_network_cannot_lock_the_teachers_own_computer_out(
    classroom: Classroom, teacher: TestClient
) -> None:
    lock(classroom)
    seen = set()
    for k in range(125):
        far = browser(classroom, teacher, host=f"192.168.2.{k}")
        seen.add(far.post("/enter", data={"passphrase": "x"}).status_code)
    assert seen == {403, 429}
    assert teacher.post("/enter", data={"passphrase": PASSPHRASE}).status_code == 303


def test_signing_in_is_not_counted_as_guessing(classroom: Classroom, teacher: TestClient) -> None:
    lock(classroom)
    for _ in range(15):
        assert teacher.post("/enter", data={"passphrase": PASSPHRASE}).status_code == 303
        teacher.post("/leave")


def test_guessing_codes_from_many_addresses_is_slowed_down_too(
    classroom: Classroom, teacher: TestClient
) -> None:
    classroom.codes.for_class("3B")
    seen = set()
    for k in range(130):
        far = browser(classroom, teacher, host=f"192.168.2.{k}")
        seen.add(far.post("/join", data={"code": "AAAAAA", "name": "Ben"}).status_code)
    assert seen == {403, 429}


def test_a_forged_or_old_cookie_opens_nothing(classroom: Classroom, teacher: TestClient) -> None:
    lock(classroom)
    teacher.post("/enter", data={"passphrase": PASSPHRASE})
    cookie = teacher.cookies[COOKIE]
    assert teacher.get("/class").status_code == 200
    payload, rest = cookie.split(".", 1)
    forged = [f"{payload[:-2]}AA.{rest}", cookie[:-3] + "AAA", payload, "", "x.y.z", "." * 50]
    for bad in forged:
        teacher.cookies.clear()
        teacher.cookies.set(COOKIE, bad)
        assert teacher.get("/class").headers.get("location") == "/enter", bad
    # a new passphrase ends every older visit
    classroom.keys.set_passphrase("another passphrase")
    teacher.cookies.clear()
    teacher.cookies.set(COOKIE, cookie)
    assert teacher.get("/class").headers.get("location") == "/enter"


def test_signing_out_ends_every_copy_of_the_cookie(
    classroom: Classroom, teacher: TestClient
) -> None:
    lock(classroom)
    teacher.post("/enter", data={"passphrase": PASSPHRASE})
    copy, other = browser(classroom, teacher), browser(classroom, teacher)
    copy.cookies.set(COOKIE, teacher.cookies[COOKIE])
    other.post("/enter", data={"passphrase": PASSPHRASE})
    assert copy.get("/class").status_code == 200
    with (
        pytest.raises(WebSocketDisconnect) as end,
        copy.websocket_connect("/ws/teacher") as socket,
    ):
        teacher.post("/leave")
        for _ in range(9):
            socket.receive_json()
    assert end.value.code == 4403
    assert copy.get("/class").headers.get("location") == "/enter"
    assert other.get("/class").status_code == 200  # another visit goes on
    # nor is it good again after the server was restarted
    classroom.visits = Visits(classroom.keys.path.with_name("ended.json"))
    assert copy.get("/class").headers.get("location") == "/enter"


def test_signing_out_ends_a_pupils_copies_too(classroom: Classroom, teacher: TestClient) -> None:
    code = card_on(teacher.post("/class", data={"what": "card", "pupil": "Ben"}).text)
    home = browser(classroom, teacher, host="192.168.1.30")
    home.post("/join", data={"code": code, "name": ""})
    copy = browser(classroom, teacher, host="192.168.1.31")
    copy.cookies.set(COOKIE, home.cookies[COOKIE])
    assert "Hello Ben!" in copy.get("/me").text
    home.post("/leave")
    assert copy.get("/me").headers["location"] == "/join"
    home.post("/join", data={"code": code, "name": ""})  # the card itself is still good
    assert "Hello Ben!" in home.get("/me").text


def test_ended_visits_are_forgotten_when_their_cookies_have_run_out(tmp_path: Path) -> None:
    now = 1000.0
    visits = Visits(tmp_path / "ended.json", lambda: now)
    visits.end("one", 2000.0)
    assert (tmp_path / "ended.json").stat().st_mode & 0o077 == 0
    now = 3000.0
    visits.end("two", 4000.0)
    kept = Visits(tmp_path / "ended.json")
    assert (kept.has_ended("one"), kept.has_ended("two")) == (False, True)
    (tmp_path / "ended.json").write_text("[]")
    with pytest.raises(BadInput, match="no list of visits"):
        Visits(tmp_path / "ended.json")


# --- numbers and words that no page sends ---

LONG = "9" * 5000


def test_a_path_with_a_number_of_5000_digits_is_not_found(
    classroom: Classroom, teacher: TestClient
) -> None:
    stranger = browser(classroom, teacher, host="192.168.1.20")
    for path in (f"/live/x/{LONG}.wav", f"/results/x/{LONG}.wav"):
        assert teacher.get(path).status_code == 404
        assert stranger.get(path).status_code == 404


def test_numbers_of_5000_digits_in_forms_are_refused(
    classroom: Classroom, teacher: TestClient
) -> None:
    form = {"step": "direct", "count": "1", "terms": "2", "pace": "2", "way": "own"}
    assert teacher.post("/plan", data=form | {"pupil": LONG}).status_code == 303
    assert classroom.chosen == frozenset()
    for name in ("count", "terms", "pace", "within"):
        assert teacher.post("/plan", data=form | {name: LONG}).status_code == 400
    noted = {"verdict": "right", "turn": LONG, "value": LONG}
    assert teacher.post("/results/x/correct", data=noted).status_code == 303
    assert teacher.get(f"/results?skip={LONG}").status_code == 200
    assert teacher.post("/join", headers={"content-length": LONG}).status_code == 413


def test_half_a_surrogate_pair_in_a_form_is_refused(
    classroom: Classroom, teacher: TestClient
) -> None:
    body = b'--x\r\ncontent-disposition: form-data; name="name"\r\n\r\n\\ud800\r\n--x--\r\n'
    kind = "multipart/form-data; boundary=x; charset=unicode_escape"
    came = teacher.post("/join", content=body, headers={"content-type": kind})
    assert came.status_code == 403


@pytest.mark.parametrize(
    "text",
    [
        f'{{"t": "correct", "number": {LONG[:1900]}, "verdict": "right"}}',
        f'{{"t": "hello", "mic": true, "run": "", "first": {LONG[:1900]}, "play": 0}}',
        f'{{"t": "practise", "rule": "", "slower": false, "count": {LONG[:1900]}}}',
        f'{{"t": "do", "name": "{"é" * 1900}',
        f'{{"t": "{"é" * 1900}"}}',
        '{"t": "do", "name": "\\ud800"}',
    ],
)  # fmt: skip
def test_a_socket_ends_with_a_reason_that_fits(
    classroom: Classroom, teacher: TestClient, text: str
) -> None:
    with (
        pytest.raises(WebSocketDisconnect) as end,
        teacher.websocket_connect("/ws/teacher") as socket,
    ):
        socket.send_text(text)
        for _ in range(9):
            socket.receive_json()
    assert end.value.code == 4400
    assert 0 < len((end.value.reason or "").encode()) <= 123


def test_a_reason_is_cut_to_what_a_close_frame_holds() -> None:
    connection = Connection()
    connection.close("this page may not " + "\U0001f600" * 100 + "\ud800", 4400)
    assert connection.why.startswith("this page may not \U0001f600")
    assert 119 < len(connection.why.encode()) <= 123


def test_a_visit_ends(
    classroom: Classroom, teacher: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    lock(classroom)
    teacher.post("/enter", data={"passphrase": PASSPHRASE})
    later = time.time() + 13 * 3600
    monkeypatch.setattr(time, "time", lambda: later)
    assert teacher.get("/class").headers.get("location") == "/enter"


def test_cookies_are_for_this_site_and_no_script(classroom: Classroom, teacher: TestClient) -> None:
    lock(classroom)
    set_cookie = teacher.post("/enter", data={"passphrase": PASSPHRASE}).headers["set-cookie"]
    assert "httponly" in set_cookie.lower()
    assert "samesite=strict" in set_cookie.lower()
    secure = TestClient(
        create_app(classroom, ["class.local"], secure=True),
        base_url="https://class.local",
        headers={"origin": "https://class.local"},
        follow_redirects=False,
    )
    secure.portal = teacher.portal
    came = secure.post("/enter", data={"passphrase": PASSPHRASE})
    assert "; secure" in came.headers["set-cookie"].lower()


# --- pupils ---


def test_a_pupil_joins_by_code_and_sees_no_other_page(
    classroom: Classroom, teacher: TestClient
) -> None:
    tablet = browser(classroom, teacher, host="192.168.1.20")
    join(classroom, tablet, "asha")
    assert "Hello Asha Rao!" in tablet.get("/me").text
    assert "Ben" not in tablet.get("/me").text
    for path in TEACHERS:
        assert tablet.get(path).status_code == 403, path
    for path in ("/class", "/plan", "/lock", "/results/x/correct"):
        assert tablet.post(path, data={"what": "open"}).status_code == 403
    assert close_code(tablet, "/ws/teacher") == (4403, "sign in first")
    assert close_code(tablet, "/ws/wall") == (4403, "sign in first")


def test_a_pupils_browser_on_this_computer_is_not_the_teacher(
    classroom: Classroom, teacher: TestClient
) -> None:
    child = browser(classroom, teacher)
    join(classroom, child, "Ben")
    for path in TEACHERS:
        assert child.get(path).status_code == 403, path
    assert close_code(child, "/ws/teacher")[0] == 4403


@pytest.mark.parametrize("name", ["", "Nobody", "  ", "Asha Rao; drop", "%", "Asha\x00"])
def test_a_name_that_is_not_in_the_class_does_not_join(
    classroom: Classroom, teacher: TestClient, name: str
) -> None:
    code, _ = classroom.codes.for_class("3B")
    far = browser(classroom, teacher, host="192.168.1.20")
    assert far.post("/join", data={"code": code, "name": name}).status_code == 403


def test_a_name_joins_however_its_accents_are_typed(
    classroom: Classroom, teacher: TestClient
) -> None:
    teacher.post("/class", data={"what": "add", "names": "Ni\u00f1o Paz"})
    join(classroom, browser(classroom, teacher, host="192.168.1.20"), "nin\u0303o")


def test_a_place_that_is_taken_cannot_be_taken_by_another(
    classroom: Classroom, teacher: TestClient
) -> None:
    asha = browser(classroom, teacher, host="192.168.1.20")
    thief = browser(classroom, teacher, host="192.168.1.21")
    join(classroom, asha, "Asha Rao")
    code = classroom.codes.open_for("3B")
    refused = thief.post("/join", data={"code": code, "name": "Asha Rao"})
    assert refused.status_code == 403
    assert "Ask your teacher to free the place" in refused.text
    # the teacher frees it: the old cookie is worth nothing, the name can be taken again
    teacher.post("/class", data={"what": "free", "pupil": "Asha Rao"})
    assert asha.get("/me").headers["location"] == "/join"
    join(classroom, thief, "Asha Rao")


def test_codes_expire_and_closing_sends_everyone_out(
    classroom: Classroom, teacher: TestClient
) -> None:
    now = 1000.0
    classroom.roster.codes = Codes(now=lambda: now)
    code, _ = classroom.codes.for_class("3B")
    ben = browser(classroom, teacher, host="192.168.1.20")
    assert ben.post("/join", data={"code": code.lower(), "name": "ben"}).status_code == 303
    now += 2 * 3600 + 1
    asha = browser(classroom, teacher, host="192.168.1.21")
    assert asha.post("/join", data={"code": code, "name": "Asha Rao"}).status_code == 403
    teacher.post("/class", data={"what": "close"})
    assert ben.get("/me").headers["location"] == "/join"


def test_a_card_opens_one_pupils_practice(classroom: Classroom, teacher: TestClient) -> None:
    page = teacher.post("/class", data={"what": "card", "pupil": "Ben"}).text
    found = re.search(r'<p class="code">([A-Z0-9]{9})</p>', page)
    assert found is not None
    home = browser(classroom, teacher, host="192.168.1.30")
    assert home.post("/join", data={"code": found[1], "name": "Asha Rao"}).status_code == 303
    assert "Hello Ben!" in home.get("/me").text
    # erased: the card and the cookie are worth nothing, even if the number is given out again
    teacher.post("/class", data={"what": "erase", "pupil": "Ben"})
    teacher.post("/class", data={"what": "add", "names": "Cem"})
    assert home.get("/me").headers["location"] == "/join"
    fresh = browser(classroom, teacher, host="192.168.1.31")
    assert fresh.post("/join", data={"code": found[1], "name": ""}).status_code == 403


def card_on(page: str) -> str:
    (code,) = re.findall(r'<p class="code">([A-Z0-9]{9})</p>', page)
    return str(code)


def test_a_page_opened_with_a_card_stays_as_long_as_the_card(
    classroom: Classroom, teacher: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    code = card_on(teacher.post("/class", data={"what": "card", "pupil": "Ben"}).text)
    home = browser(classroom, teacher, host="192.168.1.30")
    home.post("/join", data={"code": code, "name": ""})
    begun = time.time()
    now = begun + 13 * 24 * 3600
    classroom.codes.now = lambda: now
    monkeypatch.setattr(time, "time", lambda: now)
    assert home.get("/me").status_code == 200
    now = begun + 15 * 24 * 3600
    classroom.codes.now = lambda: now
    assert home.get("/").headers["location"] == "/me"
    assert home.get("/me").headers["location"] == "/join"
    assert "Your card is no longer valid." in home.get("/join").text
    assert close_code(home, "/ws/me") == (4403, "sign in first")


def test_pressing_card_twice_shows_the_same_card(classroom: Classroom, teacher: TestClient) -> None:
    first = card_on(teacher.post("/class", data={"what": "card", "pupil": "Ben"}).text)
    again = card_on(teacher.post("/class", data={"what": "card", "pupil": "Ben"}).text)
    assert again == first
    assert "Practice card for Ben, who has one" in teacher.get("/class").text


@pytest.mark.parametrize(
    ("what", "why"),
    [
        ("new card", "your teacher made you a new card"),
        ("no card", "your teacher took this card back"),
    ],
)
def test_replacing_or_taking_back_a_card_disconnects_its_page(
    classroom: Classroom, teacher: TestClient, what: str, why: str
) -> None:
    old = card_on(teacher.post("/class", data={"what": "card", "pupil": "Ben"}).text)
    home = browser(classroom, teacher, host="192.168.1.30")
    home.post("/join", data={"code": old, "name": ""})
    with (
        pytest.raises(WebSocketDisconnect) as end,
        home.websocket_connect("/ws/me") as socket,
    ):
        page = teacher.post("/class", data={"what": what, "pupil": "Ben"})
        for _ in range(5):
            socket.receive_json()
    assert (end.value.code, end.value.reason) == (4409, why)
    assert home.get("/me").headers["location"] == "/join"
    fresh = browser(classroom, teacher, host="192.168.1.31")
    assert fresh.post("/join", data={"code": old, "name": ""}).status_code == 403
    if what == "new card":
        assert fresh.post("/join", data={"code": card_on(page.text), "name": ""}).status_code == 303
    else:
        assert "Ben&#39;s card no longer works." in teacher.get("/class").text
        assert "who has one" not in teacher.get("/class").text


def test_taking_a_card_back_leaves_the_place_in_class(
    classroom: Classroom, teacher: TestClient
) -> None:
    teacher.post("/class", data={"what": "card", "pupil": "Ben"})
    in_class = browser(classroom, teacher, host="192.168.1.30")
    join(classroom, in_class, "Ben")
    with in_class.websocket_connect("/ws/me") as socket:
        socket.send_json({"t": "hello", "mic": False, "run": "", "first": 0, "play": 0})
        teacher.post("/class", data={"what": "no card", "pupil": "Ben"})
        socket.send_json({"t": "hello", "mic": False, "run": "", "first": 0, "play": 0})
        assert sum(socket.receive_json()["t"] == "welcome" for _ in range(5)) == 2
        socket.close()
        while any(device.online for device in classroom.roster.devices.values()):
            time.sleep(0.01)
    assert in_class.get("/me").status_code == 200


def test_practice_does_not_begin_on_a_page_whose_card_has_ended(
    classroom: Classroom, teacher: TestClient
) -> None:
    code = card_on(teacher.post("/class", data={"what": "card", "pupil": "Ben"}).text)
    home = browser(classroom, teacher, host="192.168.1.30")
    home.post("/join", data={"code": code, "name": ""})
    with (
        pytest.raises(WebSocketDisconnect) as end,
        home.websocket_connect("/ws/me") as socket,
    ):
        later = time.time() + 15 * 24 * 3600
        classroom.codes.now = lambda: later
        socket.send_json({"t": "practise", "count": 3, "rule": "", "slower": False})
        for _ in range(5):
            socket.receive_json()
    assert (end.value.code, end.value.reason) == (4403, "your card is no longer valid")
    assert classroom.conductor.practices == {}


def test_a_card_stays_valid_after_the_laptop_was_switched_off(
    classroom: Classroom, teacher: TestClient, tmp_path: Path
) -> None:
    kept = tmp_path / "records.db"
    ben, asha = (Pupil(2, "Ben", "3B", True), Pupil(1, "Asha Rao", "3B", True))
    evening = Codes(cards=Cards(kept))
    (card, _), (hers, _), (shared, _) = (
        evening.for_pupil(ben), evening.for_pupil(asha), evening.for_class("3B"),
    )  # fmt: skip
    assert kept.stat().st_mode & 0o077 == 0
    classroom.roster.codes = Codes(cards=Cards(kept))
    assert classroom.codes.open(shared) is None
    home = browser(classroom, teacher, host="192.168.1.30")
    assert home.post("/join", data={"code": card, "name": ""}).status_code == 303
    assert "Hello Ben!" in home.get("/me").text
    later = time.time() + 15 * 24 * 3600
    assert Codes(now=lambda: later, cards=Cards(kept)).open(card) is None
    # erased: neither the card nor the name stays
    teacher.post("/class", data={"what": "erase", "pupil": "Ben"})
    assert b"Ben" not in kept.read_bytes()
    assert Codes(cards=Cards(kept)).open(card) is None
    assert Codes(cards=Cards(kept)).open(hers) is not None


def test_one_pupils_sounds_and_rounds_are_not_anothers(
    classroom: Classroom, teacher: TestClient
) -> None:
    asha = browser(classroom, teacher, host="192.168.1.20")
    join(classroom, asha, "Asha Rao")
    for path in ("/clip/x/y", "/clip/../keys.json", "/clip/a/..%2F..%2Fkeys.json"):
        assert asha.get(path).status_code == 404
    assert asha.get("/me/replay/anything").headers["location"] == "/me"


@pytest.mark.parametrize(
    "path",
    ["/static/../keys.json", "/static/..%2f..%2fapp.py", "/static/%2e%2e/app.py", "/static/",
     "/static//etc/passwd", "/static/look.css/../../app.py", "/static/%00"],
)  # fmt: skip
def test_no_path_leads_out_of_the_static_files(teacher: TestClient, path: str) -> None:
    assert teacher.get(path).status_code in (404, 421)


# --- too much ---


def test_a_body_that_is_too_large_is_not_read(teacher: TestClient) -> None:
    big = {"what": "add", "names": "x" * (BODY_BYTES + 1)}
    assert teacher.post("/class", data=big).status_code == 413


def test_a_body_without_a_length_ends_when_it_is_too_large(
    classroom: Classroom, teacher: TestClient
) -> None:
    def endless() -> Any:
        yield b"what=add&names="
        for _ in range(40):
            yield b"x" * 4096

    headers = {"content-type": "application/x-www-form-urlencoded"}
    assert teacher.post("/class", content=endless(), headers=headers).status_code == 413
    assert "xxxx" not in teacher.get("/class").text


def test_requests_are_limited(
    classroom: Classroom, teacher: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(app_module, "REQUESTS", (20.0, 0.001))
    far = browser(classroom, teacher, host="192.168.9.9")
    codes = [far.get("/nowhere").status_code for _ in range(30)]
    assert codes == [404] * 20 + [429] * 10
    assert close_code(far, "/ws/me")[0] == 4403
    assert teacher.get("/about").status_code == 200


@pytest.mark.parametrize(
    "what",
    [
        b"\x00" * 10,
        b"\x00" * 645,
        "{}",
        "x" * (MESSAGE_BYTES + 1),
        '{"t": "do", "name": "stop"}',
        '{"t": "correct", "number": 0, "verdict": "right"}',
        '{"t": "reveal", "on": true}',
    ],
)
def test_a_pupils_socket_ends_on_a_message_that_its_page_never_sends(
    classroom: Classroom, teacher: TestClient, what: str | bytes
) -> None:
    asha = browser(classroom, teacher, host="192.168.1.20")
    join(classroom, asha, "Asha Rao")
    with (
        pytest.raises(WebSocketDisconnect) as end,
        asha.websocket_connect("/ws/me") as socket,
    ):
        if isinstance(what, bytes):
            socket.send_bytes(what)
        else:
            socket.send_text(what)
        for _ in range(5):
            socket.receive_json()
    assert end.value.code == 4400


def test_a_flood_of_sound_ends_the_connection_but_the_page_may_come_back(
    classroom: Classroom, teacher: TestClient
) -> None:
    """Everything sent while this computer slept arrives at once: none of our own pages may be
    turned away for good because of that."""
    asha = browser(classroom, teacher, host="192.168.1.20")
    join(classroom, asha, "Asha Rao")
    with (
        pytest.raises(WebSocketDisconnect) as end,
        asha.websocket_connect("/ws/me") as socket,
    ):
        for number in range(0, int(conversation.BLOCKS[0]) + 400, BLOCKS_MOST):
            socket.send_bytes(as_packet(number, np.zeros(BLOCKS_MOST * BLOCK, dtype=np.float32)))
        for _ in range(9):
            socket.receive_json()
    assert end.value.code == 1013  # RFC 6455's registry: try again later


def test_too_many_messages_end_the_socket(classroom: Classroom, teacher: TestClient) -> None:
    asha = browser(classroom, teacher, host="192.168.1.20")
    join(classroom, asha, "Asha Rao")
    with (
        pytest.raises(WebSocketDisconnect) as end,
        asha.websocket_connect("/ws/me") as socket,
    ):
        for n in range(100):
            socket.send_json({"t": "pong", "n": n})
        for _ in range(5):
            socket.receive_json()
    assert (end.value.code, end.value.reason) == (4400, "too many messages")


def test_a_second_window_takes_over_and_the_first_ends(
    classroom: Classroom, teacher: TestClient
) -> None:
    asha = browser(classroom, teacher, host="192.168.1.20")
    join(classroom, asha, "Asha Rao")
    with (
        asha.websocket_connect("/ws/me") as first,
        asha.websocket_connect("/ws/me") as second,
    ):
        second.send_json({"t": "hello", "mic": False, "run": "", "first": 0, "play": 0})
        while second.receive_json()["t"] != "welcome":
            pass
        with pytest.raises(WebSocketDisconnect) as end:
            for _ in range(5):
                first.receive_json()
        second.close()
        while any(device.online for device in classroom.roster.devices.values()):
            time.sleep(0.01)
    assert end.value.code == 4409


def test_a_second_teachers_page_watches_and_takes_the_sound_only_when_told(
    classroom: Classroom, teacher: TestClient
) -> None:
    hello = {"t": "hello", "mic": False, "run": "", "first": 0, "play": 0}

    def until(socket: WebSocketTestSession, *kinds: str) -> dict[str, Any]:
        for _ in range(9):
            message: dict[str, Any] = socket.receive_json()
            if message["t"] in kinds:
                return message
        raise AssertionError(f"no {kinds}")

    with (
        teacher.websocket_connect("/ws/teacher") as first,
        teacher.websocket_connect("/ws/teacher") as second,
    ):
        first.send_json(hello)
        until(first, "welcome")
        first.send_json({"t": "ready", "mic": False})
        second.send_json(hello)
        assert until(second, "aside", "welcome")["t"] == "aside"
        assert classroom.roster.front.ready  # the first page's sound stays on
        # what a page that only watches says of a device does not concern the front
        second.send_json({"t": "delay", "out_s": 1.5, "in_s": 0.0, "measured": True})
        second.send_json({"t": "do", "name": "begin"})
        assert until(second, "note")["text"] == "Plan a round first."
        assert not classroom.roster.front.measured
        # the button: the other page is told, and watches on
        second.send_json({"t": "ready", "mic": False})
        until(first, "aside")
        assert classroom.roster.front.ready
        first.send_json({"t": "do", "name": "begin"})
        assert until(first, "note")["text"] == "Plan a round first."
        # it comes back after a break of its connection: it does not steal the sound
        with teacher.websocket_connect("/ws/teacher") as again:
            again.send_json(hello | {"run": "somewhere"})
            assert until(again, "aside", "welcome")["t"] == "aside"
            again.close()
            while classroom.publisher.watching > 2:
                time.sleep(0.01)
        second.close()
        first.close()
        while classroom.publisher.watching:
            time.sleep(0.01)
