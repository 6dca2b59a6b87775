"""What is too much for a computer is refused when the round begins."""

from __future__ import annotations

import asyncio
from pathlib import Path

import pytest

from oralquiz.errors import BadInput
from oralquiz.listen import open_recognizer
from oralquiz.web.capacity import pupils_at_once
from oralquiz.web.class_round import Phase
from tests.web.room import Tablet, make_classroom, make_pupils, plan


def test_more_and_quicker_cores_hear_more_pupils() -> None:
    assert pupils_at_once(0.03, 2) > pupils_at_once(0.03, 1)
    assert pupils_at_once(0.015, 2) > pupils_at_once(0.03, 2)
    assert pupils_at_once(0.1, 2) >= 1.9 * pupils_at_once(0.2, 2)
    assert pupils_at_once(60.0, 1) == 1


def test_what_was_measured_is_allowed_and_what_was_late_is_not() -> None:
    """`bench_web` on a computer that needs 35 ms to decode an answer: on two cores 60 pupils have
    their verdicts at 0.72 s (p95), on twelve 240 at 0.58 s and 400 at 1.07 s."""
    assert 30 <= pupils_at_once(0.035, 2) < 60
    assert 240 <= pupils_at_once(0.035, 12) < 400


def test_with_many_cores_the_one_for_connections_is_the_limit() -> None:
    assert pupils_at_once(0.03, 1000) == pupils_at_once(0.03, 10_000)


def test_decoding_an_answer_takes_time() -> None:
    assert 0 < open_recognizer().answer_s(0, 99) < 60


def test_a_class_too_large_is_refused_in_a_sentence_with_both_numbers(tmp_path: Path) -> None:
    async def story() -> None:
        classroom = make_classroom(tmp_path, at_once=2)
        pupils = await make_pupils(classroom, "Asha", "Ben", "Chidi")
        tablets = [Tablet(classroom.roster.device_of(pupil), []) for pupil in pupils]
        for tablet in tablets:
            tablet.open()
            tablet.ready()
        with pytest.raises(BadInput, match="can hear 2 pupils at once, and 3 would speak"):
            await classroom.conductor.start(plan(), pupils)
        assert not list((tmp_path / "sessions").glob("*"))
        assert classroom.class_round is None
        tablets[2].mic = False  # whoever types costs next to nothing
        tablets[2].ready()
        await classroom.conductor.start(plan(), pupils)
        await classroom.close()

    asyncio.run(story())


def test_those_who_practise_at_home_are_heard_too(tmp_path: Path) -> None:
    async def story() -> None:
        classroom = make_classroom(tmp_path, at_once=1)
        asha, ben = await make_pupils(classroom, "Asha", "Ben")
        for pupil in (asha, ben):
            tablet = Tablet(classroom.roster.device_of(pupil), [])
            tablet.open()
            tablet.ready()
        practice = await classroom.conductor.practise(plan(), asha)
        with pytest.raises(BadInput, match="can hear 1 pupil at once, and 2 would speak"):
            await classroom.conductor.start(plan(), [ben])
        practice.do("stop")
        await practice.ended.wait()
        assert practice.phase is Phase.OVER
        await classroom.conductor.start(plan(), [ben])
        await classroom.close()

    asyncio.run(story())
