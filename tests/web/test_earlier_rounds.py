"""Earlier recordings are closed to those who only know the class's code and a name."""

from __future__ import annotations

import re
import time
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from oralquiz.records.pupil_list import find_pupil
from oralquiz.web.classroom import Classroom
from tests.web.conftest import browser
from tests.web.room import Tablet, plan
from tests.web.test_getting_in import close_code, join
from tests.web.test_pages import at_home, do, keep

pytestmark = pytest.mark.slow

ASK = "Ask to see my earlier rounds"


def in_class(classroom: Classroom, teacher: TestClient, name: str = "Asha Rao") -> TestClient:
    """A browser with the code of the class and a name, whoever sits there."""
    other = browser(classroom, teacher, host="192.168.1.20")
    join(classroom, other, name)
    return other


def opened(someone: TestClient, round_id: str) -> bool:
    """Whether the replay of a round opens."""
    return someone.get(f"/me/replay/{round_id}").status_code == 200


def shown_first(classroom: Classroom, someone: TestClient) -> dict[str, Any]:
    """What a pupil's page shows when it is opened; it is closed again."""
    with someone.websocket_connect("/ws/me") as socket:
        socket.send_json({"t": "hello", "mic": False, "run": "", "first": 0, "play": 0})
        shown = socket.receive_json()
        while shown["t"] != "show":
            shown = socket.receive_json()
        socket.close()
        while any(device.online for device in classroom.roster.devices.values()):
            time.sleep(0.01)
    return dict(shown)


def question(page: str) -> str:
    """The id of the one question on the teacher's page."""
    (asking,) = set(re.findall(r'name="asking" value="([^"]+)"', page))
    return str(asking)


def test_a_classmate_with_the_code_and_a_name_sees_nothing_that_was_recorded_before(
    classroom: Classroom, teacher: TestClient, tmp_path: Path
) -> None:
    hers = keep(classroom, teacher, tmp_path / "hers", "Asha Rao", 38, 33)
    classmate = in_class(classroom, teacher)
    page = classmate.get("/me").text
    assert hers not in page
    assert "Your best" not in page
    assert "Look again" not in page
    assert not opened(classmate, hers)
    assert "when your teacher says yes" in classmate.get("/me").text
    for path in (f"/results/{hers}", f"/results/{hers}/0.wav", f"/results/{hers}/replay",
                 "/results", "/class/pupil?name=Asha Rao"):  # fmt: skip
        assert classmate.get(path).status_code == 403, path


def test_the_pupils_card_opens_what_was_recorded_before(
    classroom: Classroom, teacher: TestClient, tmp_path: Path
) -> None:
    hers = keep(classroom, teacher, tmp_path / "hers", "Asha Rao", 38, 33)
    asha = at_home(classroom, teacher, "Asha Rao")
    page = asha.get("/me").text
    assert hers in page
    assert "Your best" in page
    assert ASK not in page
    assert opened(asha, hers)


@pytest.mark.parametrize("console", ["class", "live"])
def test_the_teachers_yes_opens_it_for_that_browser_until_it_leaves(
    classroom: Classroom, teacher: TestClient, tmp_path: Path, console: str
) -> None:
    hers = keep(classroom, teacher, tmp_path / "hers", "Asha Rao", 38)
    asha = in_class(classroom, teacher)
    assert ASK in asha.get("/me").text
    assert "Asking to see" not in teacher.get("/class").text
    asha.post("/me/ask")
    asha.post("/me/ask")  # asking twice is one question
    assert "Your teacher has been asked." in asha.get("/me").text
    assert not opened(asha, hers)
    page = teacher.get("/class").text
    assert "Let Asha Rao see earlier rounds" in page
    if console == "class":
        teacher.post("/class", data={"what": "allow", "asking": question(page)})
        assert "Asha Rao may now see earlier rounds on that device." in teacher.get("/class").text
    else:
        with teacher.websocket_connect("/ws/teacher") as socket:
            (one,) = told(socket)
            assert one["pupil"] == "Asha Rao"
            socket.send_json({"t": "allow", "asking": one["asking"], "yes": True})
            while told(socket):
                pass
    assert hers in asha.get("/me").text
    assert opened(asha, hers)
    assert ASK not in asha.get("/me").text
    asha.post("/leave")
    assert not opened(asha, hers)
    again = in_class(classroom, teacher)
    assert not opened(again, hers)
    assert ASK in again.get("/me").text


