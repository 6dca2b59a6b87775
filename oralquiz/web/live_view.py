"""A class round as the watching pages show it."""

from __future__ import annotations

from collections.abc import Mapping

from msgspec import UNSET

from oralquiz.listen import readable
from oralquiz.replay import written
from oralquiz.rounds import Answered, Stage, Way
from oralquiz.web.class_round import ClassRound
from oralquiz.web.live_messages import ClassRoundView, JudgedAnswer, LiveRow, WallRound
from oralquiz.web.participant import Participant, counts_of

PHASES = {
    Stage.WAITING: "waiting",
    Stage.READING: "listen",
    Stage.ANSWERING: "speak",
    Stage.ASKED_AGAIN: "again",
    Stage.ENDED: "done",
    Stage.PAUSED: "paused",
    Stage.OVER: "over",
}
"""What the pages call the stages of a round."""


def live_rows(class_round: ClassRound) -> dict[str, LiveRow]:
    """Where each pupil is."""
    return {pupil: _row(pupil, participant) for pupil, participant in class_round.by_pupil.items()}


def _row(pupil: str, participant: Participant) -> LiveRow:
    progress, turns = participant.progress, participant.round.turns
    turn = participant.last_turn(pupil)
    present = turn == progress.turn and turn >= 0
    now = progress.now if present else participant.judged.get(turn)
    heard = progress.heard if present else None
    terms = turns[turn].sum.terms if turn >= 0 else ()
    words = readable(heard.words) if heard else _words(now)
    mine = [a for a in participant.judged.values() if a.pupil == pupil]
    return LiveRow(
        pupil=pupil,
        online=participant.device.online,
        phase="trouble" if participant.failed else PHASES[participant.stage(turn)],
        turn=turn,
        of=len(turns),
        terms=terms,
        term=progress.term if present else len(terms) - 1,
        right_value=sum(terms) if terms else None,
        heard=words,
        value=now.value if now else None,
        verdict=(now.verdict or "") if now else "",
        latency_s=now.latency_s if now else None,
        counts=counts_of(mine),
    )


def _words(answered: Answered | None) -> str:
    return readable(answered.attempts[-1].words) if answered and answered.attempts else ""


def live_answers(class_round: ClassRound) -> list[JudgedAnswer]:
    """The judged turns in the order in which they came."""
    return [
        _answer(number, participant, participant.judged[turn])
        for number, (participant, turn) in enumerate(class_round.judged)
    ]


def _answer(number: int, participant: Participant, answered: Answered) -> JudgedAnswer:
    return JudgedAnswer(
        number=number,
        key=participant.key,
        turn=answered.index,
        pupil=answered.pupil,
        sum=written(answered.sum.terms),
        right_value=answered.sum.answer,
        value=answered.value,
        words=_words(answered),
        verdict=answered.verdict or "",
        latency_s=answered.latency_s,
        typed=answered.typed,
        sound=participant.remote.heard(answered.index) and not answered.typed,
        corrected=bool(answered.corrections),
    )


def live_round(class_round: ClassRound) -> ClassRoundView:
    """The whole class round for the teacher's page."""
    return ClassRoundView(
        key=class_round.key,
        title=class_round.title,
        way=class_round.plan.way,
        phase=class_round.phase,
        trouble=class_round.trouble,
        revealed=class_round.revealed,
        rows=list(live_rows(class_round).values()),
        answers=live_answers(class_round),
    )


def wall_round(class_round: ClassRound) -> WallRound:
    """What a projector may show of it: the pupil who is farthest leads."""
    rows = live_rows(class_round)
    lead = max((r for r in rows.values() if r.turn >= 0), key=lambda r: r.turn, default=None)
    revealed = class_round.revealed and class_round.plan.way is not Way.OWN
    return WallRound(
        title=class_round.title,
        phase=class_round.phase,
        way=class_round.plan.way,
        of=lead.of if lead else 0,
        turn=lead.turn if lead else -1,
        term=lead.term if lead else -1,
        terms=len(lead.terms) if lead else 0,
        state=lead.phase if lead else "waiting",
        who=lead.pupil if lead and class_round.plan.way is Way.FRONT else "",
        pupils=len(rows),
        answered=_answered(rows),
        revealed=class_round.revealed,
        sum=written(lead.terms) if lead and revealed else UNSET,
        answer=sum(lead.terms) if lead and revealed else UNSET,
    )


def _answered(rows: Mapping[str, LiveRow]) -> int:
    return sum(row.phase in ("done", "over") for row in rows.values())
