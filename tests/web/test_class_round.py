"""Whole rounds over devices, without a network: what the pages do is done by Tablet."""

from __future__ import annotations

import asyncio
import itertools
import threading
from collections.abc import Awaitable, Callable
from concurrent.futures import Executor, Future
from pathlib import Path
from types import SimpleNamespace
from typing import Any
from unittest import mock

import pytest

from oralquiz.errors import BadInput
from oralquiz.judge.confusable import overlapping
from oralquiz.records.pupil_list import Pupil
from oralquiz.records.scoring import scores
from oralquiz.rounds.events import Commanded, Event, Heard
from oralquiz.rounds.plan import Turn
from oralquiz.session.file import open_session
from oralquiz.session.recorder import FileRecorder
from oralquiz.session.reruns import rerun
from oralquiz.sound.blocks import BLOCK, SESSION_RATE
from oralquiz.speak.dictation import Dictation
from oralquiz.web import class_round as lesson_module
from oralquiz.web import classroom as house_module
from oralquiz.web import remote_round as run_module
from oralquiz.web import room_reader as aloud
from oralquiz.web.class_round import ClassRound
from oralquiz.web.classroom import Classroom
from oralquiz.web.planning import Way, rounds_for
from oralquiz.web.protocol import ProtocolError, packet
from tests.session.room import MUMBLE, make_round
from tests.web.room import Tablet, make_classroom, make_pupils, plan


def held(tmp_path: Path, story: Callable[[Classroom], Awaitable[None]]) -> None:
    """Run ``story`` in a classroom of its own."""

    async def whole() -> None:
        classroom = make_classroom(tmp_path)
        try:
            await story(classroom)
        finally:
            await classroom.close()

    asyncio.run(whole())


async def settle(classroom: Classroom) -> None:
    """Let everything that was begun come to its end."""
    while classroom._tasks:
        await asyncio.gather(*classroom._tasks)


async def begin_own(
    classroom: Classroom, *answers: list[int | None], count: int = 2, consent: bool = True
) -> tuple[ClassRound, list[Tablet]]:
    """A round on tablets of their own; an answer k is said as the right value plus k.

    The sums are such that no answer may be the right one with a word lost or added: it would be
    asked about.
    """
    names = ["Asha", "Ben", "Chidi"][: len(answers)]
    pupils = await make_pupils(classroom, *names, consent=consent)
    tablets = []
    for pupil in pupils:
        tablet = Tablet(classroom.device_of(pupil), [])
        tablet.open()
        tablet.ready()
        tablets.append(tablet)
    seed = next(
        seed
        for seed in itertools.count()
        if not any(
            e not in (None, MUMBLE) and overlapping(turn.sum.answer + e, turn.sum.answer)
            for round, errors in zip(
                rounds_for(plan(count=count), pupils, seed), answers, strict=True
            )
            for turn, e in zip(round.turns, errors, strict=False)
        )
    )
    with mock.patch("oralquiz.web.planning.secrets.randbelow", return_value=seed):
        lesson = await classroom.start(plan(count=count), pupils)
    for tablet, run, errors in zip(tablets, lesson.runs, answers, strict=True):
        tablet.answers = [
            None if e is None else e if e == MUMBLE else turn.sum.answer + e
            for turn, e in zip(run.round.turns, errors, strict=False)
        ]
    return lesson, tablets


def test_a_round_on_two_tablets(tmp_path: Path) -> None:
    async def story(classroom: Classroom) -> None:
        lesson, (asha, ben) = await begin_own(classroom, [0, 0], [0, 5])
        for tablet in (asha, ben):
            assert await tablet.stream(800, until=lambda t=tablet: not t.run)  # type: ignore[misc]
        await settle(classroom)
        assert lesson.phase == "over"
        assert asha.phases() == [
            *["waiting"],
            *["listen", "speak", "answer"] * 2,
            "over",
        ]
        assert asha.last("show")["counts"] == {"right": 2, "wrong": 0, "unclear": 0, "silent": 0}
        assert ben.last("show")["counts"] == {"right": 1, "wrong": 1, "unclear": 0, "silent": 0}
        found = {s.pupil: s.total for s in await classroom.records.do(scores)}
        assert (found["Asha"].right, found["Ben"].right, found["Ben"].wrong) == (2, 1, 1)
        # 0.5 s after the last term, on the stream's own clock
        assert found["Asha"].median_latency_s == pytest.approx(0.5, abs=0.01)
        for run in lesson.runs:
            assert run.file is not None
            session = open_session(run.file)
            assert session.damage == ""
            assert rerun(session).difference == ""

    held(tmp_path, story)


