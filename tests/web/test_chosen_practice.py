"""Practice on one's own: the sums are chosen for the pupil, and the pace follows."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from oralquiz.errors import BadInput
from oralquiz.learn import Standing, standing_of
from oralquiz.records.learners import rule_states
from oralquiz.records.practice_sets import PracticeSet, give_set
from oralquiz.rounds.round import Turn
from oralquiz.speak.dictation import Dictation
from oralquiz.web.class_round import ClassRound
from oralquiz.web.classroom import Classroom
from oralquiz.web.protocol import Practise
from oralquiz.web.sockets import choose_practice, practice_plan
from tests.session.room import PulseReader
from tests.web.room import Tablet, make_pupils
from tests.web.test_class_round import held, remotes, settle

pytestmark = pytest.mark.slow

NOW = datetime(2026, 1, 5, tzinfo=UTC)


class AtAPace(PulseReader):
    def __init__(self, pace_s: float) -> None:
        self.pace_s = pace_s

    def dictation(self, turn: Turn) -> Dictation:
        return replace(super().dictation(turn), pace_s=self.pace_s)


async def begin(
    classroom: Classroom, count: int, rule: str = "", *, slower: bool = False
) -> tuple[ClassRound, Tablet]:
    classroom.assembly.tools = replace(
        classroom.assembly.tools, reader=lambda voice, pace_s: AtAPace(pace_s)
    )
    (asha,) = await make_pupils(classroom, "Asha")
    await classroom.records.do(give_set, "3B", PracticeSet("direct", terms=2, created="2026"))
    tablet = Tablet(classroom.roster.device_of(asha), [])
    tablet.open()
    tablet.ready()
    chosen = await choose_practice(classroom, asha, Practise(count, rule, slower))
    class_round = await classroom.conductor.practise(practice_plan(chosen), asha, chosen)
    return class_round, tablet


def paces(class_round: ClassRound) -> list[float | None]:
    (participant,) = class_round.participants.values()
    return [turn.pace_s for turn in participant.progress.turns]


def test_the_pace_follows_and_the_records_say_why(tmp_path: Path) -> None:
    async def story(classroom: Classroom) -> None:
        class_round, tablet = await begin(classroom, 3)
        tablet.answers = [turn.sum.answer for turn in remotes(class_round)[0].round.turns]
        assert await tablet.stream(4000, until=lambda: not tablet.run)
        await settle(classroom)
        assert len(set(paces(class_round))) > 1
        rows = await classroom.records.do(lambda db: list(db.query("select * from sums")))
        assert [row["pace_s"] for row in rows] == paces(class_round)
        assert {row["place"] for row in rows} == {"home"}
        assert all(row["reason"] and row["rule"] for row in rows)
        # and what practice knows is up to date
        states = await classroom.records.do(rule_states)
        (its,) = states.values()
        assert Standing.GROWING in {standing_of(rule, skill, NOW) for rule, skill in its.items()}

    held(tmp_path, story)


def test_slower_please(tmp_path: Path) -> None:
    """The sum is read again at once, more slowly."""

    async def story(classroom: Classroom) -> None:
        class_round, tablet = await begin(classroom, 2)
        assert await tablet.stream(200, until=lambda: tablet.phases()[-1:] == ["listen"])
        (before,) = paces(class_round)
        tablet.say(t="command", run=tablet.run, name="slower")
        await tablet.stream(3)
        (after,) = paces(class_round)
        assert before is not None
        assert after is not None
        assert after >= 1.15 * before
        assert len(tablet.sounds) == 2
        tablet.say(t="command", run=tablet.run, name="stop")
        await tablet.stream(2)
        await settle(classroom)

    held(tmp_path, story)


def test_a_rule_can_be_asked_for(tmp_path: Path) -> None:
    async def story(classroom: Classroom) -> None:
        class_round, tablet = await begin(classroom, 5, "direct", slower=True)
        turns = remotes(class_round)[0].round.turns
        assert {turn.rule for turn in turns} == {"direct"}
        assert any("was asked for" in turn.reason for turn in turns)
        tablet.say(t="command", run=tablet.run, name="stop")
        await tablet.stream(2)
        await settle(classroom)
        asha = await classroom.pupil(1)
        assert asha is not None
        with pytest.raises(BadInput, match="not taught yet"):
            await choose_practice(classroom, asha, Practise(5, "ten:+9", False))
        with pytest.raises(BadInput, match="1 to 40"):
            await choose_practice(classroom, asha, Practise(99, "", False))

    held(tmp_path, story)
