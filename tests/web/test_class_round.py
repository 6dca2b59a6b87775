"""Whole rounds over devices, without a network: what the pages do is done by Tablet."""

from __future__ import annotations

import asyncio
import gc
import itertools
import threading
import weakref
from collections.abc import Awaitable, Callable, Mapping
from concurrent.futures import Executor
from pathlib import Path
from typing import Any
from unittest import mock

import msgspec
import pytest

from oralquiz.errors import BadInput, OralquizError
from oralquiz.judge.confusable import overlapping
from oralquiz.listen.hearing import readable
from oralquiz.records.pupil_list import Pupil
from oralquiz.records.scoring import scores
from oralquiz.rounds.events import Commanded, Event, Heard
from oralquiz.rounds.planning import Way, plan_rounds
from oralquiz.rounds.round import Turn
from oralquiz.session.file import open_session
from oralquiz.session.recorder import FileRecorder
from oralquiz.session.reruns import rerun
from oralquiz.sound.blocks import BLOCK, SESSION_RATE
from oralquiz.speak.dictation import Dictation
from oralquiz.web import assembly
from oralquiz.web.class_round import ClassRound
from oralquiz.web.classroom import Classroom
from oralquiz.web.live_view import live_answers, live_rows, wall_round
from oralquiz.web.packets import packet
from oralquiz.web.page_clips import AheadReader
from oralquiz.web.page_stream import Now
from oralquiz.web.protocol import ProtocolError
from oralquiz.web.remote_round import RemoteRound
from tests.session.room import MUMBLE, NO, PulseReader, make_round, pulse
from tests.web.room import InlineExecutor, Tablet, make_classroom, make_pupils, plan, standing_clock

pytestmark = pytest.mark.slow


def held(
    tmp_path: Path,
    story: Callable[[Classroom], Awaitable[None]],
    now: Now = standing_clock,
    pool: Executor | None = None,
) -> None:
    """Run ``story`` in a classroom of its own, whose clock is ``now``."""

    async def whole() -> None:
        classroom = make_classroom(tmp_path, now=now, pool=pool)
        try:
            await story(classroom)
        finally:
            await classroom.close()

    asyncio.run(whole())


async def settle(classroom: Classroom) -> None:
    """Let everything that has been started finish."""
    await asyncio.sleep(0)
    await classroom.background.done()


def remotes(class_round: ClassRound) -> list[RemoteRound]:
    """The rounds on the devices, in order."""
    return [one.remote for one in class_round.participants.values()]


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
        tablet = Tablet(classroom.roster.device_of(pupil), [])
        tablet.open()
        tablet.ready()
        tablets.append(tablet)
    seed = next(
        seed
        for seed in itertools.count()
        if not any(
            e not in (None, MUMBLE) and overlapping(turn.sum.answer + e, turn.sum.answer)
            for round, errors in zip(
                plan_rounds(plan(count=count), pupils, seed), answers, strict=True
            )
            for turn, e in zip(round.turns, errors, strict=False)
        )
    )
    with mock.patch("oralquiz.rounds.planning.secrets.randbelow", return_value=seed):
        class_round = await classroom.conductor.start(plan(count=count), pupils)
    for tablet, run, errors in zip(tablets, remotes(class_round), answers, strict=True):
        tablet.answers = [
            None if e is None else e if e == MUMBLE else turn.sum.answer + e
            for turn, e in zip(run.round.turns, errors, strict=False)
        ]
    return class_round, tablets


def test_a_round_on_two_tablets(tmp_path: Path) -> None:
    async def story(classroom: Classroom) -> None:
        class_round, (asha, ben) = await begin_own(classroom, [0, 0], [0, 5])
        for tablet in (asha, ben):
            assert await tablet.stream(800, until=lambda t=tablet: not t.run)  # type: ignore[misc]
        await settle(classroom)
        assert class_round.phase == "over"
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
        for run in remotes(class_round):
            assert run.file is not None
            session = open_session(run.file)
            assert session.damage == ""
            assert rerun(session).difference == ""

    held(tmp_path, story)


