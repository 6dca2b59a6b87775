"""The pages as a teacher and a pupil use them, without a browser."""

from __future__ import annotations

import io
import re
from pathlib import Path

import pytest
import soundfile
from starlette.testclient import TestClient

from oralquiz.records.pupils import find_pupil, pupils
from oralquiz.records.store import store
from oralquiz.session.file import open_session
from oralquiz.web.house import House
from oralquiz.web.sets import Best, bests
from tests.session.room import make_round, run
from tests.web.conftest import browser
from tests.web.room import make_house


def do(house: House, client: TestClient, work, *args, **named):  # type: ignore[no-untyped-def]
    assert client.portal is not None
    return client.portal.call(lambda: house.records.do(work, *args, **named))


def keep(house: House, client: TestClient, folder: Path, pupil: str, *values: int | None) -> str:
    """A finished round of ``pupil``, in the records; returns its id."""
    round_ = make_round(*(["12 + 21"] * len(values)), pupil=pupil)
    file, _, _ = run(folder, round_, list(values))
    session = open_session(file)
    do(house, client, store, session, file)
    return str(session.header["id"])


def test_the_first_class(tmp_path: Path) -> None:
    from tests.web.room import client_of

    house = make_house(tmp_path)
    with client_of(house) as client:
        assert "Your first class" in client.get("/class").text
        client.post("/class", data={"what": "new class", "name": "  Year   2 "})
        client.post("/class", data={"what": "add", "names": "Dina\n\n  Eli  Moe \nDina"})
        page = client.get("/class").text
        assert "Dina" in page
        assert "Eli Moe" in page
        assert "There is a pupil &#39;Dina&#39; already." in page
        assert client.portal is not None
        client.portal.call(house.close)


def test_consent_is_the_parents_and_can_be_withdrawn(house: House, teacher: TestClient) -> None:
    teacher.post("/class", data={"what": "add", "names": "Cem"})
    assert not do(house, teacher, find_pupil, "Cem").consent  # nobody is asked to refuse
    teacher.post("/class", data={"what": "consent", "pupil": "Cem", "on": "yes"})
    assert do(house, teacher, find_pupil, "Cem").consent
    teacher.post("/class", data={"what": "consent", "pupil": "Cem", "on": "no"})
    assert not do(house, teacher, find_pupil, "Cem").consent


def test_erasing_asks_first(house: House, teacher: TestClient) -> None:
    assert "Erase Ben?" in teacher.get("/class/erase?pupil=Ben").text
    teacher.post("/class", data={"what": "erase", "pupil": "Ben"})
    assert [p.name for p in do(house, teacher, pupils)] == ["Asha Rao"]
    assert "Ben is erased" in teacher.get("/class").text


def test_the_join_code_is_on_the_page_and_in_its_qr(house: House, teacher: TestClient) -> None:
    teacher.post("/class", data={"what": "open"})
    page = teacher.get("/class").text
    code = house.codes.open_for("3B")
    assert re.fullmatch("[BCDFGHJKMPQRTVWXY2346789]{6}", code)
    assert code in page
    assert "<svg" in page
    assert code in teacher.get("/wall").text


def test_a_plan_is_kept_and_shown(house: House, teacher: TestClient) -> None:
    form = {"step": "five:+3", "count": "4", "terms": "3", "pace": "2", "way": "room"}
    assert teacher.post("/plan", data=form).headers["location"] == "/live"
    page = teacher.get("/live").text
    assert "4 sums · 3 terms · every 2 s" in page
    assert "this computer for everyone" in page


@pytest.mark.parametrize(
    ("field", "value", "trouble"),
    [
        ("step", "five:+9", "has no step"),
        ("count", "0", "Count: 0 is not between 1 and 40."),
        ("count", "many", "&#39;many&#39; is not a number"),
        ("pace", "nan", "is not between"),
        ("way", "loudly", "there is no way"),
        ("terms", "99", "is not between 2 and 15"),
    ],
)
def test_a_plan_that_cannot_be_is_explained(
    teacher: TestClient, field: str, value: str, trouble: str
) -> None:
    form = {"step": "direct", "count": "4", "terms": "3", "pace": "2", "way": "own"}
    came = teacher.post("/plan", data=form | {field: value})
    assert came.status_code == 400
    assert trouble.lower() in came.text.lower()


def test_listening_to_a_sum_before_class(teacher: TestClient) -> None:
    plan = {"step": "direct", "terms": "2", "pace": "1", "count": "1"}
    sample = teacher.get("/plan/sample", params=plan).json()
    left, sign, right = sample["sum"].split()
    assert sample["answer"] == int(left) + (int(right) if sign == "+" else -int(right))
    assert int(sample["total"].replace(",", "")) > 100
    wav = teacher.get("/plan/sample.wav", params=plan | {"sum": sample["sum"]})
    samples, rate = soundfile.read(io.BytesIO(wav.content))
    assert (len(samples), rate) == (32_000, 16_000)
    bad = teacher.get("/plan/sample.wav", params=plan | {"sum": "12 times 3"})
    assert bad.status_code == 400
    assert "character 4" in bad.json()["trouble"]


