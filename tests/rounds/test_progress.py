from __future__ import annotations

from oralquiz.judge.verdict import Verdict
from oralquiz.rounds.events import (
    AskedAgain,
    Commanded,
    Corrected,
    Dictated,
    Event,
    Guess,
    Heard,
    Judged,
    RoundBegun,
    RoundEnded,
    SumBegun,
    SumEnded,
    TermTime,
)
from oralquiz.rounds.progress import Progress, Stage
from tests.session.room import make_round

BEGUN = SumBegun(0, "Asha", (1, 2))
DICTATED = Dictated(0, 100, 300, 1.0, (TermTime("1", 110, 150), TermTime("2", 210, 250)))


def heard(value: int | None, *, attempt: int = 0, onset: int | None = 400) -> Heard:
    guesses = () if value is None else (Guess(value, str(value), 0.9),)
    words = "" if onset is None else "[unk]" if value is None else str(value)
    offset = None if onset is None else onset + 10
    return Heard(0, attempt, words, guesses, onset, offset, early=onset is not None and onset < 250)


def judged(verdict: Verdict, value: int | None, latency_s: float | None = 0.5) -> Judged:
    return Judged(0, 0, verdict, value, latency_s)


def told(*events: Event) -> Progress:
    progress = Progress(make_round("1 + 2", "4 + 4"))
    for at, event in enumerate((BEGUN, DICTATED, *events)):
        progress.apply(at, event)
    return progress


def test_a_round_goes_from_stage_to_stage() -> None:
    progress = Progress(make_round("1 + 2"))
    assert (progress.stage, progress.turn, progress.now) == (Stage.WAITING, -1, None)
    seen = []
    for at, event in [
        (0, RoundBegun("test", 1)),
        (0, BEGUN),
        (0, DICTATED),
        (300, Commanded("pause", 0)),
        (310, Commanded("resume", 0)),
        (310, DICTATED),
        (420, heard(None)),
        (420, judged(Verdict.UNCLEAR, None)),
        (420, AskedAgain(0, 1, 420, 500)),
        (600, heard(3, attempt=1, onset=550)),
        (600, judged(Verdict.RIGHT, 3, None)),
        (600, SumEnded(0)),
        (610, Commanded("pause", 0)),
        (620, Commanded("resume", 0)),
        (630, RoundEnded("finished", 1)),
    ]:
        progress.apply(at, event)
        seen.append(progress.stage)
    assert seen == [
        Stage.WAITING,
        Stage.READING,
        Stage.READING,
        Stage.PAUSED,
        Stage.PAUSED,
        Stage.READING,
        Stage.ANSWERING,
        Stage.ANSWERING,
        Stage.ASKED_AGAIN,
        Stage.ASKED_AGAIN,
        Stage.ASKED_AGAIN,
        Stage.ENDED,
        Stage.PAUSED,
        Stage.ENDED,
        Stage.OVER,
    ]
    assert progress.why_ended == "finished"


def test_the_terms_are_followed_while_they_sound() -> None:
    progress = told()
    seen = []
    for at in (109, 110, 209, 210, 249, 250):
        progress.reached(at)
        seen.append((progress.term, progress.stage))
    reading = [(-1, Stage.READING), (0, Stage.READING), (0, Stage.READING), (1, Stage.READING)]
    assert seen == [*reading, (1, Stage.READING), (1, Stage.ANSWERING)]


def test_the_last_correction_counts_and_goes_back_to_what_the_machine_heard() -> None:
    progress = told(heard(None), judged(Verdict.UNCLEAR, None), SumEnded(0))
    for verdict, value, counts in [
        (Verdict.WRONG, 5, 5),
        (Verdict.WRONG, None, None),  # the machine heard no number, and the ear names none now
        (Verdict.RIGHT, None, 3),
        (Verdict.SILENT, None, None),
    ]:
        progress.correct(Corrected(0, verdict, value, "teacher", "2026-01-05T09:00:00"))
        now = progress.now
        assert now is not None
        assert (now.verdict, now.value) == (verdict, counts)
    assert progress.stage is Stage.ENDED


def test_a_sum_that_is_read_again_is_answered_afresh() -> None:
    progress = told(heard(5), judged(Verdict.UNCLEAR, 5), DICTATED)
    assert progress.now is not None
    assert (progress.now.attempts, progress.heard) == ((), None)


def test_silence_after_an_early_number_leaves_the_number() -> None:
    progress = told(heard(5, onset=120), heard(None, onset=None), judged(Verdict.WRONG, 5, -0.1))
    assert progress.now is not None
    assert progress.now.attempts[0].words == "5"


def test_a_voice_after_an_early_number_takes_its_place() -> None:
    progress = told(heard(5, onset=120), heard(None), judged(Verdict.UNCLEAR, None))
    assert progress.heard == heard(None)
    assert progress.now is not None
    assert (progress.now.attempts[0].words, progress.now.value) == ("[unk]", None)


def test_only_a_single_spoken_answer_gives_a_speed() -> None:
    first = (heard(3), judged(Verdict.RIGHT, 3))
    typed = Judged(0, 0, Verdict.RIGHT, 3, 0.5, typed=True)
    unclear = (heard(None), judged(Verdict.UNCLEAR, None))
    cases = [(first, 0.5), ((typed,), None), (unclear, None), ((*unclear, *first), None)]
    for events, speed in cases:
        now = told(*events, SumEnded(0)).now
        assert now is not None
        assert (now.latency_s, now.speed_s) == (0.5, speed)


def test_what_belongs_to_no_turn_is_ignored() -> None:
    progress = told(SumEnded(1), Commanded("pause", 9))
    assert [turn.index for turn in progress.turns] == [0]
    assert not progress.turns[0].ended
