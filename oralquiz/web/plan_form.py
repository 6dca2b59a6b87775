"""What a teacher asks for on the start page."""

from __future__ import annotations

from collections.abc import Mapping

from oralquiz.beads import Syllabus
from oralquiz.errors import BadInput
from oralquiz.rounds import RoundPlan, Way

MAX_SUMS = 40
MAX_TERMS = 15
PACES = (0.8, 6.0)
"""Seconds from onset to onset that a page offers."""

STRETCHES = (1, 2, 5, 10, 0)
"""How many times longer a pupil may take for an answer (WCAG 2.2.1: tenfold, or no limit: 0)."""


def read_plan(form: Mapping[str, object], syllabus: Syllabus) -> RoundPlan:
    """A plan from a page's form. Raises BadInput naming the field."""
    step = str(form.get("step", ""))
    syllabus.step(step)
    way = str(form.get("way", Way.OWN))
    if way not in [w.value for w in Way]:
        raise BadInput(f"there is no way of holding a round called '{way[:20]}'")
    return RoundPlan(
        step,
        Way(way),
        int(_number(form, "count", 8, 1, MAX_SUMS)),
        int(_number(form, "terms", 5, 2, MAX_TERMS)),
        _number(form, "pace", 2.5, *PACES),
        str(form.get("voice", ""))[:80],
        _number(form, "within", 8.0, 3, 60),
        form.get("strict") == "on",
    )


def _number(form: Mapping[str, object], name: str, usual: float, low: float, high: float) -> float:
    raw = str(form.get(name, "")).strip() or str(usual)
    try:
        value = float(raw)
    except ValueError:
        raise BadInput(f"{name}: '{raw[:12]}' is not a number") from None
    if not low <= value <= high:
        raise BadInput(f"{name}: {value:g} is not between {low:g} and {high:g}")
    return value
