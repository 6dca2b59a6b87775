"""The scripts' types of messages and words agree with the server's own."""

from __future__ import annotations

import json

import msgspec
import pytest

from oralquiz.judge import Verdict
from oralquiz.rounds.planning import Way
from oralquiz.web.protocol import ProtocolError, from_page
from oralquiz.web.words import page_words, verdicts
from tests.web.message_types import fields, fits, literals, members, types

SAMPLES = {"boolean": True, "number": 1, "string": "a"}


def sample(type_: str) -> dict[str, object]:
    """A message of ``type_`` with every field."""
    return {
        name.rstrip("?"): of.strip('"') if of.startswith('"') else SAMPLES[of]
        for name, of in fields(type_).items()
    }


@pytest.mark.parametrize("type_", members("PageMessage"))
def test_the_server_takes_every_message_of_the_pages_and_needs_every_field(type_: str) -> None:
    whole = sample(type_)
    assert fits(whole, "PageMessage")
    assert taken(whole) == whole
    for name in fields(type_):
        less = {key: value for key, value in whole.items() if key != name.rstrip("?")}
        if name.endswith("?"):
            assert taken(less) == less
        else:
            with pytest.raises(ProtocolError):
                taken(less)


def taken(said: dict[str, object]) -> dict[str, object]:
    """What the server makes of a message, without the fields that are not there."""
    heard = msgspec.to_builtins(from_page(json.dumps(said)))
    return {name: value for name, value in heard.items() if value is not None}


def test_verdicts_and_ways_are_those_of_the_server() -> None:
    assert literals("Verdict") == {verdict.value for verdict in Verdict} == set(verdicts())
    assert literals("Way") == {way.value for way in Way}


def test_there_are_words_for_every_phase_and_no_others() -> None:
    teacher, projector, pupil = (page_words()[who] for who in ("teacher", "projector", "pupil"))
    assert set(teacher["phase"]) == literals("TurnPhase")
    assert set(teacher["round"]) == literals("RoundPhase")
    assert set(projector["phase"]) == literals("TurnPhase") | {"own"}
    assert set(pupil["answer"]) == literals("Verdict") | {"skipped", "wrong_typed"}
    shown = {phase for type_ in members("Show") for phase in phases_of(type_)}
    extra = {"waiting_home", "speak_typing", "again_unheard"}
    assert set(pupil["phase"]) == (shown | extra) - {"answer", "over"}  # these have their own


def phases_of(show: str) -> set[str]:
    return {part.strip(' "') for part in fields(show)["phase"].split("|")}


@pytest.mark.parametrize(
    ("value", "type_", "fine"),
    [
        ({"t": "aside"}, "ServerMessage", True),
        ({"t": "aside", "more": 1}, "ServerMessage", False),
        ({"t": "ping"}, "ServerMessage", False),
        ({"t": "show", "phase": "over"}, "ServerMessage", False),
        ({"t": "show", "phase": "nap"}, "ServerMessage", False),
        ({"t": "reading", "run": "a", "turn": 0, "terms": [[0, 5], [9, 12]]}, "Reading", True),
        ({"t": "reading", "run": "a", "turn": 0, "terms": [[0, 5, 9]]}, "Reading", False),
        ({"right": 1, "wrong": 0, "unclear": 0, "silent": 0}, "Counts", True),
        ({"right": 1, "wrong": 0, "unclear": 0}, "Counts", False),
        ({"right": True, "wrong": 0, "unclear": 0, "silent": 0}, "Counts", False),
        (None, "number | null", True),
        ("", "number | null", False),
    ],
)
def test_the_check_of_types_sees_a_message_that_does_not_fit(
    value: object, type_: str, fine: bool
) -> None:
    assert fits(value, type_) is fine


def test_every_type_was_read() -> None:
    assert {"Hello", "ShowAnswer", "Row", "WallRound", "ServerMessage"} <= set(types())
    assert len(members("ServerMessage")) == 12 + 5 + 2
    assert fields("WallRound")["answer?"] == "number"
