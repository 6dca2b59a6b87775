"""Opening session files: older versions, damage of every kind, and malicious files."""

from __future__ import annotations

import io
import json
import struct
import sys
import tracemalloc
import zipfile
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from types import FrameType
from typing import Any

import numpy as np
import pytest
import soundfile
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

from oralquiz.errors import SessionFileError
from oralquiz.judge.verdict import Verdict
from oralquiz.session import archive, file
from oralquiz.session.file import Session, open_session
from oralquiz.session.recorder import NAMES
from oralquiz.session.reruns import rerun
from oralquiz.session.session_schema import problem, schema
from tests.session.room import make_round, run
from tests.sizes import size

FILES = Path(__file__).parent / "files"


@pytest.fixture(scope="module")
def finished(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """A whole session of two sums, one right and one wrong, as the bytes of its zip."""
    path, _, _ = run(tmp_path_factory.mktemp("s") / "s", make_round("1 + 2", "4 + 4"), [3, 9])
    return path.read_bytes()


def parts_of(raw: bytes) -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(raw)) as source:
        return {name: source.read(name) for name in source.namelist()}


def packed(parts: dict[str, bytes]) -> bytes:
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
    return target.getvalue()


def opened(folder: Path, raw: bytes) -> Session:
    path = folder / "session.zip"
    path.write_bytes(raw)
    return open_session(path)


Change = Callable[[dict[str, Any]], Any]


def with_header(raw: bytes, change: Change) -> bytes:
    parts = parts_of(raw)
    head = json.loads(parts["session.json"])
    change(head)
    parts["session.json"] = json.dumps(head).encode()
    return packed(parts)


def with_event(raw: bytes, number: int, change: Change) -> bytes:
    parts = parts_of(raw)
    lines = parts["events.jsonl"].decode().splitlines()
    event = json.loads(lines[number])
    change(event)
    lines[number] = json.dumps(event)
    parts["events.jsonl"] = "".join(f"{line}\n" for line in lines).encode()
    return packed(parts)


# --- the format -------------------------------------------------------------------------------


def test_the_schemas_are_schemas() -> None:
    """Against the meta-schema of JSON Schema 2020-12, as the jsonschema library carries it."""
    for name in ("session", "event"):
        Draft202012Validator.check_schema(schema(name))


def test_what_is_recorded_keeps_the_schema(finished: bytes) -> None:
    parts = parts_of(finished)
    assert problem("session", json.loads(parts["session.json"])) == ""
    events = [json.loads(line) for line in parts["events.jsonl"].splitlines()]
    assert [problem("event", event) for event in events] == [""] * len(events)
    known = set(schema("event")["$defs"])
    assert {event["type"] for event in events} <= known


def test_the_format_is_documented_key_by_key() -> None:
    page = Path(file.__file__).with_name("FORMAT.md").read_text(encoding="utf-8")
    words = {word for row in page.split("`")[1::2] for word in row.replace(",", " ").split()}

    def keys(node: Any) -> set[str]:
        if isinstance(node, list):
            return set().union(*map(keys, node))
        if not isinstance(node, dict):
            return set()
        found = set(node.get("properties", {}))
        return found.union(*map(keys, node.values()))

    for name in ("session", "event"):
        assert keys(schema(name)) <= words
    types = {then["if"]["properties"]["type"]["const"] for then in schema("event")["allOf"]}
    assert types <= words
    assert set(NAMES) <= words


def test_an_older_version_opens() -> None:
    """Recorded by the first version of this program, when the format was schema 1."""
    session = open_session(FILES / "schema-1.zip")
    assert session.damage == ""
    assert session.header["schema"] == 2
    assert session.options.pace_s == 1.0
    assert [(turn.verdict, turn.value) for turn in session.turns] == [
        (Verdict.WRONG, 20),
        (Verdict.RIGHT, 13),
    ]
    assert len(session.turns[1].attempts) == 2  # it was asked for once more
    assert open_session(FILES / "schema-1.zip").header["id"] == session.header["id"]


