"""A round that is being held: its runs, what each pupil is at, what the teacher can do.

Everything here happens on the event loop; runs report through ``fact`` from their threads.
"""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any

from oralquiz.errors import BadInput
from oralquiz.judge import Verdict
from oralquiz.listen import readable
from oralquiz.replay import written
from oralquiz.rounds import (
    Answered,
    AskedAgain,
    Command,
    Commanded,
    Corrected,
    Dictated,
    Event,
    Heard,
    Progress,
    Stage,
    SumEnded,
)
from oralquiz.sound import Samples
from oralquiz.web.device import Device
from oralquiz.web.page_clips import AheadReader
from oralquiz.web.planning import Plan, Way
from oralquiz.web.remote_round import CorrectedLate, Fact, Failed, Over, Reached, RemoteRound
from oralquiz.web.room_reader import RoomReader

TEACHER = "teacher"
ROOM_LEAD_S = 0.8
"""Seconds of calm before the room hears the next sum, once the last pupil is done."""

ALL_THERE_S = 10.0
"""Seconds that the room waits for every tablet's stream to begin."""


PHASES = {
    Stage.WAITING: "waiting",
    Stage.READING: "listen",
    Stage.ANSWERING: "speak",
    Stage.ASKED_AGAIN: "again",
    Stage.ENDED: "done",
    Stage.PAUSED: "paused",
    Stage.OVER: "over",
}
"""What the pages call each stage of a round."""


@dataclass
class Row:
    """Where one pupil is, for the teacher's eyes."""

    pupil: str
    key: str
    phase: str = "waiting"
    turn: int = -1
    of: int = 0
    term: int = -1
    heard: str = ""
    value: int | None = None
    verdict: str = ""
    latency_s: float | None = None
    counts: dict[str, int] = field(default_factory=lambda: {v.value: 0 for v in Verdict})


@dataclass
class Answer:
    """One judged turn. ``number`` counts the answers of the lesson as they come in."""

    number: int
    key: str
    turn: int
    pupil: str
    sum: str
    right_value: int
    value: int | None
    words: str
    verdict: str
    latency_s: float | None
    typed: bool
    sound: bool
    corrected: bool = False

    def count(self, answered: Answered) -> None:
        """Show the verdict that counts."""
        self.value, self.verdict = answered.value, str(answered.verdict)
        self.corrected = bool(answered.corrections)


@dataclass
class _Part:
    """A run with its device, and how far it is."""

    run: RemoteRound
    device: Device
    progress: Progress
    over: bool = False
    trouble: str = ""
    summary: dict[str, Any] = field(default_factory=dict)

    def show(self, phase: str, **what: Any) -> None:
        """Have the device's page show ``phase``, unless another round has begun on it."""
        if self.device.run is self.run:
            self.device.show(phase, **what)

    def end(self, phase: str, **what: Any) -> None:
        """The run is over: its device stops to stream and shows ``phase``."""
        if self.device.run is self.run:
            self.device.end()
            self.device.show(phase, **what)