def test_results_are_listed_heard_and_corrected(
    house: House, teacher: TestClient, tmp_path: Path
) -> None:
    round_id = keep(house, teacher, tmp_path / "held", "Asha Rao", 33, 38)
    assert f"/results/{round_id}" in teacher.get("/results").text
    page = teacher.get(f"/results/{round_id}").text
    assert "Not right, heard 38, after 1.00 s." in page
    wav = teacher.get(f"/results/{round_id}/1.wav")
    samples, _ = soundfile.read(io.BytesIO(wav.content))
    assert abs(samples).max() == pytest.approx((38 + 2) / 200, abs=0.01)  # and the room's hiss
    assert len(samples) == 19_200  # the answer and 0.4 s on both sides
    form = {"turn": "1", "verdict": "right", "value": "33"}
    teacher.post(f"/results/{round_id}/correct", data=form)
    assert "Right, heard 33, after 1.00 s. By your ear." in teacher.get(f"/results/{round_id}").text
    assert "2 of 2" in teacher.get("/results").text
    for bad in ({"turn": "9"}, {"verdict": "fine"}, {"value": "x"}, {"turn": "-1"}):
        teacher.post(f"/results/{round_id}/correct", data=form | bad)
    session = open_session(Path(do(house, teacher, file_path, round_id)))
    assert len(session.turns[1].corrections) == 1


def file_path(db, round_id: str) -> str:  # type: ignore[no-untyped-def]
    return str(next(db.query("select file from rounds where id = ?", [round_id]))["file"])


def test_a_voice_that_was_not_kept_cannot_be_heard(
    house: House, teacher: TestClient, tmp_path: Path
) -> None:
    round_ = make_round("12 + 21", pupil="Asha Rao", consent=False)
    file, _, _ = run(tmp_path / "held", round_, [33])
    session = open_session(file)
    do(house, teacher, store, session, file)
    round_id = session.header["id"]
    assert "<audio" not in teacher.get(f"/results/{round_id}").text
    assert teacher.get(f"/results/{round_id}/0.wav").status_code == 404


def test_the_replay_keeps_to_the_policy_of_this_server(
    house: House, teacher: TestClient, tmp_path: Path
) -> None:
    round_id = keep(house, teacher, tmp_path / "held", "Asha Rao", 33, 38)
    page = teacher.get(f"/results/{round_id}/replay?only=wrong")
    assert "'self'" in page.headers["content-security-policy"]
    assert "<style" not in page.text
    assert "Content-Security-Policy" not in page.text
    assert all("src=" in k or "type=" in k for k in re.findall(r"<script[^>]*>", page.text))
    parts = re.findall(r'(?:src|href)="(/replay/[^"]+)"', page.text)
    kinds = {teacher.get(part).headers["content-type"].split(";")[0] for part in parts}
    assert kinds == {"text/css", "text/javascript"}
    assert teacher.get("/replay/other.js").status_code == 404


def test_a_pupil_looks_again_at_the_own_mistakes_only(
    house: House, teacher: TestClient, tmp_path: Path
) -> None:
    hers = keep(house, teacher, tmp_path / "hers", "Asha Rao", 38)
    his = keep(house, teacher, tmp_path / "his", "Ben", 38)
    code, _ = house.codes.for_class("3B")
    asha = browser(house, teacher, host="192.168.1.20")
    asha.post("/join", data={"code": code, "name": "Asha Rao"})
    page = asha.get("/me").text
    assert hers in page
    assert his not in page
    assert asha.get(f"/me/replay/{hers}").status_code == 200
    assert "Ben" not in asha.get(f"/me/replay/{hers}").text
    assert asha.get(f"/me/replay/{his}").headers["location"] == "/me"
    assert asha.get(f"/results/{his}/0.wav").status_code == 403


def test_todays_set_and_the_own_best(house: House, teacher: TestClient, tmp_path: Path) -> None:
    form = {"what": "set", "step": "five:+4", "count": "3", "terms": "4", "pace": "3"}
    teacher.post("/class", data=form)
    assert "3 sums of <b>five:+4</b>, 4 terms, every 3 s." in teacher.get("/class").text
    keep(house, teacher, tmp_path / "one", "Asha Rao", 33, 38)
    keep(house, teacher, tmp_path / "two", "Asha Rao", 33, 33)
    pupil = do(house, teacher, find_pupil, "Asha Rao")
    assert do(house, teacher, bests, pupil.id) == [Best("direct", 2, 2, 1.0)]
    code, _ = house.codes.for_class("3B")
    asha = browser(house, teacher, host="192.168.1.20")
    asha.post("/join", data={"code": code, "name": "Asha Rao"})
    page = asha.get("/me").text
    assert "2 of 2, quickest 1.0 s" in page
    assert "+ 4 is + 5 - 1" in page
    bad = teacher.post("/class", data=form | {"terms": "1"})
    assert bad.status_code == 303
    assert "terms: 1 is not between" in teacher.get("/class").text.lower()


def test_the_cautions_are_shown_to_everyone(house: House, teacher: TestClient) -> None:
    stranger = browser(house, teacher, host="192.168.1.20")
    for client in (teacher, stranger):
        page = client.get("/about").text
        for caution in ("Not too loud", "then a break", "not a diagnosis", "Local rules"):
            assert caution in page
    assert "New passphrase" not in stranger.get("/about").text