# --- what is not a session --------------------------------------------------------------------


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (lambda h: h.update(schema=3), r"schema 3 is newer than this program knows \(2\)"),
        (lambda h: h.update(schema="two"), "names no version"),
        (lambda h: h.pop("schema"), "cannot be read"),
        (lambda h: h["round"].update(columns=10), r"round.columns: 10 is greater than"),
        (lambda h: h["round"]["turns"][1].update(pupil=7), r"round.turns\[1\].pupil: 7 is not"),
        (lambda h: h["round"]["turns"][0].update(terms=[0]), r"round.turns\[0\].terms\[0\]"),
        (lambda h: h["round"].update(turns=[]), "round.turns"),
        (lambda h: h.update(sample_rate=8), "sample_rate: 16000 was expected"),
        (lambda h: h["options"].update(pace_s="fast"), "options.pace_s"),
        (lambda h: h.pop("round"), "'round' is a required property"),
        (lambda h: h.update(created="some day"), "created: 'some day' is not a date and time"),
        (lambda h: h.update(created="2026-01-05"), "created: '2026-01-05' is not a date and time"),
        (lambda h: h.update(created="0001-01-01T00:00:00"), "is not a date and time"),
    ],
)
def test_a_wrong_header_is_refused_and_the_place_is_named(
    tmp_path: Path, finished: bytes, change: Change, message: str
) -> None:
    with pytest.raises(SessionFileError, match=message) as error:
        opened(tmp_path, with_header(finished, change))
    assert str(error.value).startswith(str(tmp_path / "session.zip"))
    assert "\n" not in str(error.value)


@pytest.mark.parametrize(
    "header", [b"", b"[]", b"null", b"{", b"\xff\xfe", b"[" * 100_000, b'{"schema":NaN}', b"2"]
)
def test_what_is_not_a_header_is_refused(tmp_path: Path, finished: bytes, header: bytes) -> None:
    with pytest.raises(SessionFileError):
        opened(tmp_path, packed({**parts_of(finished), "session.json": header}))


# --- damage -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("change", "damage"),
    [
        (lambda e: e.update(seq=9), "misses an event before line 5"),
        (lambda e: e.update(at=-1), "makes no sense from line 5 on"),
        (lambda e: e.update(at=1), "makes no sense from line 5 on (it was known at 1"),
        (lambda e: e.update(turn=2), "makes no sense from line 5 on (there is no turn 2"),
        (lambda e: e.update(verdict="perfect"), "makes no sense from line 5 on (verdict"),
        (lambda e: e.pop("value"), "makes no sense from line 5 on ('value' is a required"),
        (lambda e: e.update(latency_s=[]), "makes no sense from line 5 on (latency_s"),
        (lambda e: e.pop("type"), "is damaged from line 5 on"),
    ],
)
def test_events_are_read_up_to_the_first_that_cannot_be(
    tmp_path: Path, finished: bytes, change: Change, damage: str
) -> None:
    session = opened(tmp_path, with_event(finished, 4, change))
    assert [event.type for event in session.events] == [
        "round_begun",
        "sum_begun",
        "dictated",
        "heard",
    ]
    assert damage in session.damage
    assert "the round was cut short" in session.damage
    assert len(session.turns) == 1


def test_an_event_of_a_kind_we_do_not_know_is_ignored(tmp_path: Path, finished: bytes) -> None:
    session = opened(tmp_path, with_event(finished, 0, lambda event: event.update(type="clapped")))
    assert session.damage == ""
    assert len(session.turns) == 2


def test_line_separators_of_other_scripts_do_not_end_lines(tmp_path: Path, finished: bytes) -> None:
    parts = parts_of(finished)
    lines = parts["events.jsonl"].decode().replace('"words":"3"', '"words":"3\u2028\x85"')
    session = opened(tmp_path, packed({**parts, "events.jsonl": lines.encode()}))
    assert session.damage == ""
    assert session.turns[0].attempts[0].words == "3\u2028\N{REPLACEMENT CHARACTER}"
    assert session.events[3].event.as_json()["words"] == "3\u2028\x85"


@pytest.mark.parametrize("missing", ["events.jsonl", "audio.flac", "captions.vtt"])
def test_a_part_that_is_missing_is_named(tmp_path: Path, finished: bytes, missing: str) -> None:
    parts = parts_of(finished)
    del parts[missing]
    session = opened(tmp_path, packed(parts))
    if missing == "audio.flac":
        assert session.damage == "audio.flac is missing or not FLAC"
        assert session.audio.shape == (0, 2)
    if missing == "events.jsonl":
        assert session.turns == ()
        assert "cut short" in session.damage
    else:
        assert len(session.turns) == 2


