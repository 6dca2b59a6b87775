"""What came of a turn, in words: the verdict, what was heard, what may have happened."""

from __future__ import annotations

from oralquiz.judge import Verdict
from oralquiz.listen import readable
from oralquiz.replay.slip_marks import sentence
from oralquiz.replay.step_words import Form, StepPhrases, term_written
from oralquiz.replay.turn_story import TurnStory
from oralquiz.rounds import Answered

GLYPHS = {
    Verdict.RIGHT: "\N{CHECK MARK}",
    Verdict.WRONG: "\N{BALLOT X}",
    Verdict.UNCLEAR: "?",
    Verdict.SILENT: "\N{MIDLINE HORIZONTAL ELLIPSIS}",
    None: "\N{EN DASH}",
}
"""A sign for each verdict, so that it does not take colour to tell them apart."""


def turn_title(turn: Answered, table: StepPhrases) -> str:
    """Whose sum it is, and which."""
    return table.text("page", "of_pupil", pupil=turn.pupil, n=turn.index + 1)


def sign_and_word(verdict: Verdict | None, table: StepPhrases) -> tuple[str, str]:
    """How a verdict is shown: a sign, and a word or two. None: it was not judged."""
    return GLYPHS[verdict], table.text("verdict", verdict.value if verdict else "none")


def verdict_word(turn: Answered, table: StepPhrases) -> str:
    """The verdict that counts, in one word or two."""
    return sign_and_word(turn.verdict, table)[1]


def heard_words(turn: Answered, table: StepPhrases) -> str:
    """What was heard of the pupil, or typed: the number that counts, else the words."""
    last = turn.attempts[-1] if turn.attempts else None
    if turn.value is not None:
        typed = last is not None and last.typed and last.value == turn.value
        return table.text("page", "typed" if typed else "heard", value=turn.value)
    words = readable(last.words) if last is not None and last.value is None else ""
    if words and turn.verdict is not Verdict.SILENT:
        return table.text("page", "heard_words", words=words)
    return table.text("page", "heard_nothing")


def detail_words(turn: Answered, table: StepPhrases) -> str:
    """The verdict, the latency, and whether the teacher listened again."""
    parts = [verdict_word(turn, table)]
    if turn.latency_s is not None:
        parts.append(table.text("page", "latency", seconds=table.decimal(turn.latency_s)))
    detail = ", ".join(parts)
    return f"{detail}. {table.text('page', 'corrected')}" if turn.corrections else detail


def possible_words(told: TurnStory, n: int, form: Form, table: StepPhrases) -> str:
    """One explanation of a wrong answer in words: its slip or slips, and what the frame would
    show."""
    one = told.possible[n]
    parts = [sentence(slip, told.story, form, table) for slip in one.slips]
    if len(parts) > 1:
        parts.insert(0, table.text("slip", "two"))
    term = one.slips[0].term
    if one.shows is not None and term is not None:
        at = term_written(told.turn.sum.terms, term)
        parts.append(table.text("slip", "then_shows", value=one.shows, term=at))
    return " ".join(parts)