def test_a_pupil_is_told_nothing_of_the_sum_or_of_others(tmp_path: Path) -> None:
    async def story(classroom: Classroom) -> None:
        lesson, (asha, ben) = await begin_own(classroom, [0, 3], [0, 0])
        for tablet in (asha, ben):
            await tablet.stream(800, until=lambda t=tablet: not t.run)  # type: ignore[misc]
        told = str(asha.heard)
        assert "Ben" not in told
        for key in ("sum", "right_value", "terms_said"):
            assert f"'{key}'" not in told
        wrong = [d for d in asha.heard if d.get("verdict") == "wrong"]
        assert set(wrong[0]) == {"t", "phase", "turn", "of", "who", "verdict", "value", "typed"}
        right_value = lesson.runs[0].round.turns[1].sum.answer
        assert wrong[0]["value"] == right_value + 3

    held(tmp_path, story)


@pytest.mark.parametrize("sum_", ["20 + 10", "12 + 1"])
def test_an_unclear_answer_is_asked_for_again_and_never_called_wrong(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, sum_: str
) -> None:
    """Thirteen or thirty was said, and one of them is the answer: nobody can tell."""
    monkeypatch.setattr(
        house_module, "rounds_for", lambda plan, pupils: [make_round(sum_, pupil="Asha")]
    )

    async def story(classroom: Classroom) -> None:
        lesson, (asha,) = await begin_own(classroom, [MUMBLE], count=1)
        mumbled = False

        def until() -> bool:
            nonlocal mumbled
            if "again" in asha.phases() and not mumbled:
                mumbled = True
                asha.speak(MUMBLE, asha.next * BLOCK + 2 * SESSION_RATE)
            return not asha.run

        assert await asha.stream(800, until=until)
        await settle(classroom)
        assert asha.phases() == ["waiting", "listen", "speak", "again", "answer", "over"]
        assert asha.last("show")["counts"] == {"right": 0, "wrong": 0, "unclear": 1, "silent": 0}
        shown = [d["verdict"] for d in asha.heard if d.get("phase") == "answer"]
        assert shown == ["unclear"]
        assert [a.verdict for a in lesson.answers] == ["unclear"]

    held(tmp_path, story)


def test_the_connection_breaks_while_the_answer_is_said(tmp_path: Path) -> None:
    async def story(classroom: Classroom) -> None:
        lesson, (asha,) = await begin_own(classroom, [0], count=1)
        assert await asha.stream(400, until=lambda: "speak" in asha.phases())
        asha.drop()
        assert not classroom.device_of(await first(classroom)).online
        await asha.stream(60)  # 1.2 s: the whole answer is said into the void
        assert lesson.answers == []
        asha.open()
        assert await asha.stream(200, until=lambda: not asha.run)
        await settle(classroom)
        assert [a.verdict for a in lesson.answers] == ["right"]
        run = lesson.runs[0]
        assert (run.intake.lost, run.intake.next) == (0, asha.next)
        assert run.file is not None
        (turn,) = open_session(run.file).turns
        assert turn.latency_s == pytest.approx(0.5, abs=0.01)

    held(tmp_path, story)


async def first(classroom: Classroom) -> Pupil:
    pupil = await classroom.pupil(1)
    assert pupil is not None
    return pupil


def test_what_comes_twice_is_taken_once(tmp_path: Path) -> None:
    async def story(classroom: Classroom) -> None:
        _, (asha,) = await begin_own(classroom, [0], count=1)
        await asha.stream(30)
        wanted = asha.device.run
        assert wanted is not None
        for raw in list(asha.kept.values()):
            asha.device.packet(*packet(raw))
        assert wanted.intake.next == 30
        assert wanted.intake.doubled == len(asha.kept)

    held(tmp_path, story)