@pytest.mark.parametrize(
    ("rate", "channels", "damage"),
    [(8_000, 2, "has 8000 samples a second"), (16_000, 1, "has 1 channels")],
)
def test_sound_of_another_kind_is_left_out(
    tmp_path: Path, finished: bytes, rate: int, channels: int, damage: str
) -> None:
    other = io.BytesIO()
    soundfile.write(other, np.zeros((100, channels)), rate, format="FLAC")
    session = opened(tmp_path, packed({**parts_of(finished), "audio.flac": other.getvalue()}))
    assert damage in session.damage
    assert len(session.audio) == 0


def test_a_file_cut_anywhere_opens_up_to_the_cut(tmp_path: Path, finished: bytes) -> None:
    whole = opened(tmp_path, finished)
    head = len(parts_of(finished)["session.json"])
    opened_up: list[int] = []
    for cut in range(len(finished) - 1, 0, -5003):
        try:
            session = opened(tmp_path, finished[:cut])
        except SessionFileError as error:
            assert cut < head, error
            continue
        assert session.damage
        assert session.header == whole.header
        assert session.events == whole.events[: len(session.events)]
        assert np.array_equal(session.audio, whole.audio[: len(session.audio)])
        opened_up.append(len(session.audio))
    assert len(opened_up) > 5
    assert opened_up == sorted(opened_up, reverse=True)
    # most of what was there before the cut came back
    assert opened_up[1] > 0.8 * len(whole.audio) * (1 - 2 * 5003 / len(finished))


def test_compressed_events_are_read_up_to_a_wrong_byte(tmp_path: Path, finished: bytes) -> None:
    """A finished zip holds its events deflated; what stands before the damage is still there."""
    run_long = packed(many_events(finished, 400))
    at = run_long.index(b"events.jsonl") + 6000
    session = opened(tmp_path, run_long[:at] + bytes(8) + run_long[at + 8 :])
    assert "events.jsonl is damaged or cut off" in session.damage
    assert 20 < len(session.events) < 400
    assert session.header["round"]["name"] == "test"


def many_events(raw: bytes, count: int) -> dict[str, bytes]:
    """A session with ``count`` commands from the teacher in it, no two alike."""
    parts = parts_of(raw)
    rng = np.random.default_rng(3)
    events = [
        {
            "seq": n,
            "at": n,
            "type": "commanded",
            "name": "pause",
            "turn": 0,
            "why": rng.bytes(40).hex(),
        }
        for n in range(count)
    ]
    parts["events.jsonl"] = "".join(json.dumps(event) + "\n" for event in events).encode()
    return parts


