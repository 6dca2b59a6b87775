"""The pages as a teacher and a pupil use them, without a browser."""

from __future__ import annotations

import asyncio
import io
import json
import re
import time
import zipfile
from dataclasses import replace
from datetime import datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import pytest
import soundfile
from starlette.testclient import TestClient

from oralquiz.records.pupil_list import find_pupil, pupils
from oralquiz.records.round_list import held
from oralquiz.records.scoring import Best, bests
from oralquiz.records.session_rows import store
from oralquiz.rounds.planning import Way
from oralquiz.session.file import open_session
from oralquiz.web import result_pages as results
from oralquiz.web.class_round import ClassRound
from oralquiz.web.classroom import Classroom
from tests.session.room import make_round, run
from tests.web.conftest import browser
from tests.web.room import Tablet, make_classroom, plan

pytestmark = pytest.mark.slow


def do(classroom: Classroom, client: TestClient, work, *args, **named):  # type: ignore[no-untyped-def]
    assert client.portal is not None
    return client.portal.call(lambda: classroom.records.do(work, *args, **named))


def keep(
    classroom: Classroom, client: TestClient, folder: Path, pupil: str, *values: int | None
) -> str:
    """A finished round of ``pupil``, in the records; returns its id."""
    round_ = make_round(*(["12 + 21"] * len(values)), pupil=pupil)
    file, _, _ = run(folder, round_, list(values))
    session = open_session(file)
    do(classroom, client, store, session, file)
    return str(session.header["id"])


def at_home(classroom: Classroom, client: TestClient, name: str) -> TestClient:
    """The browser of a pupil who came with a card."""
    code, _ = classroom.codes.for_pupil(do(classroom, client, find_pupil, name))
    home = browser(classroom, client, host="192.168.1.20")
    home.post("/join", data={"code": code, "name": ""})
    return home


def test_the_first_class(tmp_path: Path) -> None:
    from tests.web.room import client_of

    classroom = make_classroom(tmp_path)
    with client_of(classroom) as client:
        assert "Your first class" in client.get("/class").text
        client.post("/class", data={"what": "new class", "name": "  Year   2 "})
        client.post("/class", data={"what": "add", "names": "Dina\n\n  Eli  Moe \nDina"})
        page = client.get("/class").text
        assert "Dina" in page
        assert "Eli Moe" in page
        assert "There is a pupil &#39;Dina&#39; already." in page
        names = "\n".join(["Dina", "Eli Moe", "x" * 61, "Dina", "Eli Moe", "Fay", "Gus"])
        client.post("/class", data={"what": "add", "names": names})
        page = client.get("/class").text
        assert "a name has at most 60 letters" in page
        assert "; and 2 more." in page
        assert "Fay" in page  # what comes after the error is not lost
        assert "Gus" in page
        assert client.portal is not None
        client.portal.call(classroom.close)


def test_consent_is_the_parents_and_can_be_withdrawn(
    classroom: Classroom, teacher: TestClient
) -> None:
    teacher.post("/class", data={"what": "add", "names": "Cem"})
    assert not do(classroom, teacher, find_pupil, "Cem").consent  # nobody is asked to refuse
    teacher.post("/class", data={"what": "consent", "pupil": "Cem", "on": "yes"})
    assert do(classroom, teacher, find_pupil, "Cem").consent
    teacher.post("/class", data={"what": "consent", "pupil": "Cem", "on": "no"})
    assert not do(classroom, teacher, find_pupil, "Cem").consent


def test_erasing_asks_first(classroom: Classroom, teacher: TestClient) -> None:
    assert "Erase Ben?" in teacher.get("/class/erase?pupil=Ben").text
    teacher.post("/class", data={"what": "erase", "pupil": "Ben"})
    assert [p.name for p in do(classroom, teacher, pupils)] == ["Asha Rao"]
    assert "Ben is erased" in teacher.get("/class").text


def test_a_pupil_erased_during_practice_does_not_come_back(
    classroom: Classroom, teacher: TestClient
) -> None:
    """The round that is cut short must not be stored after the rows have been removed."""
    assert teacher.portal is not None

    async def practise() -> ClassRound:
        ben = await classroom.records.do(find_pupil, "Ben")
        tablet = Tablet(classroom.roster.device_of(ben), [])
        tablet.open()
        tablet.ready()
        class_round = await classroom.conductor.practise(plan(count=1), ben)
        await tablet.stream(20)
        return class_round

    class_round = teacher.portal.call(practise)
    teacher.post("/class", data={"what": "erase", "pupil": "Ben"})
    assert "Ben is erased" in teacher.get("/class").text
    assert class_round.phase == "over"
    teacher.portal.call(asyncio.sleep, 0.05)
    assert [p.name for p in do(classroom, teacher, pupils)] == ["Asha Rao"]
    assert list(classroom.sessions.iterdir()) == []