def test_a_sum_that_could_not_start_in_time_is_read_anew(tmp_path: Path) -> None:
    async def story(classroom: Classroom) -> None:
        lesson, (asha,) = await begin_own(classroom, [0], count=1)
        await asha.stream(2)
        assert len(asha.sounds) == 1
        asha.answers = [lesson.runs[0].round.turns[0].sum.answer]
        asha.voices.clear()
        asha.say(t="late", run=asha.run, play=asha.play)
        assert await asha.stream(600, until=lambda: not asha.run)
        await settle(classroom)
        (first_start, clip), (second_start, same) = asha.sounds
        assert clip == same
        assert second_start > first_start
        assert [a.verdict for a in lesson.answers] == ["right"]
        run = lesson.runs[0]
        assert run.file is not None
        whys = [
            e.event.why for e in open_session(run.file).events if isinstance(e.event, Commanded)
        ]
        assert whys == ["it could not start on time"]

    held(tmp_path, story)


def test_a_page_that_is_opened_again_hears_the_sum_again(tmp_path: Path) -> None:
    async def story(classroom: Classroom) -> None:
        lesson, (asha,) = await begin_own(classroom, [0], count=1)
        await asha.stream(100)
        asha.drop()
        fresh = Tablet(asha.device, [lesson.runs[0].round.turns[0].sum.answer])
        fresh.open()
        await fresh.listen()
        assert fresh.run == ""  # nothing streams before a tap
        fresh.ready()
        assert await fresh.stream(600, until=lambda: "over" in fresh.phases())
        await settle(classroom)
        assert [a.verdict for a in lesson.answers] == ["right"]

    held(tmp_path, story)


def test_typed_without_a_microphone(tmp_path: Path) -> None:
    async def story(classroom: Classroom) -> None:
        lesson, (asha,) = await begin_own(classroom, [None], count=1)
        asha.mic = False
        assert await asha.stream(400, until=lambda: "speak" in asha.phases())
        asha.say(t="typed", run=asha.run, value=lesson.runs[0].round.turns[0].sum.answer)
        assert await asha.stream(200, until=lambda: not asha.run)
        await settle(classroom)
        (answer,) = lesson.answers
        assert (answer.verdict, answer.typed) == ("right", True)

    held(tmp_path, story)


@pytest.mark.parametrize(("typed", "verdict"), [([5], "wrong"), ([5, 0], "right")])
def test_a_number_typed_while_the_sum_is_read_counts_when_it_is_over(
    tmp_path: Path, typed: list[int], verdict: str
) -> None:
    """A total typed on the way is no answer yet, and none that is wrong."""

    async def story(classroom: Classroom) -> None:
        lesson, (asha,) = await begin_own(classroom, [None], count=1)
        assert await asha.stream(200, until=lambda: lesson.rows["Asha"].term == 0)
        for off in typed:
            asha.say(t="typed", run=asha.run, value=lesson.runs[0].round.turns[0].sum.answer + off)
            await asha.stream(5)
            assert lesson.answers == []
        assert await asha.stream(400, until=lambda: not asha.run)
        await settle(classroom)
        (answer,) = lesson.answers
        assert (answer.verdict, answer.typed) == (verdict, True)
        assert answer.latency_s is not None and 0 <= answer.latency_s < 0.1
        file = lesson.runs[0].file
        assert file is not None
        assert rerun(open_session(file)).difference == ""

    held(tmp_path, story)


def test_what_was_typed_early_does_not_outlive_its_sum(tmp_path: Path) -> None:
    async def story(classroom: Classroom) -> None:
        lesson, (asha,) = await begin_own(classroom, [None, None, None], count=2)
        for name in ("repeat", "skip"):
            assert await asha.stream(300, until=lambda: lesson.rows["Asha"].term == 0)
            asha.say(t="typed", run=asha.run, value=99)
            await asha.stream(2)
            lesson.do(name)
            assert await asha.stream(300, until=lambda: lesson.rows["Asha"].term == -1)
        assert await asha.stream(600, until=lambda: lesson.rows["Asha"].phase == "speak")
        await asha.stream(20)
        assert lesson.answers == []
        assert lesson.rows["Asha"].phase == "speak"

    held(tmp_path, story)