def test_a_round_that_is_over_leaves_nothing_behind(tmp_path: Path) -> None:
    """However long a server runs, it holds the last round only, and of that no more than is
    shown. (Whatever the collector of garbage does by itself.)"""

    async def one_round(classroom: Classroom, pupils: list[Pupil]) -> weakref.ref[ClassRound]:
        tablet = Tablet(classroom.roster.device_of(pupils[0]), [])
        tablet.open()
        tablet.ready()
        class_round = await classroom.conductor.start(plan(count=1), pupils)
        (remote,) = remotes(class_round)
        tablet.answers = [remote.round.turns[0].sum.answer]
        assert await tablet.stream(800, until=lambda: not tablet.run)
        await settle(classroom)
        assert remote.voice(0) is not None
        class_round.forget_voices()
        assert remote.voice(0) is None
        return weakref.ref(class_round)

    async def story(classroom: Classroom) -> None:
        pupils = await make_pupils(classroom, "Asha")
        first, last = [await one_round(classroom, pupils) for _ in range(2)]
        assert (first() is None, last() is None) == (True, False)

    gc.disable()
    try:
        held(tmp_path, story)
    finally:
        gc.enable()


def test_a_pupil_is_told_nothing_of_the_sum_or_of_others(tmp_path: Path) -> None:
    async def story(classroom: Classroom) -> None:
        class_round, (asha, ben) = await begin_own(classroom, [0, 3], [0, 0])
        for tablet in (asha, ben):
            await tablet.stream(800, until=lambda t=tablet: not t.run)  # type: ignore[misc]
        told = str(asha.heard)
        assert "Ben" not in told
        for key in ("sum", "right_value", "terms_said"):
            assert f"'{key}'" not in told
        wrong = [d for d in asha.heard if d.get("verdict") == "wrong"]
        assert set(wrong[0]) == {"t", "phase", "turn", "of", "who", "verdict", "value", "typed"}
        right_value = remotes(class_round)[0].round.turns[1].sum.answer
        assert wrong[0]["value"] == right_value + 3

    held(tmp_path, story)


@pytest.mark.parametrize("sum_", ["20 + 10", "12 + 1"])
def test_an_unclear_answer_is_asked_for_again_and_never_called_wrong(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, sum_: str
) -> None:
    """Thirteen or thirty was said, and one of them is the answer: nobody can tell which."""
    monkeypatch.setattr(
        assembly, "plan_rounds", lambda plan, pupils, **more: [make_round(sum_, pupil="Asha")]
    )

    async def story(classroom: Classroom) -> None:
        class_round, (asha,) = await begin_own(classroom, [MUMBLE], count=1)
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
        assert [a.verdict for a in live_answers(class_round)] == ["unclear"]

    held(tmp_path, story)


def test_the_connection_breaks_while_the_answer_is_said(tmp_path: Path) -> None:
    async def story(classroom: Classroom) -> None:
        class_round, (asha,) = await begin_own(classroom, [0], count=1)
        assert await asha.stream(400, until=lambda: "speak" in asha.phases())
        asha.drop()
        assert not classroom.roster.device_of(await first(classroom)).online
        await asha.stream(60)  # 1.2 s: the whole answer is said into the void
        assert live_answers(class_round) == []
        asha.open()
        assert await asha.stream(200, until=lambda: not asha.run)
        await settle(classroom)
        assert [a.verdict for a in live_answers(class_round)] == ["right"]
        run = remotes(class_round)[0]
        assert (run.stream.blocks.lost, run.stream.blocks.next) == (0, asha.next)
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
        wanted = asha.device.running
        assert wanted is not None
        for raw in list(asha.kept.values()):
            asha.device.packet(*packet(raw))
        assert wanted.stream.blocks.next == 30
        assert wanted.stream.blocks.doubled == len(asha.kept)

    held(tmp_path, story)


def test_a_sum_that_could_not_start_in_time_is_read_anew(tmp_path: Path) -> None:
    async def story(classroom: Classroom) -> None:
        class_round, (asha,) = await begin_own(classroom, [0], count=1)
        await asha.stream(2)
        assert len(asha.sounds) == 1
        asha.answers = [remotes(class_round)[0].round.turns[0].sum.answer]
        asha.voices.clear()
        asha.say(t="late", run=asha.run, play=asha.play)
        assert await asha.stream(600, until=lambda: not asha.run)
        await settle(classroom)
        (first_start, clip), (second_start, same) = asha.sounds
        assert clip == same
        assert second_start > first_start
        assert [a.verdict for a in live_answers(class_round)] == ["right"]
        run = remotes(class_round)[0]
        assert run.file is not None
        whys = [
            entry.event.why
            for entry in open_session(run.file).events
            if isinstance(entry.event, Commanded)
        ]
        assert whys == ["it could not start on time"]

    held(tmp_path, story)