def test_nobody_is_erased_while_their_round_is_held(
    classroom: Classroom, teacher: TestClient
) -> None:
    assert teacher.portal is not None

    async def begin() -> ClassRound:
        ben = await classroom.records.do(find_pupil, "Ben")
        tablet = Tablet(classroom.roster.device_of(ben), [])
        tablet.open()
        tablet.ready()
        class_round = await classroom.conductor.start(plan(count=1), [ben])
        await tablet.stream(20)
        return class_round

    async def end() -> None:
        class_round.do("stop")
        await class_round.ended.wait()
        await classroom.background.done()

    class_round = teacher.portal.call(begin)
    teacher.post("/class", data={"what": "erase", "pupil": "Ben"})
    assert "Ben is in the round that is being held" in teacher.get("/class").text
    assert len(do(classroom, teacher, pupils)) == 2
    teacher.portal.call(end)
    assert len(list(classroom.sessions.iterdir())) == 1
    teacher.post("/class", data={"what": "erase", "pupil": "Ben"})
    assert len(do(classroom, teacher, pupils)) == 1
    assert list(classroom.sessions.iterdir()) == []
    assert classroom.class_round is None  # its answers and voices leave the live page too


def test_a_round_that_a_crash_cut_short_is_erased_too(
    classroom: Classroom, teacher: TestClient, tmp_path: Path
) -> None:
    keep(classroom, teacher, classroom.sessions / "held", "Ben", 33)
    with zipfile.ZipFile(classroom.sessions / "held.zip") as whole:
        whole.extractall(classroom.sessions / "cut-short")
    (classroom.sessions / "notes.zip").write_text("no session")
    teacher.post("/class", data={"what": "erase", "pupil": "Ben"})
    assert [path.name for path in classroom.sessions.iterdir()] == ["notes.zip"]
    note = teacher.get("/class").text
    assert "but not erased from" in note  # what could not be read is reported
    assert "not where it was" not in note


def test_a_place_whose_tablet_is_gone_can_be_freed(
    classroom: Classroom, teacher: TestClient
) -> None:
    """A tablet with an empty battery keeps the name taken: the teacher must be able to free it."""
    code, _ = classroom.codes.for_class("3B")
    asha = browser(classroom, teacher, host="192.168.1.20")
    asha.post("/join", data={"code": code, "name": "Asha Rao"})
    page = teacher.get("/class").text
    assert 'aria-label="Free the place of Asha Rao"' in page
    assert 'aria-label="Free the place of Ben"' not in page


def test_two_windows_at_two_classes_do_not_mix_them(
    classroom: Classroom, teacher: TestClient
) -> None:
    teacher.post("/class", data={"what": "new class", "name": "4A"})
    at_3b = teacher.get("/class?name=3B").text
    assert '<input type="hidden" name="class" value="3B">' in at_3b
    teacher.get("/class?name=4A")  # another window, or another teacher
    teacher.post("/class", data={"what": "add", "class": "3B", "names": "Cem"})
    teacher.get("/class?name=4A")
    teacher.post("/class", data={"what": "open", "class": "3B"})
    assert [p.class_name for p in do(classroom, teacher, pupils)] == ["3B"] * 3
    assert classroom.codes.open_for("3B")
    assert not classroom.codes.open_for("4A")
    teacher.get("/class?name=4A")
    form = {"step": "direct", "count": "1", "terms": "2", "pace": "2", "way": "own"}
    teacher.post("/plan", data=form | {"class": "3B"})
    assert classroom.class_name == "3B"
    # the round is for the class that it was planned for, whichever is looked at before it begins
    teacher.get("/class?name=4A")
    classroom.plan = plan(Way.FRONT)
    assert teacher.portal is not None
    names = [pupil.name for pupil in teacher.portal.call(classroom.taking_part)]
    assert names == ["Asha Rao", "Ben", "Cem"]
    with teacher.websocket_connect("/ws/teacher") as socket:
        assert socket.receive_json()["whole_class"] == "3B"
        socket.close()
        while classroom.publisher.watching:
            time.sleep(0.01)
    teacher.post("/class", data={"what": "open", "class": "9Z"})
    assert "There is no such class." in teacher.get("/class").text