def test_the_teacher_repeats_pauses_skips_and_ends(tmp_path: Path) -> None:
    async def story(classroom: Classroom) -> None:
        lesson, (asha,) = await begin_own(classroom, [None, None, None], count=3)
        await asha.stream(60)
        lesson.do("pause")
        await asha.stream(5)
        assert asha.last("show")["phase"] == "paused"
        assert asha.last("hush")
        assert lesson.phase == "paused"
        lesson.do("resume", "")
        await asha.stream(5)
        assert asha.last("show")["phase"] == "listen"
        lesson.do("repeat", "Asha")
        await asha.stream(5)
        assert len(asha.sounds) == 3
        lesson.do("skip")
        assert await asha.stream(100, until=lambda: asha.phases()[-1] == "answer")
        assert asha.last("show")["verdict"] == "skipped"
        assert await asha.stream(200, until=lambda: asha.phases()[-1] == "listen")
        assert asha.last("show")["turn"] == 1
        lesson.do("stop")
        await asha.listen()
        await settle(classroom)
        assert lesson.phase == "over"
        assert asha.phases()[-1] == "over"
        with pytest.raises(BadInput, match="Zoe is not in this round"):
            lesson.do("skip", "Zoe")
        with pytest.raises(BadInput, match="nothing called dance"):
            lesson.do("dance")

    held(tmp_path, story)


def test_corrections_before_and_after_the_round_are_events_on_top(tmp_path: Path) -> None:
    async def story(classroom: Classroom) -> None:
        lesson, (asha,) = await begin_own(classroom, [5, 5])
        assert await asha.stream(400, until=lambda: len(lesson.answers) == 1)
        answer = lesson.runs[0].round.turns[0].sum.answer
        await classroom.correct(lesson, 0, "right", answer)
        assert lesson.rows["Asha"].counts == {"right": 1, "wrong": 0, "unclear": 0, "silent": 0}
        assert await asha.stream(600, until=lambda: not asha.run)
        await settle(classroom)
        await classroom.correct(lesson, 1, "silent", None)
        run = lesson.runs[0]
        assert run.file is not None
        session = open_session(run.file)
        assert [t.attempts[-1].verdict.value for t in session.turns] == ["wrong", "wrong"]
        assert [t.verdict.value for t in session.turns if t.verdict] == ["right", "silent"]
        assert session.turns[0].value == answer
        assert rerun(session).difference == ""
        (score,) = await classroom.records.do(scores)
        assert (score.total.right, score.total.silent, score.total.wrong) == (1, 1, 0)
        with pytest.raises(BadInput, match="no such answer"):
            await classroom.correct(lesson, 9, "right", None)
        with pytest.raises(BadInput, match="no such verdict"):
            await classroom.correct(lesson, 0, "fine", None)

    held(tmp_path, story)


def test_a_voice_without_consent_is_heard_and_not_kept(tmp_path: Path) -> None:
    async def story(classroom: Classroom) -> None:
        lesson, (asha,) = await begin_own(classroom, [0], count=1, consent=False)
        assert await asha.stream(400, until=lambda: not asha.run)
        await settle(classroom)
        assert [a.verdict for a in lesson.answers] == ["right"]
        run = lesson.runs[0]
        assert run.file is not None
        session = open_session(run.file)
        assert session.audio[:, 0].any()
        assert not session.audio[:, 1].any()

    held(tmp_path, story)


def test_a_verdict_by_ear_without_a_number_drops_the_number_it_contradicts(
    tmp_path: Path,
) -> None:
    async def story(classroom: Classroom) -> None:
        lesson, (asha,) = await begin_own(classroom, [5, 0, 5], count=3)
        assert await asha.stream(900, until=lambda: not asha.run)
        await settle(classroom)
        right = [answer.right_value for answer in lesson.answers]
        for number, verdict in enumerate(("right", "wrong", "silent")):
            await classroom.correct(lesson, number, verdict, None)
        assert [answer.value for answer in lesson.answers] == [right[0], None, None]

    held(tmp_path, story)