def test_a_page_that_is_opened_again_hears_the_sum_again(tmp_path: Path) -> None:
    async def story(classroom: Classroom) -> None:
        class_round, (asha,) = await begin_own(classroom, [0], count=1)
        await asha.stream(100)
        asha.drop()
        fresh = Tablet(asha.device, [remotes(class_round)[0].round.turns[0].sum.answer])
        fresh.open()
        await fresh.listen()
        assert fresh.run == ""  # nothing is streamed before a tap
        fresh.ready()
        assert await fresh.stream(600, until=lambda: "over" in fresh.phases())
        await settle(classroom)
        assert [a.verdict for a in live_answers(class_round)] == ["right"]

    held(tmp_path, story)


def test_typed_without_a_microphone(tmp_path: Path) -> None:
    async def story(classroom: Classroom) -> None:
        class_round, (asha,) = await begin_own(classroom, [None], count=1)
        asha.mic = False
        assert await asha.stream(400, until=lambda: "speak" in asha.phases())
        asha.say(t="typed", run=asha.run, value=remotes(class_round)[0].round.turns[0].sum.answer)
        assert await asha.stream(200, until=lambda: not asha.run)
        await settle(classroom)
        (answer,) = live_answers(class_round)
        assert (answer.verdict, answer.typed) == ("right", True)

    held(tmp_path, story)


@pytest.mark.parametrize(("typed", "verdict"), [([5], "wrong"), ([5, 0], "right")])
def test_a_number_typed_while_the_sum_is_read_counts_when_it_is_over(
    tmp_path: Path, typed: list[int], verdict: str
) -> None:
    """A total typed on the way is not an answer yet, and so not a wrong one."""

    async def story(classroom: Classroom) -> None:
        class_round, (asha,) = await begin_own(classroom, [None], count=1)
        assert await asha.stream(200, until=lambda: live_rows(class_round)["Asha"].term == 0)
        for off in typed:
            asha.say(
                t="typed",
                run=asha.run,
                value=remotes(class_round)[0].round.turns[0].sum.answer + off,
            )
            await asha.stream(5)
            assert live_answers(class_round) == []
        assert await asha.stream(400, until=lambda: not asha.run)
        await settle(classroom)
        (answer,) = live_answers(class_round)
        assert (answer.verdict, answer.typed) == (verdict, True)
        assert answer.latency_s is not None and 0 <= answer.latency_s < 0.1
        file = remotes(class_round)[0].file
        assert file is not None
        assert rerun(open_session(file)).difference == ""

    held(tmp_path, story)


def test_what_was_typed_early_does_not_outlive_its_sum(tmp_path: Path) -> None:
    async def story(classroom: Classroom) -> None:
        class_round, (asha,) = await begin_own(classroom, [None, None, None], count=2)
        for name in ("repeat", "skip"):
            assert await asha.stream(300, until=lambda: live_rows(class_round)["Asha"].term == 0)
            asha.say(t="typed", run=asha.run, value=99)
            await asha.stream(2)
            class_round.do(name)
            assert await asha.stream(300, until=lambda: live_rows(class_round)["Asha"].term == -1)
        assert await asha.stream(600, until=lambda: live_rows(class_round)["Asha"].phase == "speak")
        await asha.stream(20)
        assert live_answers(class_round) == []
        assert live_rows(class_round)["Asha"].phase == "speak"

    held(tmp_path, story)


def test_the_teacher_repeats_pauses_skips_and_ends(tmp_path: Path) -> None:
    async def story(classroom: Classroom) -> None:
        class_round, (asha,) = await begin_own(classroom, [None, None, None], count=3)
        await asha.stream(60)
        class_round.do("pause")
        await asha.stream(5)
        assert asha.last("show")["phase"] == "paused"
        assert asha.last("hush")
        assert class_round.phase == "paused"
        class_round.do("resume", "")
        await asha.stream(5)
        assert asha.last("show")["phase"] == "listen"
        class_round.do("repeat", "Asha")
        await asha.stream(5)
        assert len(asha.sounds) == 3
        class_round.do("skip")
        assert await asha.stream(100, until=lambda: asha.phases()[-1] == "answer")
        assert asha.last("show")["verdict"] == "skipped"
        assert await asha.stream(200, until=lambda: asha.phases()[-1] == "listen")
        assert asha.last("show")["turn"] == 1
        class_round.do("stop")
        await asha.listen()
        await settle(classroom)
        assert class_round.phase == "over"
        assert asha.phases()[-1] == "over"
        with pytest.raises(BadInput, match="Zoe is not in this round"):
            class_round.do("skip", "Zoe")
        with pytest.raises(BadInput, match="no command dance"):
            class_round.do("dance")

    held(tmp_path, story)


