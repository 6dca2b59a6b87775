"""Sessions made for the tests: every term and answer is a short tone where it is said."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from oralquiz.beads import MoveOrder, Sum
from oralquiz.judge.verdict import Verdict
from oralquiz.listen.hearing import Candidate
from oralquiz.rounds.events import Dictated, Entry, Heard, TermTime
from oralquiz.rounds.progress import Answered, Attempt
from oralquiz.rounds.round import Options, Round, Turn
from oralquiz.session.file import Session
from oralquiz.session.webvtt import captions
from oralquiz.sound.pcm import Pcm

RATE = 16_000
LEAD = RATE // 2  # samples before the first term of a turn


def made(
    sums: Sequence[str],
    answers: Sequence[int | None] | None = None,
    *,
    columns: int = 2,
    pace_s: float = 1.0,
    tones: bool = False,
    pupil: str = "Asha",
    name: str = "a made-up round",
    order: MoveOrder = MoveOrder.FIVE_FIRST,
    damage: str = "",
) -> Session:
    """A session in which ``sums`` are read at ``pace_s`` and answered with ``answers`` (None:
    silent; left out: all right), half a second after the last term."""
    parsed = [Sum.parse(text) for text in sums]
    given = [one.answer for one in parsed] if answers is None else list(answers)
    round_ = Round(
        name,
        "2026-01-05T09:00:00+00:00",
        tuple(Turn(pupil, one, consent=True) for one in parsed),
        step="direct",
        columns=columns,
        move_order=order,
    )
    turns: list[Answered] = []
    events: list[Entry] = []
    at = 0
    for index, (one, value) in enumerate(zip(parsed, given, strict=True)):
        turn = _turn(index, pupil, one, value, at, round(pace_s * RATE))
        turns.append(turn)
        events += _events(turn, len(events))
        at = turn.end
    audio = np.zeros((at, 2), dtype=np.int16)
    if tones:
        _sound(audio, turns)
    options = Options(pace_s=pace_s)
    header = {"sample_rate": RATE, "voice": "engine:gmw/en-us"}
    vtt = captions(events, RATE)
    return Session(header, round_, tuple(events), options, tuple(turns), audio, vtt, damage)


def _turn(index: int, pupil: str, one: Sum, value: int | None, at: int, pace: int) -> Answered:
    onsets = [at + LEAD + k * pace for k in range(len(one.terms))]
    terms = tuple(
        TermTime(str(term), onset, onset + pace // 2)
        for term, onset in zip(one.terms, onsets, strict=True)
    )
    said = terms[-1].offset
    if value is None:
        attempt = Attempt("", (), None, None, Verdict.SILENT, None, None)
    else:
        verdict = Verdict.RIGHT if value == one.answer else Verdict.WRONG
        candidate = Candidate(value, f"word {value}", 0.999)
        onset = said + RATE // 2
        attempt = Attempt(
            candidate.words, (candidate,), onset, onset + RATE // 4, verdict, value, 0.5
        )
    end = said + 2 * RATE
    return Answered(index, pupil, one, True, at, end, terms, (attempt,), (), True)


def _events(turn: Answered, seq: int) -> list[Entry]:
    attempt = turn.attempts[0]
    dictated = Dictated(turn.index, turn.start, turn.terms[-1].offset, 1.0, turn.terms)
    heard = Heard(turn.index, 0, attempt.words, (), attempt.onset, attempt.offset, early=False)
    return [Entry(seq, turn.start, dictated), Entry(seq + 1, turn.end, heard)]


def _sound(audio: Pcm, turns: Sequence[Answered]) -> None:
    for turn in turns:
        for term in turn.terms:
            audio[term.onset : term.offset, 0] = _tone(440, term.offset - term.onset)
        for attempt in turn.attempts:
            if attempt.onset is not None and attempt.offset is not None:
                tone = _tone(660, attempt.offset - attempt.onset)
                audio[attempt.onset : attempt.offset, 1] = tone


def _tone(hertz: int, count: int) -> np.ndarray[tuple[int], np.dtype[np.int16]]:
    return (9000 * np.sin(2 * np.pi * hertz * np.arange(count) / RATE)).astype(np.int16)