def test_the_join_code_is_on_the_page_and_in_its_qr(
    classroom: Classroom, teacher: TestClient
) -> None:
    teacher.post("/class", data={"what": "open"})
    page = teacher.get("/class").text
    code = classroom.codes.open_for("3B")
    assert re.fullmatch("[BCDFGHJKMPQRTVWXY2346789]{6}", code)
    assert code in page
    assert "<svg" in page
    assert code in teacher.get("/wall").text


def test_a_plan_is_kept_and_shown(classroom: Classroom, teacher: TestClient) -> None:
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
def test_the_page_says_why_a_plan_is_impossible(
    teacher: TestClient, field: str, value: str, trouble: str
) -> None:
    form = {"step": "direct", "count": "4", "terms": "3", "pace": "2", "way": "own"}
    came = teacher.post("/plan", data=form | {field: value})
    assert came.status_code == 400
    assert trouble.lower() in came.text.lower()


def test_the_pupils_chosen_for_an_impossible_plan_stay_chosen(teacher: TestClient) -> None:
    form = {"step": "direct", "count": "0", "terms": "2", "pace": "2", "way": "own", "pupil": "2"}
    came = teacher.post("/plan", data=form)
    assert came.status_code == 400
    assert re.search(r'name="pupil" value="2" checked', came.text)


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
    classroom: Classroom, teacher: TestClient, tmp_path: Path
) -> None:
    round_id = keep(classroom, teacher, tmp_path / "held", "Asha Rao", 33, 38)
    assert f"/results/{round_id}" in teacher.get("/results").text
    page = teacher.get(f"/results/{round_id}").text
    assert "Not right, heard 38, after 1.00 s." in page
    wav = teacher.get(f"/results/{round_id}/1.wav")
    samples, _ = soundfile.read(io.BytesIO(wav.content))
    assert abs(samples).max() == pytest.approx((38 + 2) / 200, abs=0.01)  # and the room's hiss
    assert len(samples) == 19_200  # the answer and 0.4 s on both sides
    form = {"turn": "1", "verdict": "right", "value": "33"}
    teacher.post(f"/results/{round_id}/correct", data=form)
    assert "Right, corrected by you, after 1.00 s." in teacher.get(f"/results/{round_id}").text
    assert "2 of 2" in teacher.get("/results").text
    # without a number: what the machine heard is not what was said
    teacher.post(f"/results/{round_id}/correct", data={"turn": "0", "verdict": "wrong"})
    assert "Not right, corrected by you, after 1.00 s." in teacher.get(f"/results/{round_id}").text
    for bad in ({"turn": "9"}, {"verdict": "fine"}, {"value": "x"}, {"turn": "-1"}):
        teacher.post(f"/results/{round_id}/correct", data=form | bad)
    session = open_session(Path(do(classroom, teacher, file_path, round_id)))
    assert len(session.turns[1].corrections) == 1


def test_results_say_what_was_typed_and_the_words_that_were_no_number(
    classroom: Classroom, teacher: TestClient, tmp_path: Path
) -> None:
    round_id = keep(classroom, teacher, tmp_path / "held", "Asha Rao", 33, 38)
    file = Path(do(classroom, teacher, file_path, round_id))

    def changed(event: dict[str, Any]) -> dict[str, Any]:
        if event.get("turn") == 0 and event["type"] == "heard":
            return event | {"words": "one hundred [unk] seventy two", "guesses": []}
        if event.get("turn") == 0 and event["type"] == "judged":
            return event | {"verdict": "unclear", "value": None}
        return event | {"typed": True} if event["type"] == "judged" else event

    with zipfile.ZipFile(file) as whole:
        parts = {name: whole.read(name) for name in whole.namelist()}
    events = [changed(json.loads(line)) for line in parts["events.jsonl"].splitlines()]
    parts["events.jsonl"] = "".join(json.dumps(e) + "\n" for e in events).encode()
    with zipfile.ZipFile(file, "w") as whole:
        for name, content in parts.items():
            whole.writestr(name, content)
    page = teacher.get(f"/results/{round_id}").text
    assert "Not clear, heard “one hundred … seventy two”, after 1.00 s." in page
    assert "Not right, typed 38, after 1.00 s." in page