class ClassRound:
    """``changed`` is called whenever something for the eyes is new, ``run_over`` once for each run,
    ``corrected_late`` with a correction that came while a run's file was being finished."""

    def __init__(
        self,
        key: str,
        plan: Plan,
        title: str,
        practice: bool,
        changed: Callable[[], None],
        run_over: Callable[[ClassRound, RemoteRound], None],
        corrected_late: Callable[[ClassRound, RemoteRound, Corrected], None],
    ) -> None:
        self.key = key
        self.plan = plan
        self.title = title
        self.practice = practice
        self.phase = "preparing"
        self.revealed = False
        self.trouble = ""
        self.answers: list[Answer] = []
        self.rows: dict[str, Row] = {}
        self.begun_s = time.monotonic()
        self._loop = asyncio.get_running_loop()
        self._changed = changed
        self._run_over = run_over
        self._corrected_late = corrected_late
        self._parts: dict[str, _Part] = {}
        self._aloud: RoomReader | None = None
        self._front: Device | None = None
        self._reader: AheadReader | None = None
        self._room_turn = -1
        self._room_ended: set[str] = set()

    # --- putting it together ----------------------------------------------------------------

    def add(self, run: RemoteRound, device: Device) -> None:
        self._parts[run.key] = _Part(run, device, Progress(run.round))
        for turn in run.round.turns:
            row = self.rows.setdefault(turn.pupil, Row(turn.pupil, run.key))
            row.of += 1

    def read_by(self, aloud: RoomReader, front: Device, reader: AheadReader) -> None:
        """The computer at the front reads the sums of this lesson to the room."""
        self._aloud, self._front, self._reader = aloud, front, reader

    def begin(self, clips: Mapping[str, str]) -> None:
        """Every device begins; ``clips`` has the name of the first sound of each run."""
        self.phase = "running"
        for part in self._parts.values():
            part.device.begin(part.run, clips.get(part.run.key))
        if self._aloud is not None and self._front is not None:
            self._front.begin(self._aloud, None)
            self._loop.create_task(self._start_room())
        self._changed()

    @property
    def runs(self) -> list[RemoteRound]:
        return [part.run for part in self._parts.values()]

    def run(self, key: str) -> RemoteRound:
        return self._parts[key].run

    def saved(self, run: RemoteRound, round_id: str) -> None:
        """``run`` is in the records as ``round_id``: its pupil may look at what went wrong."""
        part = self._parts[run.key]
        wrong = any(a.key == run.key and a.verdict != "right" for a in self.answers)
        if self.plan.way is not Way.FRONT and wrong and part.device.showing == "over":
            part.device.show("over", **part.summary, replay=round_id)

    @property
    def pupils(self) -> list[str]:
        return list(self.rows)

    def part_of(self, pupil: str) -> RemoteRound | None:
        row = self.rows.get(pupil)
        return self._parts[row.key].run if row else None

    # --- the room ---------------------------------------------------------------------------

    async def _start_room(self) -> None:
        assert self._aloud is not None
        until = time.monotonic() + ALL_THERE_S
        while time.monotonic() < until:
            runs = [part.run for part in self._parts.values() if part.device.online]
            if self._aloud.clock.running and runs and all(r.clock.running for r in runs):
                break
            await asyncio.sleep(0.05)
        if not self._aloud.clock.running:
            self.trouble = "The sound of this computer did not start: press “Sound on” and go on."
            self._changed()
            return
        self._room_turn, self._room_ended = 0, set()
        await self._read(0)

    async def _read(self, turn: int, again: bool = False) -> None:
        """Read the sum of ``turn`` to the room."""
        aloud, reader = self._aloud, self._reader
        if aloud is None or reader is None or self.phase != "running":
            return
        runs = [part.run for part in self._parts.values() if not part.over]
        if not runs or turn >= len(runs[0].round.turns):
            return
        dictation = await asyncio.to_thread(reader.prepare, runs[0].round.turns[turn])
        if self.phase != "running" or not aloud.clock.running:
            return  # paused meanwhile: going on reads it
        lead = max(aloud.ahead_s, runs[0].options.gap_s + ROOM_LEAD_S)
        at_s = time.monotonic() + lead
        aloud.read(dictation, turn, at_s)
        for run in runs:
            if again:
                run.read_again(turn, at_s)
            else:
                run.go(turn, at_s)

    def read_again(self) -> None:
        """The sum of the room from its start: it was not heard, or could not start on time."""
        if self._aloud is not None and self.phase == "running":
            self._aloud.hush()
            self._loop.create_task(self._read(max(0, self._room_turn), again=self._room_turn >= 0))

    def _room_next(self) -> None:
        waited_for = {
            key
            for key, part in self._parts.items()
            if not part.over and (part.device.online or key in self._room_ended)
        }
        if self._aloud is not None and waited_for and waited_for <= self._room_ended:
            self._room_turn += 1
            self._room_ended = set()
            self._loop.create_task(self._read(self._room_turn))

    def device_changed(self) -> None:
        """A page came or went: the room no longer waits for one that is gone."""
        if self._aloud is not None and self.phase == "running" and self._room_turn >= 0:
            self._room_next()

    # --- the teacher ------------------------------------------------------------------------

    def do(self, name: str, pupil: str = "") -> None:
        """One of pause, resume, repeat, skip, stop; for one pupil or for all."""
        keys = [self.rows[pupil].key] if pupil in self.rows else list(self._parts)
        if pupil and pupil not in self.rows:
            raise BadInput(f"{pupil} is not in this round")
        parts = [self._parts[key] for key in keys if not self._parts[key].over]
        if name == "stop":
            for part in parts:
                part.run.stop("stopped")
            if self._aloud is not None and not pupil:
                self._aloud.hush()
        elif name in ("pause", "resume"):
            self._pause(name == "pause", parts, whole=not pupil)
        elif name == "repeat" and self._aloud is not None:
            self.read_again()
        elif name in ("repeat", "skip"):
            for part in parts:
                part.run.command(Command(name))
        else:
            raise BadInput(f"there is nothing called {name[:20]} to do")
        self._changed()

    def _pause(self, on: bool, parts: list[_Part], whole: bool) -> None:
        if whole:
            self.phase = "paused" if on else "running"
        if self._aloud is not None:
            if on:
                self._aloud.hush()
                for part in parts:
                    if part.run.key not in self._room_ended:
                        part.run.command(Command("pause"))
            elif self._room_turn < 0:
                self._loop.create_task(self._start_room())
            elif {p.run.key for p in parts} <= self._room_ended:
                self._room_next()
            else:
                self.read_again()
            return
        for part in parts:
            part.run.command(Command("pause" if on else "resume"))

    def correct(self, answer: Answer, verdict: str, value: int | None) -> None:
        """The teacher's ear on ``answer``, in its run and for the eyes."""
        run = self._parts[answer.key].run
        when = datetime.now(UTC).isoformat(timespec="seconds")
        run.correct(answer.turn, verdict, value, by=TEACHER, when=when)
        self.apply(answer, verdict, value, when)

    def answer(self, number: int, verdict: str, value: int | None) -> Answer:
        """Answer ``number``, to be called ``verdict``. Raises BadInput when it cannot be."""
        if not 0 <= number < len(self.answers):
            raise BadInput("there is no such answer")
        if verdict not in [v.value for v in Verdict]:
            raise BadInput("there is no such verdict")
        answer = self.answers[number]
        if value is not None and verdict == Verdict.SILENT.value:
            raise BadInput("an answer that was silent has no number")
        fits = (verdict == Verdict.RIGHT.value) == (value == answer.right_value)
        if value is not None and verdict != Verdict.UNCLEAR.value and not fits:
            raise BadInput(f"{value} cannot be {verdict}: the sum makes {answer.right_value}")
        return answer

    def apply(self, answer: Answer, verdict: str, value: int | None, when: str = "") -> None:
        """Show ``answer`` as the teacher's ear has it."""
        part, row = self._parts[answer.key], self.rows[answer.pupil]
        part.progress.correct(Corrected(answer.turn, Verdict(verdict), value, TEACHER, when))
        answered = part.progress.answered(answer.turn)
        assert answered is not None
        row.counts[answer.verdict] -= 1
        answer.count(answered)
        row.counts[answer.verdict] += 1
        if row.turn == answer.turn and row.key == answer.key:
            row.verdict, row.value = answer.verdict, answer.value
        self._changed()

    def sound_of(self, number: int) -> Samples | None:
        """The voice of answer ``number``, (n,) at SESSION_RATE; None when it was not kept."""
        if not 0 <= number < len(self.answers):
            return None
        answer = self.answers[number]
        return self._parts[answer.key].run.sounds.get(answer.turn) if answer.sound else None

    # --- what the runs report ---------------------------------------------------------------

    def tell(self, device: Device) -> Callable[[dict[str, Any]], None]:
        """A way for a run's threads to send to its device."""
        return lambda message: self._soon(device.send, message)

    def fact(self, run: RemoteRound, fact: Fact) -> None:
        """Called from a run's thread."""
        self._soon(self._on_fact, run, fact)

    def _soon(self, call: Callable[..., None], *what: Any) -> None:
        if not self._loop.is_closed():
            self._loop.call_soon_threadsafe(call, *what)

    def _on_fact(self, run: RemoteRound, fact: Fact) -> None:
        part = self._parts[run.key]
        at, what = fact
        if isinstance(what, Over | Failed):
            self._end(part, what)
        elif isinstance(what, CorrectedLate):
            self._corrected_late(self, run, what.corrected)
        elif not isinstance(what, Corrected):  # which was shown when the teacher made it
            self._follow(part, at, what)
        self._changed()

    def _follow(self, part: _Part, at: int, what: Event | Reached) -> None:
        """Show how far a run is: to the teacher, and to whoever sits before its device."""
        if isinstance(what, Reached):
            part.progress.reached(at)
        else:
            part.progress.apply(at, what)
        now, stage = part.progress.now, part.progress.stage
        if now is None or stage is Stage.OVER:
            return
        row = self.rows[now.pupil]
        self._fill(row, part, now)
        place = {"turn": now.index, "of": len(part.run.round.turns), "who": now.pupil}
        if isinstance(what, Dictated):
            part.show("listen", **place)
        elif isinstance(what, Reached) and stage is Stage.ANSWERING:
            part.show("speak", **place)
        elif isinstance(what, AskedAgain):
            part.show("again", **place, heard=_kindly(row.heard, row.value))
        elif isinstance(what, SumEnded):
            self._turn_ended(part, row, now, place)
        elif isinstance(what, Commanded) and what.name == "pause" and row.phase == "paused":
            part.show("paused", **place)

    def _fill(self, row: Row, part: _Part, now: Answered) -> None:
        progress = part.progress
        row.turn, row.key, row.term = now.index, part.run.key, progress.term
        waits = part.run.room and now.ended  # for the others
        row.phase = "done" if waits else PHASES[progress.stage]
        row.heard = _words(progress.heard)
        row.value, row.verdict, row.latency_s = now.value, str(now.verdict or ""), now.latency_s

    def _turn_ended(self, part: _Part, row: Row, now: Answered, place: dict[str, Any]) -> None:
        if now.verdict is None:
            part.show("answer", **place, verdict="skipped", value=None)
        else:
            typed = now.attempts[-1].typed
            row.counts[now.verdict] += 1
            self.answers.append(
                Answer(
                    len(self.answers),
                    part.run.key,
                    now.index,
                    now.pupil,
                    written(now.sum.terms),
                    now.sum.answer,
                    now.value,
                    readable(now.attempts[-1].words),
                    now.verdict,
                    now.latency_s,
                    typed,
                    now.index in part.run.sounds and not typed,
                )
            )
            part.show("answer", **place, verdict=str(now.verdict), value=now.value, typed=typed)
        self._room_ended.add(part.run.key)
        if self._aloud is not None and self.phase == "running":
            self._room_next()

    def _end(self, part: _Part, how: Over | Failed) -> None:
        part.over = True
        if isinstance(how, Failed):
            part.trouble = self.trouble = how.why
        pupils = {turn.pupil for turn in part.run.round.turns}
        counts = {
            v.value: sum(self.rows[pupil].counts[v.value] for pupil in pupils) for v in Verdict
        }
        for pupil in pupils:
            self.rows[pupil].phase = "trouble" if part.trouble else "over"
        if part.trouble:
            part.end("trouble")
        else:
            part.summary = {"counts": counts, "practice": self.practice}
            part.end("over", **part.summary)
        if all(p.over for p in self._parts.values()):
            self.phase = "over"
            if self._front is not None:
                self._front.end()
                self._front.show("waiting")
        elif self._aloud is not None and self.phase == "running":
            self._room_next()
        self._run_over(self, part.run)

    # --- for the eyes -----------------------------------------------------------------------

    def snapshot(self) -> dict[str, Any]:
        """The whole lesson as the teacher's page shows it."""
        rows = []
        for row in self.rows.values():
            part = self._parts[row.key]
            turns = part.run.round.turns
            terms = turns[row.turn].sum.terms if row.turn >= 0 else ()
            rows.append(
                {
                    "pupil": row.pupil,
                    "online": part.device.online,
                    "phase": row.phase,
                    "turn": row.turn,
                    "of": len(turns),
                    "terms": list(terms),
                    "term": row.term,
                    "right_value": sum(terms) if terms else None,
                    "heard": row.heard,
                    "value": row.value,
                    "verdict": row.verdict,
                    "latency_s": row.latency_s,
                    "counts": row.counts,
                }
            )
        return {
            "key": self.key,
            "title": self.title,
            "way": self.plan.way.value,
            "phase": self.phase,
            "trouble": self.trouble,
            "revealed": self.revealed,
            "rows": rows,
            "answers": [vars(answer) for answer in self.answers],
        }

    def for_the_wall(self) -> dict[str, Any]:
        """What a projector may show: no answer, no verdict, no name until it is asked for."""
        rows = list(self.rows.values())
        busy = [row for row in rows if row.turn >= 0]
        lead = max(busy, key=lambda row: row.turn, default=None)
        turns = self._parts[lead.key].run.round.turns if lead else ()
        wall: dict[str, Any] = {
            "title": self.title,
            "phase": self.phase,
            "way": self.plan.way.value,
            "of": len(turns),
            "turn": lead.turn if lead else -1,
            "term": lead.term if lead else -1,
            "terms": len(turns[lead.turn].sum.terms) if lead else 0,
            "state": lead.phase if lead else "waiting",
            "who": lead.pupil if lead and self.plan.way is Way.FRONT else "",
            "pupils": len(rows),
            "answered": sum(row.phase in ("done", "over") for row in rows),
            "revealed": self.revealed,
        }
        if self.revealed and lead is not None and self.plan.way is not Way.OWN:
            terms = turns[lead.turn].sum.terms
            wall["sum"], wall["answer"] = written(terms), sum(terms)
        return wall


def _words(heard: Heard | None) -> str:
    """What was heard last and stands."""
    return readable(heard.words) if heard is not None else ""


def _kindly(words: str, value: int | None) -> str:
    """What was heard, for the pupil's page: a number if there was one, else nothing."""
    return "" if value is None or not words else str(value)