def test_corrections_before_and_after_the_round_are_events_on_top(tmp_path: Path) -> None:
    async def story(classroom: Classroom) -> None:
        class_round, (asha,) = await begin_own(classroom, [5, 5])
        assert await asha.stream(400, until=lambda: len(live_answers(class_round)) == 1)
        answer = remotes(class_round)[0].round.turns[0].sum.answer
        await classroom.bookkeeper.correct(class_round, 0, "right", answer)
        await asha.listen()
        assert live_rows(class_round)["Asha"].counts == {
            "right": 1,
            "wrong": 0,
            "unclear": 0,
            "silent": 0,
        }
        assert await asha.stream(600, until=lambda: not asha.run)
        await settle(classroom)
        await classroom.bookkeeper.correct(class_round, 1, "silent", None)
        run = remotes(class_round)[0]
        assert run.file is not None
        session = open_session(run.file)
        assert [t.attempts[-1].verdict.value for t in session.turns] == ["wrong", "wrong"]
        assert [t.verdict.value for t in session.turns if t.verdict] == ["right", "silent"]
        assert session.turns[0].value == answer
        assert rerun(session).difference == ""
        (score,) = await classroom.records.do(scores)
        assert (score.total.right, score.total.silent, score.total.wrong) == (1, 1, 0)
        with pytest.raises(BadInput, match="no such answer"):
            await classroom.bookkeeper.correct(class_round, 9, "right", None)
        with pytest.raises(BadInput, match="no such verdict"):
            await classroom.bookkeeper.correct(class_round, 0, "fine", None)

    held(tmp_path, story)


def test_a_voice_without_consent_is_heard_and_not_kept(tmp_path: Path) -> None:
    async def story(classroom: Classroom) -> None:
        class_round, (asha,) = await begin_own(classroom, [0], count=1, consent=False)
        assert await asha.stream(400, until=lambda: not asha.run)
        await settle(classroom)
        assert [a.verdict for a in live_answers(class_round)] == ["right"]
        run = remotes(class_round)[0]
        assert run.file is not None
        session = open_session(run.file)
        assert session.audio[:, 0].any()
        assert not session.audio[:, 1].any()

    held(tmp_path, story)


def test_a_verdict_by_ear_without_a_number_drops_the_number_it_contradicts(
    tmp_path: Path,
) -> None:
    async def story(classroom: Classroom) -> None:
        class_round, (asha,) = await begin_own(classroom, [5, 0, 5], count=3)
        assert await asha.stream(900, until=lambda: not asha.run)
        await settle(classroom)
        right = [answer.right_value for answer in live_answers(class_round)]
        for number, verdict in enumerate(("right", "wrong", "silent")):
            await classroom.bookkeeper.correct(class_round, number, verdict, None)
        assert [answer.value for answer in live_answers(class_round)] == [right[0], None, None]

    held(tmp_path, story)


def test_the_live_page_and_the_file_tell_the_same_of_a_turn(tmp_path: Path) -> None:
    """A number before the sum was over, then a voice without one, corrected twice by ear: the page
    used to show the early number's words, and the first correction's number after the second."""

    async def story(classroom: Classroom) -> None:
        class_round, (asha,) = await begin_own(classroom, [None], count=1)
        (remote,) = remotes(class_round)
        answer = remote.round.turns[0].sum.answer
        assert await asha.stream(300, until=lambda: live_rows(class_round)["Asha"].term == 1)
        asha.voices.append((asha.next * BLOCK, pulse(answer + 5, 0.1)))
        assert await asha.stream(300, until=lambda: "speak" in asha.phases())
        asha.speak(NO, asha.next * BLOCK + SESSION_RATE)
        assert await asha.stream(300, until=lambda: "again" in asha.phases())
        assert live_rows(class_round)["Asha"].heard == readable("[unk]")
        assert await asha.stream(900, until=lambda: not asha.run)
        await settle(classroom)
        assert remote.file is not None
        for verdict, value in (("unclear", None), ("wrong", answer + 3), ("wrong", None)):
            await classroom.bookkeeper.correct(class_round, 0, verdict, value)
            (shown,) = live_answers(class_round)
            (turn,) = open_session(remote.file).turns
            words = readable(turn.attempts[-1].words)
            assert (shown.verdict, shown.value, shown.words) == (turn.verdict, turn.value, words)
        assert shown.value is None

    held(tmp_path, story)