def test_times_are_shown_in_local_time(
    classroom: Classroom, teacher: TestClient, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    round_id = keep(classroom, teacher, tmp_path / "held", "Asha Rao", 33)
    created = open_session(Path(do(classroom, teacher, file_path, round_id))).round.created
    # five and a half hours ahead of Greenwich, in POSIX notation
    monkeypatch.setenv("TZ", "XYZ-05:30")
    time.tzset()
    try:
        there = datetime.fromisoformat(created).astimezone(timezone(timedelta(hours=5.5)))
        wall = there.strftime("%Y-%m-%d %H:%M")
        assert wall[:16] != created[:16].replace("T", " ")
        assert wall in teacher.get("/results").text
        assert wall in teacher.get(f"/results/{round_id}").text
    finally:
        monkeypatch.undo()
        time.tzset()


def test_every_round_can_be_reached(
    classroom: Classroom, teacher: TestClient, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Twenty tablets make twenty rounds at once: what is waiting for the teacher's ear stays within
    reach."""
    monkeypatch.setattr(results, "ROUNDS", 2)
    ids = [keep(classroom, teacher, tmp_path / str(k), "Asha Rao", 33) for k in range(5)][::-1]

    def shown(path: str) -> tuple[list[str], list[str]]:
        page = teacher.get(path).text
        links = re.findall(r'href="(/results[?]skip=[0-9]+)">(?:Newer|Older)', page)
        return re.findall(r'<th scope="row"><a href="/results/([^"]+)"', page), links

    assert shown("/results") == (ids[:2], ["/results?skip=2"])
    assert shown("/results?skip=2") == (ids[2:4], ["/results?skip=0", "/results?skip=4"])
    assert shown("/results?skip=4") == (ids[4:], ["/results?skip=2"])
    for bad in ("x", "-3", "9" * 30, "1e3"):
        assert shown(f"/results?skip={bad}")[0] == ids[:2]


def test_a_comma_in_a_name_does_not_make_two_pupils(
    classroom: Classroom, teacher: TestClient, tmp_path: Path
) -> None:
    keep(classroom, teacher, tmp_path / "held", "Rao, Asha", 33)
    (one,) = do(classroom, teacher, held)
    assert one.pupils == ("Rao, Asha",)


def file_path(db, round_id: str) -> str:  # type: ignore[no-untyped-def]
    return str(next(db.query("select file from rounds where id = ?", [round_id]))["file"])


def test_a_voice_that_was_not_kept_cannot_be_heard(
    classroom: Classroom, teacher: TestClient, tmp_path: Path
) -> None:
    round_ = make_round("12 + 21", pupil="Asha Rao", consent=False)
    file, _, _ = run(tmp_path / "held", round_, [33])
    session = open_session(file)
    do(classroom, teacher, store, session, file)
    round_id = session.header["id"]
    assert "<audio" not in teacher.get(f"/results/{round_id}").text
    assert teacher.get(f"/results/{round_id}/0.wav").status_code == 404


def test_the_replay_keeps_to_the_policy_of_this_server(
    classroom: Classroom, teacher: TestClient, tmp_path: Path
) -> None:
    round_id = keep(classroom, teacher, tmp_path / "held", "Asha Rao", 33, 38)
    page = teacher.get(f"/results/{round_id}/replay?only=wrong")
    assert "'self'" in page.headers["content-security-policy"]
    assert "<style" not in page.text
    assert "Content-Security-Policy" not in page.text
    data = ('type="application/json"', 'type="text/plain"')
    for tag in re.findall(r"<script[^>]*>", page.text):
        assert " src=" in tag or any(kind in tag for kind in data), tag
    parts = re.findall(r'(?:src|href)="(/replay/[^"]+)"', page.text)
    kinds = {teacher.get(part).headers["content-type"].split(";")[0] for part in parts}
    assert kinds == {"text/css", "text/javascript"}
    assert teacher.get("/replay/other.js").status_code == 404


def test_a_pupil_can_look_again_only_at_own_mistakes(
    classroom: Classroom, teacher: TestClient, tmp_path: Path
) -> None:
    hers = keep(classroom, teacher, tmp_path / "hers", "Asha Rao", 38)
    his = keep(classroom, teacher, tmp_path / "his", "Ben", 38)
    asha = at_home(classroom, teacher, "Asha Rao")
    page = asha.get("/me").text
    assert hers in page
    assert his not in page
    assert asha.get(f"/me/replay/{hers}").status_code == 200
    assert "Ben" not in asha.get(f"/me/replay/{hers}").text
    assert asha.get(f"/me/replay/{his}").headers["location"] == "/me"
    assert asha.get(f"/results/{his}/0.wav").status_code == 403


def test_a_pupil_of_a_round_in_turns_sees_and_hears_no_other(
    classroom: Classroom, teacher: TestClient, tmp_path: Path
) -> None:
    mixed = make_round("12 + 21", "11 + 11", pupil="Asha Rao")
    mixed = replace(mixed, turns=(mixed.turns[0], replace(mixed.turns[1], pupil="Ben")))
    file, _, _ = run(tmp_path / "held", mixed, [38, 28])
    session = open_session(file)
    do(classroom, teacher, store, session, file)
    asha = at_home(classroom, teacher, "Asha Rao")
    page = asha.get(f"/me/replay/{session.header['id']}").text
    assert "12" in page
    assert "Ben" not in page
    assert len(re.findall('id="sound-', page)) == 1
    (data,) = re.findall(r'<script type="application/json" id="data">(.*?)</script>', page)
    (only,) = json.loads(data)["sums"]
    assert only["pupil"] == "Asha Rao"
    # the sound ends before the other's sum is read
    (clip,) = [its["round"] for its in (only["tracks"],)]
    first = session.turns[0].terms[0].onset / session.sample_rate - 0.4
    assert first + clip["duration"] <= session.turns[1].terms[0].onset / session.sample_rate


def test_todays_set_and_the_pupils_best(
    classroom: Classroom, teacher: TestClient, tmp_path: Path
) -> None:
    form = {"what": "set", "step": "five:+4", "count": "3", "terms": "4", "pace": "3"}
    teacher.post("/class", data=form)
    page = teacher.get("/class").text
    assert "3 sums a round, up to <b>five:+4</b>, of at most 4 terms; a term every 3 s" in page
    keep(classroom, teacher, tmp_path / "one", "Asha Rao", 33, 38)
    keep(classroom, teacher, tmp_path / "two", "Asha Rao", 33, 33)
    pupil = do(classroom, teacher, find_pupil, "Asha Rao")
    assert do(classroom, teacher, bests, pupil.id) == [Best("direct", 2, 2, 1.0)]
    asha = at_home(classroom, teacher, "Asha Rao")
    page = asha.get("/me").text
    assert "2 of 2, quickest 1.0 s" in page
    assert "+ 4 is + 5 - 1" in page
    bad = teacher.post("/class", data=form | {"terms": "1"})
    assert bad.status_code == 303
    assert "terms: 1 is not between" in teacher.get("/class").text.lower()


def test_how_a_pupil_is_doing(classroom: Classroom, teacher: TestClient, tmp_path: Path) -> None:
    assert "/class/pupil?name=Asha%20Rao" in teacher.get("/class").text
    assert "No answers yet." in teacher.get("/class/pupil?name=Ben").text
    keep(classroom, teacher, tmp_path / "held", "Asha Rao", 33, 38, 33, None)
    page = teacher.get("/class/pupil?name=Asha Rao").text
    # Wilson (1927): 2 of 3 is 21 to 94 %
    assert "2 of 3 right (21 to 94 %); not counted: 1 without an answer." in page
    assert (
        "Half of the right answers within 1.0 s; "
        "counted as slower: 1 without an answer in the time allowed." in page
    )
    assert "Speed over the weeks: too few days to tell (at least 5)." in page
    assert "No slip has repeated often enough to be named." in page
    assert '<th scope="row">direct</th><td>2</td><td>1</td><td>0</td><td>1</td>' in page
    class_page = teacher.get("/class").text
    for its, right in ((page, "<td>2 of 3 (21 to 94 %)</td>"), (class_page, "<td>67 %</td>")):
        assert re.findall(r"<title>([^<]*)</title>", its)[1:] == [
            "Right answers",
            "Speed",
            "Pace held",
        ]
        assert right in its
    teacher.get("/class/pupil?name=Nobody")
    assert "Nobody" in teacher.get("/class").text


def test_the_cautions_are_shown_to_everyone(classroom: Classroom, teacher: TestClient) -> None:
    stranger = browser(classroom, teacher, host="192.168.1.20")
    for client in (teacher, stranger):
        page = client.get("/about").text
        for caution in ("sound low", "take breaks", "not a diagnosis", "Local rules"):
            assert caution in page
    assert "New passphrase" not in stranger.get("/about").text
