"""Events and their JSON: what is written comes back, and nothing in a newer file is lost."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

from oralquiz.errors import SessionFileError
from oralquiz.judge.verdict import Verdict
from oralquiz.rounds.events import (
    TYPES,
    AskedAgain,
    Commanded,
    Corrected,
    Dictated,
    Entry,
    Event,
    Guess,
    Heard,
    Judged,
    OtherEvent,
    RawEntry,
    RoundBegun,
    RoundEnded,
    SumBegun,
    SumEnded,
    TermTime,
    event_from,
    strict_json,
)
from oralquiz.session.session_schema import problem, schema
from tests.sizes import size

ONE_OF_EACH: list[tuple[Event, str]] = [
    (RoundBegun("now", 2), '"type":"round_begun","name":"now","turns":2'),
    (SumBegun(1, "Asha", (3, -1)), '"type":"sum_begun","turn":1,"pupil":"Asha","terms":[3,-1]'),
    (
        Dictated(1, 5, 90, 2.5, (TermTime("three", 10, 20),)),
        '"type":"dictated","turn":1,"start":5,"end":90,"pace_s":2.5,'
        '"terms":[{"text":"three","onset":10,"offset":20}]',
    ),
    (
        Heard(1, 0, "two", (Guess(2, "two", 0.9),), 30, 40, early=False),
        '"type":"heard","turn":1,"attempt":0,"words":"two",'
        '"guesses":[{"value":2,"words":"two","confidence":0.9}],'
        '"onset":30,"offset":40,"early":false',
    ),
    (
        Judged(1, 0, Verdict.SILENT, None, None, 0.25),
        '"type":"judged","turn":1,"attempt":0,"verdict":"silent","value":null,"latency_s":null,'
        '"right_probability":0.25',
    ),
    (
        Judged(1, 1, Verdict.RIGHT, 2, 1.5, typed=True),
        '"type":"judged","turn":1,"attempt":1,"verdict":"right","value":2,"latency_s":1.5,'
        '"typed":true',
    ),
    (AskedAgain(1, 1, 5, 9), '"type":"asked_again","turn":1,"attempt":1,"start":5,"end":9'),
    (SumEnded(1), '"type":"sum_ended","turn":1'),
    (Commanded("typed", -1, 7), '"type":"commanded","name":"typed","turn":-1,"value":7'),
    (
        Commanded("pause", 0, why="a storm"),
        '"type":"commanded","name":"pause","turn":0,"why":"a storm"',
    ),
    (
        Corrected(1, Verdict.WRONG, 8, "teacher", "2026-01-05T09:00:00+00:00"),
        '"type":"corrected","turn":1,"verdict":"wrong","value":8,"by":"teacher",'
        '"when":"2026-01-05T09:00:00+00:00"',
    ),
    (RoundEnded("finished", 2), '"type":"round_ended","why":"finished","turns":2'),
]


def test_every_kind_of_event_is_among_them() -> None:
    assert {type(event) for event, _ in ONE_OF_EACH} == set(TYPES.values())


@pytest.mark.parametrize(("event", "keys"), ONE_OF_EACH, ids=lambda x: getattr(x, "type", ""))
def test_an_event_is_written_with_its_keys_in_order_and_read_again(event: Event, keys: str) -> None:
    line = Entry(3, 400, event).encode()
    assert line == f'{{"seq":3,"at":400,{keys}}}'
    assert RawEntry.decode(line).entry() == Entry(3, 400, event)
    assert problem("event", json.loads(line)) == ""


@pytest.mark.parametrize(("event", "keys"), ONE_OF_EACH, ids=lambda x: getattr(x, "type", ""))
def test_keys_of_a_newer_program_are_carried_along(event: Event, keys: str) -> None:
    newer = replace(event, more={"mood": {"gay": [1, None]}, "more": 3})
    line = Entry(0, 0, newer).encode()
    assert json.loads(line)["mood"] == {"gay": [1, None]}
    assert RawEntry.decode(line).entry().event == newer


def test_keys_inside_a_list_are_carried_along_too() -> None:
    data = ONE_OF_EACH[3][0].as_json()
    data["guesses"][0]["pitch"] = 220
    heard = event_from("heard", data)
    assert isinstance(heard, Heard)
    assert heard.guesses[0].more == {"pitch": 220}
    assert heard.as_json() == data


def test_an_event_of_a_kind_we_do_not_know_is_written_as_it_was() -> None:
    line = '{"seq":0,"at":7,"type":"clapped","turn":"first","hands":2.0}'
    entry = RawEntry.decode(line).entry()
    assert entry.event == OtherEvent("clapped", more={"turn": "first", "hands": 2.0})
    assert entry.encode() == line


JSON = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-3, 3)
    | st.sampled_from([1.5, -1, 10**10, "", "pause", "right", "x" * 501, "x" * 10_001]),
    lambda inner: (
        st.lists(inner, max_size=2)
        | st.dictionaries(st.sampled_from(["text", "onset", "offset", "value", "words"]), inner)
    ),
    max_leaves=4,
)


EVENT_SCHEMA = Draft202012Validator(schema("event"))


@settings(max_examples=size(120, 400), deadline=None)
@given(st.sampled_from(ONE_OF_EACH), st.data())
def test_what_breaks_the_schema_is_refused_and_nothing_else(
    one: tuple[Event, str], data: st.DataObject
) -> None:
    """The typed reader is checked against the JSON Schema, as the jsonschema library understands
    it."""
    told: dict[str, Any] = json.loads(Entry(0, 0, one[0]).encode())
    for key in data.draw(st.lists(st.sampled_from(sorted(set(told) - {"seq", "type"})))):
        if data.draw(st.booleans()):
            told[key] = data.draw(JSON)
        else:
            told.pop(key, None)
    whole = EVENT_SCHEMA.is_valid(told)
    try:
        RawEntry.decode(json.dumps(told)).entry()
        read = True
    except (ValueError, SessionFileError):
        read = False
    assert read == whole, told


@pytest.mark.parametrize("text", ["NaN", "1e400", '"\\ud800"', "[" * 100_000, "{'a':1}", ""])
def test_what_is_not_json_is_refused(text: str) -> None:
    with pytest.raises(ValueError):
        strict_json(text)
