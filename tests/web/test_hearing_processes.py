"""Rounds heard in processes of their own: they end as elsewhere, and lose nothing when one dies."""

from __future__ import annotations

import asyncio
import io
import os
import signal
import sys
import time
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from pathlib import Path

import pytest

from oralquiz.errors import OralquizError
from oralquiz.session import leftovers, open_session
from oralquiz.sound import SESSION_RATE
from oralquiz.web import hearing_helper
from oralquiz.web.class_round import ClassRound
from oralquiz.web.classroom import Classroom
from oralquiz.web.hearing_frames import NO_ROUND, Begin, frame
from oralquiz.web.hearing_processes import HearingProcesses
from tests.session.room import PulseRecognizer
from tests.web.room import Tablet, make_classroom, make_pupils, plan

pytestmark = pytest.mark.slow

NAMES = ("Asha", "Ben")


@asynccontextmanager
async def class_of_two(
    folder: Path, *, idle_s: float = 10.0
) -> AsyncIterator[tuple[Classroom, HearingProcesses, list[Tablet]]]:
    """Two tablets, and nothing begun yet."""
    hearing = HearingProcesses(PulseRecognizer, 1, idle_s)
    classroom = make_classroom(folder, hearing=hearing, now=time.monotonic)
    tablets = []
    for pupil in await make_pupils(classroom, *NAMES):
        device = classroom.roster.device_of(pupil)
        tablets.append(Tablet(device, [], mic=False))  # so that no echo is looked for
        tablets[-1].punctual = False  # it sends faster than time goes by
        tablets[-1].open()
        tablets[-1].ready()
    try:
        yield classroom, hearing, tablets
    finally:
        await classroom.close()


async def begun(classroom: Classroom, tablets: list[Tablet], count: int = 2) -> ClassRound:
    """A round in which the tablets say the answer of the first sum again and again."""
    pupils = [await classroom.pupil(number) for number in (1, 2)]
    held = await classroom.conductor.start(plan(count=count), [one for one in pupils if one])
    for tablet, one in zip(tablets, held.participants.values(), strict=True):
        for at in range(0, 60 * SESSION_RATE, SESSION_RATE):
            tablet.speak(one.round.turns[0].sum.answer, at)
    return held


async def streamed(tablets: list[Tablet], until: Callable[[], bool]) -> None:
    """Send what the microphones hear, as fast as it is taken, up to the first answer."""
    while not until():
        for tablet in tablets:
            if tablet.next < 600:
                await tablet.stream(5)
            await tablet.listen()
        await asyncio.sleep(0.002)


def told(folder: Path, story: Callable[[Path], Awaitable[None]]) -> None:
    asyncio.run(asyncio.wait_for(story(folder), 300))  # a hang must end, a busy machine may not


def test_a_class_round_is_heard_in_another_process(tmp_path: Path) -> None:
    async def story(folder: Path) -> None:
        (folder / "sessions").write_text("in the way")
        async with class_of_two(folder, idle_s=0.05) as (classroom, hearing, tablets):
            with pytest.raises(OralquizError, match="cannot be kept there"):
                await begun(classroom, tablets)
            (folder / "sessions").unlink()
            held = await begun(classroom, tablets, count=1)
            await streamed(tablets, lambda: held.phase == "over")
            await classroom.background.done()
            assert [p.judged[turn].verdict for p, turn in held.judged] == ["right", "right"]
            for one in held.participants.values():
                voice = one.remote.voice(0)
                assert voice is not None and abs(voice).max() > 0.01
                assert one.remote.file is not None
                assert open_session(one.remote.file).why_ended == "finished"
            assert len(list((folder / "sessions").iterdir())) == 2
            while hearing.pids:  # they end with their rounds
                await asyncio.sleep(0.002)

    told(tmp_path, story)


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no such signal")
def test_a_process_that_dies_or_is_left_alone_loses_no_answer(tmp_path: Path) -> None:
    async def story(folder: Path) -> None:
        async with class_of_two(folder) as (classroom, hearing, tablets):
            held = await begun(classroom, tablets)
            await streamed(tablets, lambda: len(held.judged) >= 2)
            shown = {(p.round.turns[turn].pupil, turn) for p, turn in held.judged}
            for pid in hearing.pids:
                os.kill(pid, signal.SIGKILL)
            await held.ended.wait()
            await classroom.background.done()
            assert "ended unexpectedly" in held.trouble and "\n" not in held.trouble
            assert {tablet.phases()[-1] for tablet in await listened(tablets)} == {"trouble"}
            assert leftovers(folder / "sessions") == []
            rows = await classroom.records.do(
                lambda db: list(
                    db.query(
                        "select name, turn, verdict from sums join pupils on pupils.id = pupil_id"
                    )
                )
            )
            assert shown <= {(row["name"], row["turn"]) for row in rows}
            again = await begun(classroom, tablets)  # with a new process
            await streamed(tablets, lambda: len(again.judged) >= 1)
            pids = hearing.pids
            await hearing.close()  # as when the server is gone: their input ends
            for pid in pids:
                with pytest.raises(ProcessLookupError):
                    os.kill(pid, 0)
            await again.ended.wait()
            await classroom.background.done()
            assert leftovers(folder / "sessions") == []
            assert len(list((folder / "sessions").glob("*.zip"))) == 4

    told(tmp_path, story)


async def listened(tablets: list[Tablet]) -> list[Tablet]:
    for tablet in tablets:
        await tablet.listen()
    return tablets


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no such question")
def test_closing_waits_for_a_process_that_is_ending_already(tmp_path: Path) -> None:
    async def story(folder: Path) -> None:
        hearing = HearingProcesses(PulseRecognizer, 1, 0.0)  # it ends as soon as it has begun
        await hearing.at_once()
        (pid,) = hearing.pids
        while hearing.pids:
            await asyncio.sleep(0)
        await hearing.close()
        with pytest.raises(ProcessLookupError):
            os.kill(pid, 0)

    told(tmp_path, story)


def test_a_process_whose_server_died_meanwhile_ends_in_silence(
    monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    """Found by the campaign of kills: it was still loading the model, and then told nobody."""
    nobody, said = os.pipe()
    os.close(nobody)
    given = io.BytesIO(frame([(NO_ROUND, Begin(PulseRecognizer))]))
    with os.fdopen(said, "wb", buffering=0) as pipe:
        monkeypatch.setattr(hearing_helper, "own_pipes", lambda: (given, pipe))
        monkeypatch.setattr(signal, "signal", lambda *_: None)  # that would be for good
        hearing_helper.main()
    assert capfd.readouterr() == ("", "")


def no_recognizer() -> PulseRecognizer:
    raise OralquizError("there is no model here")


def test_a_process_that_cannot_hear_says_why(tmp_path: Path) -> None:
    async def story(folder: Path) -> None:
        hearing = HearingProcesses(no_recognizer, 1)
        with pytest.raises(OralquizError, match="there is no model here"):
            await hearing.at_once()
        await hearing.close()

    told(tmp_path, story)