def told(socket: Any) -> list[dict[str, str]]:
    """Who is asking, according to the live page's next message."""
    while True:
        message = socket.receive_json()
        if message["t"] == "live":
            return list(message["asking"])


def test_a_no_and_an_answer_that_comes_too_late_open_nothing(
    classroom: Classroom, teacher: TestClient, tmp_path: Path
) -> None:
    hers = keep(classroom, teacher, tmp_path / "hers", "Asha Rao", 38)
    asha = in_class(classroom, teacher)
    asha.post("/me/ask")
    refused = question(teacher.get("/class").text)
    teacher.post("/class", data={"what": "refuse", "asking": refused})
    assert not opened(asha, hers)
    assert ASK in asha.get("/me").text
    asha.post("/me/ask")
    old = question(teacher.get("/class").text)
    asha.post("/leave")
    classmate = in_class(classroom, teacher)
    for asking in (old, refused, ""):
        teacher.post("/class", data={"what": "allow", "asking": asking})
        assert "Whoever asked that has left." in teacher.get("/class").text
    assert not opened(classmate, hers)


def test_only_the_teacher_can_say_yes(
    classroom: Classroom, teacher: TestClient, tmp_path: Path
) -> None:
    hers = keep(classroom, teacher, tmp_path / "hers", "Asha Rao", 38)
    asha = in_class(classroom, teacher)
    asha.post("/me/ask")
    asking = question(teacher.get("/class").text)
    assert asha.post("/class", data={"what": "allow", "asking": asking}).status_code == 403
    with asha.websocket_connect("/ws/me") as socket:
        socket.send_json({"t": "allow", "asking": asking, "yes": True})
        message = socket.receive()
        while message["type"] != "websocket.close":
            message = socket.receive()
        assert message["code"] == 4400
    stranger = browser(classroom, teacher, host="192.168.1.66")
    assert stranger.post("/me/ask").headers["location"] == "/join"
    assert not opened(asha, hers)


def test_a_round_of_this_visit_can_be_looked_at_and_by_nobody_who_comes_later(
    classroom: Classroom, teacher: TestClient
) -> None:
    asha = in_class(classroom, teacher)
    shown_first(classroom, asha)
    held = play(classroom, teacher, [99])
    assert held in asha.get("/me").text
    assert opened(asha, held)
    teacher.post("/class", data={"what": "free", "pupil": "Asha Rao"})
    classmate = in_class(classroom, teacher)
    assert held not in classmate.get("/me").text
    assert not opened(classmate, held)


def play(classroom: Classroom, teacher: TestClient, answers: list[int | None]) -> str:
    """Hold a round of one sum on Asha's device; returns its name in the records."""
    pupil = do(classroom, teacher, find_pupil, "Asha Rao")
    device = classroom.roster.device_of(pupil)

    async def whole() -> str:
        tablet = Tablet(device, answers)
        tablet.visit = device.visit
        tablet.open()
        tablet.ready()
        class_round = await classroom.conductor.start(plan(count=1), [pupil])
        assert await tablet.stream(600, until=lambda: class_round.phase == "over")
        await classroom.background.done()
        await tablet.listen()
        tablet.drop()
        (held,) = device.held
        return str(held)

    assert teacher.portal is not None
    return str(teacher.portal.call(whole))


def test_what_was_done_with_a_card_is_not_shown_to_the_next_user_of_the_device(
    classroom: Classroom, teacher: TestClient
) -> None:
    """A name has the same device for the card and for the place in class."""
    home = at_home(classroom, teacher, "Asha Rao")
    shown_first(classroom, home)
    held = play(classroom, teacher, [99])
    classmate = in_class(classroom, teacher)
    assert shown_first(classroom, classmate) == {"t": "show", "phase": "waiting"}
    assert not opened(classmate, held)
    assert opened(home, held)


def test_a_classmate_cannot_join_practice_at_home(
    classroom: Classroom, teacher: TestClient
) -> None:
    home = at_home(classroom, teacher, "Asha Rao")
    shown_first(classroom, home)
    pupil = do(classroom, teacher, find_pupil, "Asha Rao")
    device = classroom.roster.device_of(pupil)

    async def begin() -> None:
        tablet = Tablet(device, [])
        tablet.visit = device.visit
        tablet.open()
        tablet.ready()
        await classroom.conductor.practise(plan(count=1), pupil)

    assert teacher.portal is not None
    teacher.portal.call(begin)
    classmate = in_class(classroom, teacher)
    assert close_code(classmate, "/ws/me") == (4403, "this name is practising on another device")
