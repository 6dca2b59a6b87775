"""A round that is being held: who takes part, what the teacher commands, how it ends.

Everything here happens on the event loop; the rounds on the devices report from their threads.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Mapping
from datetime import UTC, datetime
from enum import StrEnum

from oralquiz.errors import BadInput
from oralquiz.judge import Verdict
from oralquiz.rounds import (
    AskedAgain,
    Command,
    Commanded,
    Corrected,
    Dictated,
    Event,
    RoundPlan,
    Stage,
    SumEnded,
    Way,
)
from oralquiz.solo import PracticeRound
from oralquiz.sound import Samples
from oralquiz.web.browser_device import BrowserDevice
from oralquiz.web.device_messages import ShowOver, ShowPhase, ToDevice
from oralquiz.web.inbox import TeacherVerdict
from oralquiz.web.participant import Participant, counts_of
from oralquiz.web.pupil_view import again_shown, answer_shown, turn_shown
from oralquiz.web.remote_round import RemoteRound
from oralquiz.web.reports import Failed, Finished, Happened, Reached, Report, VerdictTooLate
from oralquiz.web.room_barrier import RoomBarrier

TEACHER = "teacher"


class Phase(StrEnum):
    """Where a class round is as a whole."""

    PREPARING = "preparing"
    RUNNING = "running"
    PAUSED = "paused"
    OVER = "over"


class ClassRound:
    """``changed`` is called whenever there is something new to show, ``finished`` once for each
    participant whose round is over, ``too_late`` with a verdict of the teacher's that came while a
    participant's file was being finished. ``chosen``: the sums, where they were chosen for the one
    pupil who practises."""

    def __init__(
        self,
        key: str,
        plan: RoundPlan,
        title: str,
        *,
        practice: bool,
        changed: Callable[[], None],
        finished: Callable[[ClassRound, Participant], None],
        too_late: Callable[[ClassRound, Participant, TeacherVerdict], None],
        chosen: PracticeRound | None = None,
    ) -> None:
        self.key = key
        self.plan = plan
        self.title = title
        self.practice = practice
        self.chosen = chosen
        self.phase = Phase.PREPARING
        self.revealed = False
        self.trouble = ""
        self.participants: dict[str, Participant] = {}
        self.by_pupil: dict[str, Participant] = {}
        self.judged: list[tuple[Participant, int]] = []
        """Whose turn was judged, in the order in which it happened."""
        self.barrier: RoomBarrier | None = None
        self.ended = asyncio.Event()
        self._loop = asyncio.get_running_loop()
        self._changed = changed
        self._finished = finished
        self._too_late = too_late

    # --- starts -----------------------------------------------------------------------------

    def add(self, remote: RemoteRound, device: BrowserDevice) -> None:
        participant = Participant(remote, device)
        self.participants[remote.key] = participant
        self.by_pupil |= {turn.pupil: participant for turn in remote.round.turns}

    def begin(self, clips: Mapping[str, str | None]) -> None:
        """Begin on every device; ``clips`` has the name of the first sound of each round."""
        self.phase = Phase.RUNNING
        for key, participant in self.participants.items():
            participant.device.begin(participant.remote, clips.get(key))
        if self.barrier is not None:
            self.barrier.begin()
        self._changed()

    # --- the teacher ------------------------------------------------------------------------

    def do(self, name: str, pupil: str = "") -> None:
        """One of pause, resume, repeat, skip, stop; for one pupil or for all."""
        if pupil and pupil not in self.by_pupil:
            raise BadInput(f"{pupil} is not in this round")
        wanted = [self.by_pupil[pupil]] if pupil else list(self.participants.values())
        going = [one for one in wanted if not one.over]
        if name == "stop":
            self._stop(going, whole=not pupil)
        elif name in ("pause", "resume"):
            self._pause(name == "pause", going, whole=not pupil)
        elif name == "repeat" and self.barrier is not None:
            self.barrier.read_again()
        elif name in ("repeat", "skip"):
            for one in going:
                one.remote.command(Command(name))
        else:
            raise BadInput(f"there is no command {name[:20]}")
        self._changed()

    def _stop(self, going: list[Participant], whole: bool) -> None:
        for one in going:
            one.remote.stop("stopped")
        if self.barrier is not None and whole:
            self.barrier.hush()

    def _pause(self, on: bool, going: list[Participant], whole: bool) -> None:
        if whole:
            self.phase = Phase.PAUSED if on else Phase.RUNNING
        if self.barrier is None:
            for one in going:
                one.remote.command(Command("pause" if on else "resume"))
        elif on:
            self.barrier.pause(going)
        else:
            self.barrier.resume()

    def reveal(self, on: bool) -> None:
        """Show the answer on the projector, or hide it."""
        self.revealed = on
        self._changed()

    def verdict_on(self, number: int, verdict: str, value: int | None) -> TeacherVerdict:
        """The teacher's verdict, by ear, on answer ``number``. Raises BadInput if it cannot
        stand."""
        if not 0 <= number < len(self.judged):
            raise BadInput("there is no such answer")
        if verdict not in [v.value for v in Verdict]:
            raise BadInput("there is no such verdict")
        participant, turn = self.judged[number]
        answer = participant.round.turns[turn].sum.answer
        if value is not None and verdict == Verdict.SILENT.value:
            raise BadInput("an answer that was silent has no number")
        fits = (verdict == Verdict.RIGHT.value) == (value == answer)
        if value is not None and verdict != Verdict.UNCLEAR.value and not fits:
            raise BadInput(f"{value} cannot be {verdict}: the sum makes {answer}")
        when = datetime.now(UTC).isoformat(timespec="seconds")
        return TeacherVerdict(turn, Verdict(verdict), value, TEACHER, when)

    def corrected(self, participant: Participant, verdict: TeacherVerdict) -> None:
        """``verdict`` is in the participant's finished file: show it."""
        participant.correct(
            Corrected(verdict.turn, verdict.verdict, verdict.value, verdict.by, verdict.when)
        )
        self._changed()

    def voice(self, number: int) -> Samples | None:
        """The voice of answer ``number``, (n,) at SESSION_RATE; None when it was not kept."""
        if not 0 <= number < len(self.judged):
            return None
        participant, turn = self.judged[number]
        typed = participant.judged[turn].typed
        return None if typed else participant.remote.voice(turn)

    def forget_voices(self) -> None:
        """No page shows this round any more."""
        for participant in self.participants.values():
            participant.remote.forget_voices()

    # --- the room ---------------------------------------------------------------------------

    def device_changed(self) -> None:
        """A page came or went."""
        if self.barrier is not None:
            self.barrier.stirred()

    def in_trouble(self, why: str) -> None:
        """Say on the teacher's page what is wrong."""
        self.trouble = why
        self._changed()

    # --- what the participants' rounds report -----------------------------------------------

    def tell(self, device: BrowserDevice) -> Callable[[ToDevice], None]:
        """A way for a round's threads to send to its device."""
        return lambda message: self._soon(lambda: device.send(message))

    def report(self, remote: RemoteRound, report: Report) -> None:
        """Called from a round's thread."""
        self._soon(lambda: self._on_report(self.participants[remote.key], report))

    def _soon(self, call: Callable[[], None]) -> None:
        if not self._loop.is_closed():
            self._loop.call_soon_threadsafe(call)

    def _on_report(self, participant: Participant, report: Report) -> None:
        match report:
            case Happened(at, event):
                self._happened(participant, at, event)
            case Reached(at):
                self._reached(participant, at)
            case VerdictTooLate(verdict):
                self._too_late(self, participant, verdict)
            case Finished():
                self._end(participant)
            case Failed(why):
                participant.failed, self.trouble = True, why
                self._end(participant)
        self._changed()

    def _happened(self, participant: Participant, at: int, event: Event) -> None:
        turn = participant.apply(at, event)
        if turn is not None:
            self.judged.append((participant, turn))
        progress = participant.progress
        match event:
            case Dictated():
                participant.show(turn_shown("listen", participant))
            case AskedAgain():
                participant.show(again_shown(participant))
            case SumEnded():
                if self.chosen is not None:
                    self.chosen.tell(progress.now)
                participant.show(answer_shown(participant))
                if self.barrier is not None:
                    self.barrier.answered(participant.key)
            case Commanded(name="pause") if participant.stage(progress.turn) is Stage.PAUSED:
                participant.show(turn_shown("paused", participant))
            case _:
                pass

    def _reached(self, participant: Participant, at: int) -> None:
        before = participant.progress.stage
        participant.reached(at)
        if before is Stage.READING and participant.progress.stage is Stage.ANSWERING:
            participant.show(turn_shown("speak", participant))

    # --- ends -------------------------------------------------------------------------------

    def _end(self, participant: Participant) -> None:
        participant.over = True
        if participant.failed:
            participant.end(ShowPhase("trouble"))
        else:
            counts = counts_of(participant.judged.values())
            participant.outcome = ShowOver(counts, self.practice)
            participant.end(participant.outcome)
        if all(one.over for one in self.participants.values()):
            self._over()
        elif self.barrier is not None:
            self.barrier.stirred()
        self._finished(self, participant)

    def _over(self) -> None:
        self.phase = Phase.OVER
        if self.barrier is not None:
            self.barrier.end()
        if self.practice:  # nobody but the pupil sees it
            self.forget_voices()
        self.ended.set()

    def saved(self, participant: Participant, round_id: str) -> None:
        """It is in the records as ``round_id``: the pupil may look at what went wrong, in the visit
        in which it was held."""
        wrong = any(one.verdict is not Verdict.RIGHT for one in participant.judged.values())
        outcome, device = participant.outcome, participant.device
        if device.visit != participant.visit:
            return
        device.held.add(round_id)
        if self.plan.way is not Way.FRONT and wrong and outcome and device.showing == "over":
            device.show(ShowOver(outcome.counts, outcome.practice, round_id))
