"""What the hands may still show when a sum begins: the number its pupil said to the sum before.

A pupil who forgets to clear the hands goes on from what they showed, and that is what was said,
right or wrong. The records and the replay both take the previous answer from here.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable

from oralquiz.judge.verdict import Verdict


def number_said(verdict: Verdict | None, value: int | None) -> int | None:
    """``value``, the number that counts, if the verdict settles it; None where it is not known."""
    return value if verdict in (Verdict.RIGHT, Verdict.WRONG) else None


def previous_answers(turns: Iterable[tuple[Hashable, int | None]]) -> list[int | None]:
    """What was said to the sum before, for each of ``turns``, in the order they were asked.

    A turn is the pupil (within one round) and the number said (None: not known).
    None for a first sum, and after an answer that is not known.
    """
    last: dict[Hashable, int | None] = {}
    before: list[int | None] = []
    for whose, said in turns:
        before.append(last.get(whose))
        last[whose] = said
    return before