def test_the_file_names_the_voice_that_read(tmp_path: Path) -> None:
    async def story(classroom: Classroom) -> None:
        class_round, (asha,) = await begin_own(classroom, [0], count=1)
        assert await asha.stream(400, until=lambda: not asha.run)
        await settle(classroom)
        file = remotes(class_round)[0].file
        assert file is not None
        assert open_session(file).header["voice"] == PulseReader.voice_name

    held(tmp_path, story)


def test_a_correction_that_its_number_contradicts_changes_nothing(tmp_path: Path) -> None:
    async def story(classroom: Classroom) -> None:
        class_round, (asha,) = await begin_own(classroom, [5, 5])
        assert await asha.stream(400, until=lambda: len(live_answers(class_round)) == 1)
        right = live_answers(class_round)[0].right_value
        wrongs = [("right", right + 1), ("wrong", right), ("silent", right)]

        async def refused() -> None:
            for verdict, value in wrongs:
                with pytest.raises(BadInput, match=r"cannot be|has no number"):
                    await classroom.bookkeeper.correct(class_round, 0, verdict, value)

        await refused()  # while the round runs, and on its file
        assert await asha.stream(600, until=lambda: not asha.run)
        await settle(classroom)
        await refused()
        assert live_answers(class_round)[0].verdict == "wrong"
        assert not live_answers(class_round)[0].corrected
        file = remotes(class_round)[0].file
        assert file is not None
        assert not any(turn.corrections for turn in open_session(file).turns)

    held(tmp_path, story)


def test_a_correction_while_the_file_is_finished_is_in_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The last answer of a round is the likeliest to be corrected just when the round ends."""

    finishing: list[Callable[[], None]] = []

    class Finishing(FileRecorder):
        def finish(self) -> Path:
            for correct in finishing:
                correct()
            return super().finish()

    monkeypatch.setattr("oralquiz.session.live_round.FileRecorder", Finishing)

    async def story(classroom: Classroom) -> None:
        class_round, (asha,) = await begin_own(classroom, [5, 5])
        (remote,) = remotes(class_round)
        finishing.append(lambda: remote.correct(class_round.verdict_on(0, "silent", None)))
        assert await asha.stream(600, until=lambda: not asha.run)
        await settle(classroom)
        assert remote.file is not None
        first, second = open_session(remote.file).turns
        assert [c.verdict.value for c in first.corrections] == ["silent"]
        assert second.corrections == ()
        assert [a.verdict for a in live_answers(class_round)] == ["silent", "wrong"]
        (score,) = await classroom.records.do(scores)
        assert (score.total.silent, score.total.wrong) == (1, 1)

    held(tmp_path, story)


def test_an_unexpected_error_ends_the_round_and_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    async def story(classroom: Classroom) -> None:
        class Odd(FileRecorder):
            def event(self, at: int, event: Event) -> None:
                if isinstance(event, Heard):
                    raise KeyError("turn")
                super().event(at, event)

        monkeypatch.setattr("oralquiz.session.live_round.FileRecorder", Odd)
        class_round, (asha,) = await begin_own(classroom, [0], count=1)
        assert await asha.stream(400, until=lambda: not asha.run)
        assert asha.phases()[-1] == "trouble"
        assert "KeyError" in class_round.trouble
        assert class_round.phase == "over"

    held(tmp_path, story)


def test_a_full_disk_ends_the_round_and_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    async def story(classroom: Classroom) -> None:
        class Full(FileRecorder):
            def event(self, at: int, event: Event) -> None:
                if isinstance(event, Heard):
                    raise OSError(28, "No space left on device")
                super().event(at, event)

        monkeypatch.setattr("oralquiz.session.live_round.FileRecorder", Full)
        class_round, (asha,) = await begin_own(classroom, [0], count=1)
        assert await asha.stream(400, until=lambda: not asha.run)
        assert asha.phases()[-1] == "trouble"
        assert "No space left" in class_round.trouble
        assert class_round.phase == "over"

    held(tmp_path, story)


def test_a_pupils_page_may_not_give_a_teachers_command(tmp_path: Path) -> None:
    async def story(classroom: Classroom) -> None:
        _, (asha,) = await begin_own(classroom, [0], count=1)
        await asha.listen()
        with pytest.raises(ProtocolError, match="may not skip"):
            asha.say(t="command", run=asha.run, name="skip")

    held(tmp_path, story)


def test_the_time_for_an_answer_can_be_stretched_or_taken_off(tmp_path: Path) -> None:
    async def story(classroom: Classroom) -> None:
        asha, ben = await make_pupils(classroom, "Asha", "Ben")
        tablets = [Tablet(classroom.roster.device_of(p), []) for p in (asha, ben)]
        for tablet, stretch in zip(tablets, (10, 0), strict=True):
            tablet.open()
            tablet.ready()
            tablet.say(t="time", stretch=stretch)
        class_round = await classroom.conductor.start(plan(), [asha, ben])
        assert [run.options.answer_within_s for run in remotes(class_round)] == [30.0, 86_400.0]

    held(tmp_path, story)


def test_a_teacher_who_cannot_begin_is_told_why(tmp_path: Path) -> None:
    async def story(classroom: Classroom) -> None:
        (asha,) = await make_pupils(classroom, "Asha")
        with pytest.raises(BadInput, match="plan a round"):
            await classroom.begin()
        with pytest.raises(BadInput, match="at least one pupil"):
            await classroom.conductor.start(plan(), [])
        with pytest.raises(BadInput, match="Asha has not pressed"):
            await classroom.conductor.start(plan(), [asha])
        with pytest.raises(BadInput, match="Sound on"):
            await classroom.conductor.start(plan(Way.ROOM), [asha])

    held(tmp_path, story)


def test_a_start_that_is_refused_leaves_no_session(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Otherwise the next start of the program would enter it as a round."""
    dictation = PulseReader.dictation

    def too_quick(self: PulseReader, turn: Turn) -> Dictation:
        if turn.pupil == "Ben":
            raise BadInput("the pace is too quick for this sum")
        return dictation(self, turn)

    monkeypatch.setattr(PulseReader, "dictation", too_quick)

    async def story(classroom: Classroom) -> None:
        with pytest.raises(BadInput, match="too quick"):
            await begin_own(classroom, [0], [0])
        assert sessions_of(classroom) == []
        assert classroom.class_round is None

    held(tmp_path, story)