def test_a_correction_that_its_number_contradicts_changes_nothing(tmp_path: Path) -> None:
    async def story(classroom: Classroom) -> None:
        lesson, (asha,) = await begin_own(classroom, [5, 5])
        assert await asha.stream(400, until=lambda: len(lesson.answers) == 1)
        right = lesson.answers[0].right_value
        wrongs = [("right", right + 1), ("wrong", right), ("silent", right)]

        async def refused() -> None:
            for verdict, value in wrongs:
                with pytest.raises(BadInput, match=r"cannot be|has no number"):
                    await classroom.correct(lesson, 0, verdict, value)

        await refused()  # while the round runs, and on its file
        assert await asha.stream(600, until=lambda: not asha.run)
        await settle(classroom)
        await refused()
        assert lesson.answers[0].verdict == "wrong"
        assert not lesson.answers[0].corrected
        assert lesson.runs[0].file is not None
        assert not any(t.corrections for t in open_session(lesson.runs[0].file).turns)

    held(tmp_path, story)


def test_a_correction_while_the_file_is_finished_is_in_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The last answer of a round is the likeliest to be corrected just when the round ends."""

    async def story(classroom: Classroom) -> None:
        lesson, (asha,) = await begin_own(classroom, [5, 5])

        class Finishing(FileRecorder):
            def finish(self) -> Path:
                lesson.correct(lesson.answer(0, "silent", None), "silent", None)
                return super().finish()

        lesson.runs[0]._recorder._recorder.__class__ = Finishing
        assert await asha.stream(600, until=lambda: not asha.run)
        await settle(classroom)
        assert lesson.runs[0].file is not None
        first, second = open_session(lesson.runs[0].file).turns
        assert [c.verdict.value for c in first.corrections] == ["silent"]
        assert second.corrections == ()
        (score,) = await classroom.records.do(scores)
        assert (score.total.silent, score.total.wrong) == (1, 1)

    held(tmp_path, story)


def test_what_nobody_thought_of_ends_the_round_and_is_said(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    async def story(classroom: Classroom) -> None:
        class Odd(FileRecorder):
            def event(self, at: int, event: Event) -> None:
                if isinstance(event, Heard):
                    raise KeyError("turn")
                super().event(at, event)

        monkeypatch.setattr(house_module, "FileRecorder", Odd)
        lesson, (asha,) = await begin_own(classroom, [0], count=1)
        assert await asha.stream(400, until=lambda: not asha.run)
        assert asha.phases()[-1] == "trouble"
        assert "KeyError" in lesson.trouble
        assert lesson.phase == "over"

    held(tmp_path, story)


def test_a_full_disk_ends_the_round_kindly(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    async def story(classroom: Classroom) -> None:
        class Full(FileRecorder):
            def event(self, at: int, event: Event) -> None:
                if isinstance(event, Heard):
                    raise OSError(28, "No space left on device")
                super().event(at, event)

        monkeypatch.setattr(house_module, "FileRecorder", Full)
        lesson, (asha,) = await begin_own(classroom, [0], count=1)
        assert await asha.stream(400, until=lambda: not asha.run)
        assert asha.phases()[-1] == "trouble"
        assert "No space left" in lesson.trouble
        assert lesson.phase == "over"

    held(tmp_path, story)


def test_a_page_may_not_do_what_is_the_teachers(tmp_path: Path) -> None:
    async def story(classroom: Classroom) -> None:
        _, (asha,) = await begin_own(classroom, [0], count=1)
        for data in (
            {"t": "command", "run": asha.run or "x", "name": "skip"},
            {"t": "do", "name": "stop"},
            {"t": "time", "stretch": 3},
        ):
            await asha.listen()
            data.update(run=asha.run) if data["t"] == "command" else None
            with pytest.raises(ProtocolError):
                asha.device.hear(data, 0.0)

    held(tmp_path, story)


def test_the_time_for_an_answer_can_be_stretched_or_taken_off(tmp_path: Path) -> None:
    async def story(classroom: Classroom) -> None:
        asha, ben = await make_pupils(classroom, "Asha", "Ben")
        tablets = [Tablet(classroom.device_of(p), []) for p in (asha, ben)]
        for tablet, stretch in zip(tablets, (10, 0), strict=True):
            tablet.open()
            tablet.ready()
            tablet.say(t="time", stretch=stretch)
        lesson = await classroom.start(plan(), [asha, ben])
        assert [run.options.answer_within_s for run in lesson.runs] == [30.0, 86_400.0]

    held(tmp_path, story)


def test_who_cannot_begin_is_told_why(tmp_path: Path) -> None:
    async def story(classroom: Classroom) -> None:
        (asha,) = await make_pupils(classroom, "Asha")
        with pytest.raises(BadInput, match="plan a round"):
            await classroom.begin()
        with pytest.raises(BadInput, match="at least one pupil"):
            await classroom.start(plan(), [])
        with pytest.raises(BadInput, match="Asha has not pressed"):
            await classroom.start(plan(), [asha])
        with pytest.raises(BadInput, match="Sound on"):
            await classroom.start(plan(Way.ROOM), [asha])

    held(tmp_path, story)


def test_in_turn_at_the_front(tmp_path: Path) -> None:
    async def story(classroom: Classroom) -> None:
        pupils = await make_pupils(classroom, "Asha", "Ben")
        front = Tablet(classroom.front, [])
        front.open()
        front.ready()
        classroom.plan = plan(Way.FRONT)
        lesson = await classroom.begin()
        (run,) = lesson.runs
        assert [t.pupil for t in run.round.turns] == ["Asha", "Ben", "Asha", "Ben"]
        front.answers = [t.sum.answer for t in run.round.turns]
        assert await front.stream(1200, until=lambda: not front.run)
        await settle(classroom)
        assert {n: r.counts["right"] for n, r in lesson.rows.items()} == {"Asha": 2, "Ben": 2}
        assert len({t.sum for t in run.round.turns}) == 4
        assert [p.name for p in pupils] == ["Asha", "Ben"]

    held(tmp_path, story)


def test_the_room_hears_each_sum_once_and_tablets_only_listen(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    sent = 0
    clock = SimpleNamespace(monotonic=lambda: 50.0 + 0.02 * sent)
    for module in (aloud, lesson_module, run_module):
        monkeypatch.setattr(module, "time", clock)

    async def story(classroom: Classroom) -> None:
        pupils = await make_pupils(classroom, "Asha", "Ben")
        front = Tablet(classroom.front, [], mic=False)
        tablets = [Tablet(classroom.device_of(p), []) for p in pupils]
        for page in (front, *tablets):
            page.open()
            page.ready()
        lesson = await classroom.start(plan(Way.ROOM, count=2), pupils)
        sums = [t.sum for t in lesson.runs[0].round.turns]
        assert sums == [t.sum for t in lesson.runs[1].round.turns]
        tablets[0].answers = [s.answer for s in sums]
        right = sums[0].answer
        wrong = next(v for v in itertools.count(right + 5) if not overlapping(v, right))
        tablets[1].answers = [wrong, sums[1].answer]
        pages = (front, *tablets)
        nonlocal sent
        while lesson.phase != "over" and sent < 900:
            sent += 1
            for page in pages:
                await page.stream(1)
            await asyncio.sleep(0.06 if sent == 1 else 0.0005)  # the sums are made in a thread
        await settle(classroom)
        assert lesson.phase == "over"
        assert len(front.sounds) == 2
        assert all(tablet.sounds == [] for tablet in tablets)
        assert [(a.pupil, a.turn, a.verdict) for a in lesson.answers] == [
            ("Asha", 0, "right"),
            ("Ben", 0, "wrong"),
            ("Asha", 1, "right"),
            ("Ben", 1, "right"),
        ]
        # every stream began at the same time here, so the tablets' windows must agree with the
        # loudspeaker's start, as their own samples count it
        starts = [start for start, _ in front.sounds]
        for run in lesson.runs:
            assert run.file is not None
            session = open_session(run.file)
            for turn, start in zip(session.turns, starts, strict=True):
                assert turn.terms[0].onset == pytest.approx(start, abs=2)
            assert rerun(session).difference == ""

    held(tmp_path, story)


@pytest.mark.parametrize("turn", [0, 1])
def test_the_room_is_paused_while_a_sum_is_made(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, turn: int
) -> None:
    """The sum is not read into the pause, and going on reads it to everyone."""
    sent = 0
    clock = SimpleNamespace(monotonic=lambda: 50.0 + 0.02 * sent)
    for module in (aloud, lesson_module, run_module):
        monkeypatch.setattr(module, "time", clock)

    async def story(classroom: Classroom) -> None:
        pupils = await make_pupils(classroom, "Asha", "Ben")
        front = Tablet(classroom.front, [], mic=False)
        tablets = [Tablet(classroom.device_of(p), []) for p in pupils]
        for page in (front, *tablets):
            page.open()
            page.ready()
        lesson = await classroom.start(plan(Way.ROOM, count=2), pupils)
        for tablet in tablets:
            tablet.answers = [t.sum.answer for t in lesson.runs[0].round.turns]
        wanted = lesson.runs[0].round.turns[turn]
        made, asked = threading.Event(), threading.Event()
        assert lesson._reader is not None
        prepare = lesson._reader.prepare

        def slowly(one: Turn) -> Dictation:
            if one == wanted:
                asked.set()
                made.wait(10)
            return prepare(one)

        monkeypatch.setattr(lesson._reader, "prepare", slowly)

        async def go_on(most: int, until: Callable[[], bool]) -> bool:
            nonlocal sent
            for _ in range(most):
                if until():
                    return True
                sent += 1
                for page in (front, *tablets):
                    await page.stream(1)
                await asyncio.sleep(0.06 if sent == 1 else 0.0005)
            return False

        assert await go_on(900, asked.is_set)
        lesson.do("pause")
        made.set()
        await asyncio.sleep(0.05)
        await go_on(60, lambda: False)
        assert len(front.sounds) == turn
        lesson.do("resume")
        assert await go_on(900, lambda: lesson.phase == "over")
        assert len(front.sounds) == 2
        assert [a.verdict for a in lesson.answers] == ["right"] * 4
        await settle(classroom)

    held(tmp_path, story)


def test_practice_of_ones_own(tmp_path: Path) -> None:
    async def story(classroom: Classroom) -> None:
        (asha,) = await make_pupils(classroom, "Asha")
        tablet = Tablet(classroom.device_of(asha), [])
        tablet.open()
        tablet.ready()
        lesson = await classroom.practise(plan(count=1), asha)
        with pytest.raises(BadInput, match="running already"):
            await classroom.practise(plan(count=1), asha)
        tablet.answers = [lesson.runs[0].round.turns[0].sum.answer]
        await tablet.stream(20)
        tablet.say(t="command", run=tablet.run, name="pause")
        await tablet.stream(5)
        tablet.say(t="command", run=tablet.run, name="resume")
        tablet.voices.clear()
        tablet.answers = [lesson.runs[0].round.turns[0].sum.answer]
        assert await tablet.stream(400, until=lambda: not tablet.run)
        await settle(classroom)
        assert tablet.last("show")["practice"] is True
        assert [a.verdict for a in lesson.answers] == ["right"]

    held(tmp_path, story)


def test_a_lesson_ends_practice(tmp_path: Path) -> None:
    async def story(classroom: Classroom) -> None:
        (asha,) = await make_pupils(classroom, "Asha")
        tablet = Tablet(classroom.device_of(asha), [])
        tablet.open()
        tablet.ready()
        practice = await classroom.practise(plan(count=1), asha)
        await tablet.stream(20)
        await classroom.start(plan(count=1), [asha])
        await tablet.stream(5)
        assert practice.phase == "over"
        assert tablet.run
        with pytest.raises(BadInput, match="your class is having a lesson"):
            await classroom.practise(plan(count=1), asha)

    held(tmp_path, story)


def test_a_pause_between_two_sums_can_be_ended(tmp_path: Path) -> None:
    async def story(classroom: Classroom) -> None:
        (asha,) = await make_pupils(classroom, "Asha")
        tablet = Tablet(classroom.device_of(asha), [])
        tablet.open()
        tablet.ready()
        await classroom.practise(plan(count=2), asha)
        assert await tablet.stream(200, until=lambda: tablet.phases()[-1] == "listen")
        tablet.say(t="command", run=tablet.run, name="skip")
        assert await tablet.stream(5, until=lambda: tablet.phases()[-1] == "answer")
        tablet.say(t="command", run=tablet.run, name="pause")
        assert await tablet.stream(5, until=lambda: tablet.phases()[-1] == "paused")
        await tablet.stream(200)
        assert tablet.phases()[-1] == "paused"
        tablet.say(t="command", run=tablet.run, name="resume")
        assert await tablet.stream(200, until=lambda: tablet.phases()[-1] == "listen")
        assert tablet.last("show")["turn"] == 1

    held(tmp_path, story)


class Later(Executor):
    """Keeps what is submitted until it is told to go on: a machine that is busy."""

    def __init__(self) -> None:
        self.waiting: list[Callable[[], Any]] = []

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        self.waiting.append(lambda: fn(*args, **kwargs))
        return Future()

    def go_on(self) -> None:
        while self.waiting:
            self.waiting.pop(0)()


def test_practice_that_ends_late_does_not_end_the_lesson_after_it(tmp_path: Path) -> None:
    async def story(classroom: Classroom) -> None:
        (asha,) = await make_pupils(classroom, "Asha")
        tablet = Tablet(classroom.device_of(asha), [])
        tablet.open()
        tablet.ready()
        practice = await classroom.practise(plan(count=1), asha)
        await tablet.stream(20)
        busy = Later()
        practice.runs[0]._pool = busy
        lesson = await classroom.start(plan(count=1), [asha])
        tablet.answers = [lesson.runs[0].round.turns[0].sum.answer]
        await tablet.stream(5)
        assert practice.phase == "running"  # its file is still being packed
        busy.go_on()
        assert await tablet.stream(400, until=lambda: lesson.phase == "over")
        assert practice.phase == "over"
        assert [a.verdict for a in lesson.answers] == ["right"]
        await settle(classroom)

    held(tmp_path, story)


def test_two_windows_of_a_pupil_begin_one_practice(tmp_path: Path) -> None:
    async def story(classroom: Classroom) -> None:
        (asha,) = await make_pupils(classroom, "Asha")
        tablet = Tablet(classroom.device_of(asha), [])
        tablet.open()
        tablet.ready()
        both = await asyncio.gather(
            classroom.practise(plan(count=1), asha),
            classroom.practise(plan(count=1), asha),
            return_exceptions=True,
        )
        assert [type(one) for one in both] == [ClassRound, BadInput]

    held(tmp_path, story)


def test_the_wall_shows_no_answer_until_asked(tmp_path: Path) -> None:
    async def story(classroom: Classroom) -> None:
        front = Tablet(classroom.front, [])
        front.open()
        front.ready()
        await make_pupils(classroom, "Asha")
        classroom.plan = plan(Way.FRONT, count=1)
        lesson = await classroom.begin()
        await front.stream(80)
        wall = lesson.for_the_wall()
        assert wall["who"] == "Asha"
        assert wall["terms"] == 2
        assert not {"sum", "answer"} & set(wall)
        lesson.revealed = True
        terms = lesson.runs[0].round.turns[0].sum
        assert lesson.for_the_wall()["answer"] == terms.answer

    held(tmp_path, story)


def test_a_number_that_is_taken_back_is_shown_and_heard_with_the_one_that_stands(
    tmp_path: Path,
) -> None:
    async def story(classroom: Classroom) -> None:
        lesson, (asha,) = await begin_own(classroom, [None], count=1)
        assert await asha.stream(400, until=lambda: "speak" in asha.phases())
        right = lesson.runs[0].round.turns[0].sum.answer
        at = asha.next * BLOCK + SESSION_RATE // 2
        asha.speak(right + 1, at)
        asha.speak(right, at + round(0.8 * SESSION_RATE))
        assert await asha.stream(400, until=lambda: not asha.run)
        await settle(classroom)
        (answer,) = lesson.answers
        assert (answer.value, answer.verdict, answer.words) == (right, "right", str(right))
        # both numbers, what is between them, and 0.4 s before
        assert len(lesson.runs[0].sounds[0]) == pytest.approx(1.6 * SESSION_RATE, abs=2 * BLOCK)

    held(tmp_path, story)
