"""The processes that the campaign of kills kills: each holds a round and reports every answer."""

from __future__ import annotations

import asyncio
from multiprocessing.connection import Connection
from pathlib import Path

import numpy as np

from oralquiz.audio.virtual_room import VirtualRoom
from oralquiz.rounds import Event, Options, SumEnded
from oralquiz.rounds.runner import Runner
from oralquiz.session.file import header
from oralquiz.session.recorder import FileRecorder
from tests.session.room import Answers, PulseReader, PulseRecognizer, make_round
from tests.web.room import Tablet, make_classroom, make_pupils, plan

SUMS = 4
PUPILS = ("Ashavari", "Benedictus")


def record(tell: Connection, folder: Path) -> None:
    """Hold a round, and report every turn that has ended."""
    round_ = make_round(*["1 + 2"] * SUMS)
    options = Options(pace_s=1.0, answer_within_s=3.0)
    room = VirtualRoom(np.random.default_rng(1))
    answers = Answers(room, [3, 8, None, 3])
    head = header(round_, options, voice="p", model="p", software="t")
    recorder = FileRecorder(folder / "sessions" / "s", head)

    def watch(at: int, event: Event) -> None:
        answers.watch(at, event)
        if isinstance(event, SumEnded):
            tell.send(event.turn)

    Runner(round_, PulseReader(), room, PulseRecognizer(), recorder, options, watch).run(room)
    tell.send("over")
    recorder.finish()
    tell.send("packed")


def serve(tell: Connection, folder: Path) -> None:
    """Hold a round on two tablets, and report every verdict that the teacher's page shows."""
    asyncio.run(_serve(tell, folder))


async def _serve(tell: Connection, folder: Path) -> None:
    classroom = make_classroom(folder)
    tablets = []
    everyone = await make_pupils(classroom, *PUPILS)
    for pupil in everyone:
        tablets.append(Tablet(classroom.roster.device_of(pupil), []))
        tablets[-1].open()
        tablets[-1].ready()
    held = await classroom.conductor.start(plan(count=SUMS), everyone)
    for tablet, one in zip(tablets, held.participants.values(), strict=True):
        tablet.answers = [turn.sum.answer for turn in one.round.turns]
    shown = 0
    while held.phase != "over":
        for tablet in tablets:
            await tablet.stream(1)
        for participant, turn in held.judged[shown:]:
            found = participant.judged[turn]
            tell.send((found.pupil, turn, str(found.verdict), found.value))
        shown = len(held.judged)
    await classroom.background.done()
    await classroom.close()