def test_a_disk_that_is_full_at_the_start_leaves_no_session(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    class Full(FileRecorder):
        def __init__(self, folder: Path, header: Mapping[str, Any], *, syncs: bool = True) -> None:
            if folder.name.endswith("-2"):
                raise OSError(28, "No space left on device")
            super().__init__(folder, header, syncs=syncs)

    monkeypatch.setattr("oralquiz.session.live_round.FileRecorder", Full)

    async def story(classroom: Classroom) -> None:
        with pytest.raises(OralquizError, match="No space left"):
            await begin_own(classroom, [0], [0])
        assert sessions_of(classroom) == []

    held(tmp_path, story)


def sessions_of(classroom: Classroom) -> list[Path]:
    """What is in the sessions folder."""
    return list(classroom.sessions.iterdir()) if classroom.sessions.exists() else []


def test_in_turn_at_the_front(tmp_path: Path) -> None:
    async def story(classroom: Classroom) -> None:
        pupils = await make_pupils(classroom, "Asha", "Ben")
        front = Tablet(classroom.roster.front, [])
        front.open()
        front.ready()
        classroom.plan = plan(Way.FRONT)
        class_round = await classroom.begin()
        (run,) = remotes(class_round)
        assert [t.pupil for t in run.round.turns] == ["Asha", "Ben", "Asha", "Ben"]
        front.answers = [t.sum.answer for t in run.round.turns]
        assert await front.stream(1200, until=lambda: not front.run)
        await settle(classroom)
        assert {n: r.counts["right"] for n, r in live_rows(class_round).items()} == {
            "Asha": 2,
            "Ben": 2,
        }
        assert len({t.sum for t in run.round.turns}) == 4
        assert [p.name for p in pupils] == ["Asha", "Ben"]

    held(tmp_path, story)


class RoomOfTablets:
    """The front and two tablets, packet by packet, on a clock that goes on with them."""

    def __init__(self) -> None:
        self.sent = 0
        self.front: Tablet
        self.tablets: list[Tablet]

    def now(self) -> float:
        return 50.0 + 0.02 * self.sent

    async def begin(self, classroom: Classroom) -> ClassRound:
        """Two sums for Asha and Ben, who answer them right."""
        pupils = await make_pupils(classroom, "Asha", "Ben")
        self.front = Tablet(classroom.roster.front, [], mic=False)
        self.tablets = [Tablet(classroom.roster.device_of(p), []) for p in pupils]
        for page in (self.front, *self.tablets):
            page.open()
            page.ready()
        class_round = await classroom.conductor.start(plan(Way.ROOM, count=2), pupils)
        for tablet, remote in zip(self.tablets, remotes(class_round), strict=True):
            tablet.answers = [turn.sum.answer for turn in remote.round.turns]
        return class_round

    async def go_on(self, classroom: Classroom, most: int, until: Callable[[], bool]) -> bool:
        """Send up to ``most`` packets from every page; False: ``until`` never was true."""
        for _ in range(most):
            if until():
                return True
            self.sent += 1
            for page in (self.front, *self.tablets):
                await page.stream(1)
        return until()


def test_the_room_hears_each_sum_once_and_tablets_only_listen(tmp_path: Path) -> None:
    room = RoomOfTablets()

    async def story(classroom: Classroom) -> None:
        class_round = await room.begin(classroom)
        sums = [turn.sum for turn in remotes(class_round)[0].round.turns]
        assert sums == [turn.sum for turn in remotes(class_round)[1].round.turns]
        right = sums[0].answer
        wrong = next(v for v in itertools.count(right + 5) if not overlapping(v, right))
        room.tablets[1].answers = [wrong, sums[1].answer]
        assert await room.go_on(classroom, 900, lambda: class_round.phase == "over")
        await settle(classroom)
        assert len(room.front.sounds) == 2
        assert all(tablet.sounds == [] for tablet in room.tablets)
        assert [(a.pupil, a.turn, a.verdict) for a in live_answers(class_round)] == [
            ("Asha", 0, "right"),
            ("Ben", 0, "wrong"),
            ("Asha", 1, "right"),
            ("Ben", 1, "right"),
        ]
        # every stream began at the same time here, so the tablets' windows must agree with the
        # loudspeaker's start, as their own samples count it
        starts = [start for start, _ in room.front.sounds]
        for remote in remotes(class_round):
            assert remote.file is not None
            session = open_session(remote.file)
            for turn, start in zip(session.turns, starts, strict=True):
                assert turn.terms[0].onset == pytest.approx(start, abs=2)
            assert rerun(session).difference == ""

    held(tmp_path, story, room.now)


@pytest.mark.parametrize("turn", [0, 1])
def test_the_room_is_paused_while_a_sum_is_made(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, turn: int
) -> None:
    """The sum is not read during the pause, and resuming reads it to everyone."""
    room = RoomOfTablets()
    made, asked = threading.Event(), threading.Event()
    prepare = AheadReader.prepare
    wanted: list[Turn] = []

    def slowly(self: AheadReader, one: Turn) -> Dictation:
        if one in wanted and threading.current_thread() is not threading.main_thread():
            asked.set()
            made.wait(10)
        return prepare(self, one)

    async def story(classroom: Classroom) -> None:
        class_round = await room.begin(classroom)
        wanted.append(remotes(class_round)[0].round.turns[turn])
        monkeypatch.setattr(AheadReader, "prepare", slowly)
        assert await room.go_on(classroom, 900, asked.is_set)
        class_round.do("pause")
        made.set()
        await classroom.background.done()
        await room.go_on(classroom, 60, lambda: False)
        assert len(room.front.sounds) == turn
        class_round.do("resume")
        assert await room.go_on(classroom, 900, lambda: class_round.phase == "over")
        assert len(room.front.sounds) == 2
        assert [a.verdict for a in live_answers(class_round)] == ["right"] * 4
        await settle(classroom)

    held(tmp_path, story, room.now)


def test_practice_on_ones_own(tmp_path: Path) -> None:
    async def story(classroom: Classroom) -> None:
        (asha,) = await make_pupils(classroom, "Asha")
        tablet = Tablet(classroom.roster.device_of(asha), [])
        tablet.open()
        tablet.ready()
        class_round = await classroom.conductor.practise(plan(count=1), asha)
        with pytest.raises(BadInput, match="already running"):
            await classroom.conductor.practise(plan(count=1), asha)
        tablet.answers = [remotes(class_round)[0].round.turns[0].sum.answer]
        await tablet.stream(20)
        tablet.say(t="command", run=tablet.run, name="pause")
        await tablet.stream(5)
        tablet.say(t="command", run=tablet.run, name="resume")
        tablet.voices.clear()
        tablet.answers = [remotes(class_round)[0].round.turns[0].sum.answer]
        assert await tablet.stream(400, until=lambda: not tablet.run)
        await settle(classroom)
        assert tablet.last("show")["practice"] is True
        assert [a.verdict for a in live_answers(class_round)] == ["right"]

    held(tmp_path, story)


def test_a_round_in_class_ends_practice(tmp_path: Path) -> None:
    async def story(classroom: Classroom) -> None:
        (asha,) = await make_pupils(classroom, "Asha")
        tablet = Tablet(classroom.roster.device_of(asha), [])
        tablet.open()
        tablet.ready()
        practice = await classroom.conductor.practise(plan(count=1), asha)
        await tablet.stream(20)
        await classroom.conductor.start(plan(count=1), [asha])
        await tablet.stream(5)
        assert practice.phase == "over"
        assert tablet.run
        with pytest.raises(BadInput, match="your class is having a lesson"):
            await classroom.conductor.practise(plan(count=1), asha)

    held(tmp_path, story)


def test_a_pause_between_two_sums_can_be_ended(tmp_path: Path) -> None:
    async def story(classroom: Classroom) -> None:
        (asha,) = await make_pupils(classroom, "Asha")
        tablet = Tablet(classroom.roster.device_of(asha), [])
        tablet.open()
        tablet.ready()
        await classroom.conductor.practise(plan(count=2), asha)
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


def test_practice_that_ends_late_does_not_end_the_round_after_it(tmp_path: Path) -> None:
    pool = InlineExecutor()

    async def story(classroom: Classroom) -> None:
        (asha,) = await make_pupils(classroom, "Asha")
        tablet = Tablet(classroom.roster.device_of(asha), [])
        tablet.open()
        tablet.ready()
        practice = await classroom.conductor.practise(plan(count=1), asha)
        await tablet.stream(20)
        pool.busy = True
        class_round = await classroom.conductor.start(plan(count=1), [asha])
        waiting, pool.waiting, pool.busy = pool.waiting, [], False
        tablet.answers = [remotes(class_round)[0].round.turns[0].sum.answer]
        await tablet.stream(5)
        assert practice.phase == "running"  # its file is still being packed
        for work in waiting:
            work()
        assert await tablet.stream(400, until=lambda: class_round.phase == "over")
        assert practice.phase == "over"
        assert [a.verdict for a in live_answers(class_round)] == ["right"]
        await settle(classroom)

    held(tmp_path, story, pool=pool)


def test_two_windows_of_a_pupil_begin_one_practice(tmp_path: Path) -> None:
    async def story(classroom: Classroom) -> None:
        (asha,) = await make_pupils(classroom, "Asha")
        tablet = Tablet(classroom.roster.device_of(asha), [])
        tablet.open()
        tablet.ready()
        both = await asyncio.gather(
            classroom.conductor.practise(plan(count=1), asha),
            classroom.conductor.practise(plan(count=1), asha),
            return_exceptions=True,
        )
        assert [type(one) for one in both] == [ClassRound, BadInput]

    held(tmp_path, story)


def test_the_wall_shows_no_answer_until_asked(tmp_path: Path) -> None:
    async def story(classroom: Classroom) -> None:
        front = Tablet(classroom.roster.front, [])
        front.open()
        front.ready()
        await make_pupils(classroom, "Asha")
        classroom.plan = plan(Way.FRONT, count=1)
        class_round = await classroom.begin()
        await front.stream(80)
        wall = wall_round(class_round)
        assert wall.who == "Asha"
        assert wall.terms == 2
        assert not {"sum", "answer"} & set(msgspec.to_builtins(wall))
        class_round.revealed = True
        terms = remotes(class_round)[0].round.turns[0].sum
        assert wall_round(class_round).answer == terms.answer

    held(tmp_path, story)


def test_a_number_that_is_taken_back_is_shown_and_heard_with_the_one_that_stands(
    tmp_path: Path,
) -> None:
    async def story(classroom: Classroom) -> None:
        class_round, (asha,) = await begin_own(classroom, [None], count=1)
        assert await asha.stream(400, until=lambda: "speak" in asha.phases())
        right = remotes(class_round)[0].round.turns[0].sum.answer
        at = asha.next * BLOCK + SESSION_RATE // 2
        asha.speak(right + 1, at)
        asha.speak(right, at + round(0.8 * SESSION_RATE))
        assert await asha.stream(400, until=lambda: not asha.run)
        await settle(classroom)
        (answer,) = live_answers(class_round)
        assert (answer.value, answer.verdict, answer.words) == (right, "right", str(right))
        # both numbers, what is between them, and 0.4 s before
        voice = remotes(class_round)[0].voice(0)
        assert voice is not None
        assert len(voice) == pytest.approx(1.6 * SESSION_RATE, abs=2 * BLOCK)

    held(tmp_path, story)