@settings(
    max_examples=size(60, 150),
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(st.data())
def test_whatever_happens_to_a_file_it_opens_or_is_refused_in_one_line(
    tmp_path: Path, finished: bytes, data: st.DataObject
) -> None:
    raw = bytearray(finished)
    for _ in range(data.draw(st.integers(1, 8))):
        at = data.draw(st.integers(0, len(raw) - 1))
        raw[at] = data.draw(st.integers(0, 255))
    if data.draw(st.booleans()):
        del raw[data.draw(st.integers(0, len(raw) - 1)) :]
    try:
        session = opened(tmp_path, bytes(raw))
    except SessionFileError as error:
        assert "\n" not in str(error)
    else:
        assert all(turn.sum.terms for turn in session.turns)


# --- malicious files --------------------------------------------------------------------------


def bomb(name: str, mebibytes: int) -> bytes:
    """A zip whose ``name`` is nothing but zeros, a thousandth of the size when packed."""
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w") as zeros:
        info = zipfile.ZipInfo(name)
        info.compress_type = zipfile.ZIP_DEFLATED
        with zeros.open(info, "w", force_zip64=True) as part:
            for _ in range(mebibytes):
                part.write(bytes(1 << 20))
    return target.getvalue()


@pytest.mark.slow
@pytest.mark.parametrize("name", ["events.jsonl", *size([], ["session.json", "../../big"])])
def test_a_zip_bomb_is_not_unpacked(
    tmp_path: Path, finished: bytes, name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(archive.MOST, "events.jsonl", 4 << 20)  # to be quick
    parts = parts_of(finished)
    raw = bomb(name, 96)
    assert len(raw) < 1 << 20
    path = tmp_path / "session.zip"
    path.write_bytes(raw)
    if name != "session.json":
        with zipfile.ZipFile(path, "a", zipfile.ZIP_DEFLATED) as add:
            for other in NAMES:
                if other != name:
                    add.writestr(other, parts[other])
    tracemalloc.start()
    try:
        session = open_session(path)
    except SessionFileError as error:
        assert "session.json" in str(error)
    else:
        assert session.header["round"]["name"] == "test"
        if name == "events.jsonl":
            assert "events.jsonl is larger than 4 MiB" in session.damage
    finally:
        _, peak = tracemalloc.get_traced_memory()
        tracemalloc.stop()
    assert peak < 32 << 20


@pytest.mark.slow
@pytest.mark.parametrize("line", [b"\n", b"[0]" * 350_000 + b"\n", b"[" * (1 << 20)])
def test_lines_that_are_not_events_take_no_memory(
    tmp_path: Path, finished: bytes, line: bytes
) -> None:
    """64 MiB of line ends used to take a gigabyte; now the part that may be read is held once, and
    one copy."""
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as whole:
        for name, content in parts_of(finished).items():
            if name != "events.jsonl":
                whole.writestr(name, content)
        with whole.open("events.jsonl", "w") as part:
            block = line * max(1, (1 << 20) // len(line))
            for _ in range((80 << 20) // len(block)):
                part.write(block)
    tracemalloc.start()
    try:
        session = opened(tmp_path, target.getvalue())
        _, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert "events.jsonl is larger than 64 MiB" in session.damage
    assert "events.jsonl is damaged from line 1 on" in session.damage
    assert session.events == ()
    assert peak < 256 << 20


def test_more_events_than_any_round_makes_are_not_read(
    tmp_path: Path, finished: bytes, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(file, "MOST_EVENTS", 3)
    session = opened(tmp_path, finished)
    assert len(session.events) == 3
    assert "events.jsonl goes on after 3 events" in session.damage


def repeated(raw: bytes, kind: str, times: int) -> bytes:
    """``raw`` with its first event of ``kind`` repeated ``times`` times, and nothing after it."""
    parts = parts_of(raw)
    lines = [json.loads(line) for line in parts["events.jsonl"].splitlines()]
    place = next(k for k, line in enumerate(lines) if line["type"] == kind)
    lines[place:] = [lines[place] | {"seq": place + k} for k in range(times)]
    events = "\n".join(map(json.dumps, lines))
    return packed({**parts, "events.jsonl": events.encode()})


def calls_to_open(path: Path) -> int:
    """How many functions are called while the session at ``path`` is opened."""
    calls = 0

    def count(frame: FrameType, event: str, arg: object) -> None:
        nonlocal calls
        calls += event == "call"

    sys.setprofile(count)
    try:
        open_session(path)
    finally:
        sys.setprofile(None)
    return calls


@pytest.mark.parametrize("kind", ["sum_begun", "dictated", "heard", "judged", "sum_ended"])
def test_every_event_costs_the_same_however_many_there_are(
    tmp_path: Path, finished: bytes, kind: str
) -> None:
    """A file of 20,000 events used to take 44 s: the schema was checked for each, with 1,000
    calls."""
    costs = []
    for times in (10, 110, 1_110):
        path = tmp_path / f"{times}.zip"
        path.write_bytes(repeated(finished, kind, times))
        costs.append(calls_to_open(path))
    few, many = (costs[1] - costs[0]) / 100, (costs[2] - costs[1]) / 1_000
    assert many <= few * 1.05 + 1
    assert many < 100


def test_sound_that_unpacks_to_hours_is_read_no_further_than_the_round(
    tmp_path: Path, finished: bytes, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(file, "AFTER_THE_LAST", 16_000)
    hours = io.BytesIO()
    soundfile.write(hours, np.zeros((3_600_000, 2), dtype=np.int16), 16_000, format="FLAC")
    assert len(hours.getvalue()) < 40_000
    parts = {**parts_of(finished), "audio.flac": hours.getvalue()}
    session = opened(tmp_path, packed(parts))
    assert len(session.audio) == session.events[-1].at + 16_000
    assert session.damage == "audio.flac goes on after the round"


def test_names_that_climb_out_of_a_folder_are_never_written(
    tmp_path: Path, finished: bytes
) -> None:
    inside = tmp_path / "a" / "b"
    inside.mkdir(parents=True)
    evil = {"../../evil": b"x", "/tmp/evil": b"x", "..\\evil": b"x", "C:\\evil": b"x"}
    before = sorted(tmp_path.iterdir())
    session = opened(inside, packed({**evil, **parts_of(finished)}))
    assert session.damage == ""
    assert sorted(tmp_path.iterdir()) == before
    assert sorted(path.name for path in inside.iterdir()) == ["session.zip"]


def test_names_cannot_command_a_terminal(tmp_path: Path, finished: bytes) -> None:
    def rename(head: dict[str, Any]) -> None:
        head["round"]["name"] = "\x1b[2J\x9b2J\r"
        head["round"]["turns"][0]["pupil"] = "A\u200d\x1b]0;x\x07"

    session = opened(tmp_path, with_header(finished, rename))
    lost = "\N{REPLACEMENT CHARACTER}"
    assert session.round.name == f"{lost}[2J{lost}2J{lost}"
    assert session.turns[0].pupil == f"A\u200d{lost}]0;x{lost}"  # a joiner is part of a name


def test_links_in_a_directory_are_not_followed(tmp_path: Path, finished: bytes) -> None:
    secret = tmp_path / "secret"
    secret.write_bytes(parts_of(finished)["captions.vtt"])
    folder = tmp_path / "running"
    folder.mkdir()
    for name, content in parts_of(finished).items():
        if name != "captions.vtt":
            (folder / name).write_bytes(content)
    (folder / "captions.vtt").symlink_to(secret)
    assert open_session(folder).captions == ""


def test_a_locked_or_strangely_packed_zip_is_refused_or_read_in_part(
    tmp_path: Path, finished: bytes
) -> None:
    raw = bytearray(finished)
    flags = raw.index(b"PK\x01\x02") + 8
    struct.pack_into("<H", raw, flags, 1)  # the directory says: encrypted
    session = opened(tmp_path, bytes(raw))
    assert session.damage == "the file is damaged"
    assert len(session.turns) == 2


DEMO_SESSIONS = sorted((Path(__file__).parents[2] / "demo_sessions").glob("*.zip"))


def test_there_are_sessions_from_elsewhere() -> None:
    assert len(DEMO_SESSIONS) >= 2


@pytest.mark.parametrize("path", DEMO_SESSIONS, ids=lambda path: path.stem)
def test_a_session_from_elsewhere_runs_again_to_the_same_bytes(path: Path) -> None:
    """The sessions that come with the project were recorded on a different machine from this
    one."""
    session = open_session(path)
    again = rerun(session)
    assert again.difference == ""
    assert [e.encode() for e in again.events] == [e.encode() for e in session.events]
    assert np.array_equal(again.audio, session.audio)


@pytest.mark.parametrize("path", DEMO_SESSIONS, ids=lambda path: path.stem)
def test_one_wrong_sample_is_noticed(path: Path) -> None:
    session = open_session(path)
    audio = session.audio.copy()
    audio[len(audio) // 2, 1] ^= 1
    heard = replace(session, audio=audio)
    # the microphone's sound is taken as given, whatever it heard
    assert rerun(heard).difference == ""
    said = session.audio.copy()
    said[100, 0] += 5  # before anything is read aloud, the loudspeaker was silent
    assert rerun(replace(session, audio=said)).difference == "the sound is not the same"


def test_an_unknown_key_is_ignored(tmp_path: Path, finished: bytes) -> None:
    def add(head: dict[str, Any]) -> None:
        head["weather"] = "rain"
        head["options"]["colour"] = "blue"
        head["options"]["policy"]["mood"] = "good"

    assert opened(tmp_path, with_header(finished, add)).damage == ""
