"""What the page's script is given: every sum with its steps, its words, and its times."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from oralquiz.beads import top
from oralquiz.judge import Verdict
from oralquiz.replay.outcome import (
    GLYPHS,
    detail_words,
    heard_words,
    possible_words,
    turn_title,
    verdict_word,
)
from oralquiz.replay.spoken_steps import SpokenExplanation
from oralquiz.replay.step_words import Form, StepPhrases, term_written, words, written
from oralquiz.replay.story import StoryStep
from oralquiz.replay.timing import Beat, Timing
from oralquiz.replay.turn_story import TurnStory
from oralquiz.session import Cue


def sum_data(
    told: TurnStory, forms: tuple[Form, ...], table: StepPhrases, tracks: dict[str, Any]
) -> dict[str, Any]:
    """One sum. ``tracks`` says for each way of hearing it when its steps happen."""
    turn = told.turn
    tick = f" {GLYPHS[Verdict.RIGHT]}" if turn.verdict is Verdict.RIGHT else ""
    return {
        "title": turn_title(turn, table),
        "pupil": turn.pupil,
        "glyph": GLYPHS[turn.verdict],
        "verdict": verdict_word(turn, table),
        "right": turn.verdict is Verdict.RIGHT,
        "heard": heard_words(turn, table),
        "said": turn.value if told.wrong and fits(turn.value, told.story.columns) else None,
        "detail": detail_words(turn, table),
        "result": f"{written(turn.sum.terms)} = {turn.sum.answer}{tick}",
        "end": {f: table.text("page", f"end_{f}", value=turn.sum.answer) for f in forms},
        "terms": [term_written(turn.sum.terms, n) for n in range(len(turn.sum.terms))],
        "totals": list(turn.sum.totals),
        "answer": turn.sum.answer,
        "steps": [
            {
                "term": step.term,
                "before": step.before,
                "after": step.after,
                "where": {f: words(step, f, table).where for f in forms},
                "orders": _orders([story.steps[n] for story in told.stories], forms, table),
            }
            for n, step in enumerate(told.story.steps)
        ],
        "maybe": _maybe(told, forms, table),
        "unknown": table.text("slip", "unknown") if told.wrong and not told.possible else "",
        "tracks": tracks,
    }


def recorded(
    timing: Timing, rate: int, captions: Sequence[Cue], sound: str, outlines: list[list[int]]
) -> dict[str, Any]:
    """The round as it was recorded, at ``rate`` hertz. ``sound`` is the name of its sound."""
    first = timing.first
    cues = [cue for cue in captions if first <= cue.onset < timing.last]
    return {
        "pieces": [sound] if sound else [],
        "duration": _ms(timing.duration),
        "answer": _ms(timing.answer_at),
        "beats": _beats(timing.beats),
        "terms": [[_ms(m.onset), _ms(m.offset)] for m in timing.terms],
        "answers": [[_ms(m.onset), _ms(m.offset), m.text] for m in timing.answers],
        "outlines": outlines if sound else [],
        "cues": [
            [_ms((c.onset - first) / rate), _ms((c.offset - first) / rate), c.who, c.text]
            for c in cues
        ],
    }


def explained(explanation: SpokenExplanation) -> dict[str, Any]:
    """The sum explained by a voice."""
    return {
        "pieces": list(explanation.pieces),
        "duration": _ms(explanation.duration),
        "answer": _ms(explanation.answer_at),
        "beats": _beats(explanation.beats),
        "terms": [],
        "answers": [],
        "outlines": [],
        "cues": [[_ms(m.onset), _ms(m.offset), "voice", m.text] for m in explanation.said],
    }


def _beats(beats: Sequence[Beat]) -> list[list[float]]:
    return [[_ms(b.slot), _ms(b.start), _ms(b.end)] for b in beats]


def fits(value: int | None, columns: int) -> bool:
    """Whether a frame of ``columns`` columns can show ``value``."""
    return value is not None and 0 <= value <= top(columns)


def _ms(time_s: float) -> float:
    """Seconds to the millisecond."""
    return round(time_s, 3)


def _orders(
    steps: list[StoryStep], forms: tuple[Form, ...], table: StepPhrases
) -> list[dict[str, Any]]:
    """The step in each order; only once where the order makes no difference."""
    told = [
        {
            "gestures": [[g.column, g.bead, g.count] for g in step.gestures],
            "words": {f: [words(step, f, table).why, words(step, f, table).do] for f in forms},
        }
        for step in steps
    ]
    return told[:1] if all(one == told[0] for one in told) else told


def _maybe(told: TurnStory, forms: tuple[Form, ...], table: StepPhrases) -> list[dict[str, Any]]:
    return [
        {
            "steps": list(one.steps),
            "shows": one.shows,
            "odds": f"({table.text('slip', 'perhaps', percent=round(100 * one.probability))})",
            "text": {f: possible_words(told, n, f, table) for f in forms},
        }
        for n, one in enumerate(told.possible)
    ]


def shared_words(table: StepPhrases, forms: tuple[Form, ...]) -> dict[str, Any]:
    """The texts that the script puts in place itself."""
    page = table.tables["page"]
    keys = (
        "answer",
        "after",
        "maybe",
        "play",
        "pause",
        "start_where",
        "end_where",
        "step_of",
        "would",
        "no_sound",
    )
    return {
        **{key: page[key] for key in keys},
        "start": {f: page[f"start_{f}"] for f in forms},
        "ones_first": {f: page[f"ones_first_{f}"] for f in forms},
        "shows": {f: table.tables[f]["shows"] for f in forms},
        "who": {"teacher": page["teacher"], "pupil": page["pupil"], "voice": ""},
    }
