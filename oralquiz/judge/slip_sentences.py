"""What a teacher would say about a slip, in words that are data (``phrases/LANGUAGE.toml``)."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from functools import cache
from importlib import resources
from typing import Any

from oralquiz.beads import Column, Kind, Rule, Sum, digit_at
from oralquiz.errors import BadInput, excerpt
from oralquiz.judge.diagnosis import Diagnosis, Explanation
from oralquiz.judge.slip import Slip, SlipKind, partner

Phrases = Mapping[str, Any]
_FOLDER = resources.files("oralquiz.judge") / "phrases"


def languages() -> tuple[str, ...]:
    """The codes of the languages there are phrases for."""
    names = (file.name for file in _FOLDER.iterdir())
    return tuple(sorted(name.removesuffix(".toml") for name in names if name.endswith(".toml")))


@cache
def phrases(language: str = "en") -> Phrases:
    """The phrases of a language. Raises BadInput, naming the languages there are."""
    if language not in languages():
        raise BadInput(f"no phrases in {excerpt(language)}: there are {', '.join(languages())}")
    return tomllib.loads((_FOLDER / f"{language}.toml").read_text(encoding="utf-8"))


def sentence(explanation: Explanation, diagnosis: Diagnosis, language: str = "en") -> str:
    """What a teacher would say about an explanation, one sentence a slip."""
    words = phrases(language)
    return " ".join(
        _sentence(slip, diagnosis.terms, diagnosis.columns, words) for slip in explanation.slips
    )


def headline(kind: SlipKind | None, rule: Rule | None, language: str = "en") -> str:
    """What a slip that repeats is called: one of a kind, at a rule, or both (the other is None)."""
    words = phrases(language)
    name = words["name"][kind.value] if kind else ""
    at = rule_formula(rule, language) if rule else ""
    pattern = "kind_at_rule" if kind and rule else "kind" if kind else "rule"
    return str(words["weakness"][pattern]).format(name=name, rule=at)


def rule_formula(rule: Rule, language: str = "en") -> str:
    """A rule as a sum in signs: ``+ 3 = + 5 − 2``; in words where it is direct."""
    sign = 1 if rule.digit > 0 else -1
    size = abs(rule.digit)
    if rule.kind is Kind.DIRECT:
        return str(phrases(language)["weakness"]["direct"])
    if rule.kind is Kind.FIVE:
        parts = [5, size - 5]
    elif rule.kind is Kind.TEN:
        parts = [10, size - 10]
    else:
        parts = [10, -5, size - 5]
    return f"{signed(rule.digit)} = {_formula([sign * part for part in parts])}"


def signed(number: int) -> str:
    """``+ 3``, ``− 12``."""
    return f"{'+' if number >= 0 else '−'} {abs(number)}"


def _sentence(slip: Slip, terms: Sum, columns: int, words: Phrases) -> str:
    frame = words["hands" if columns <= 2 else "frame"]
    values = {"five": frame["five"], "one": frame["one"], **_term_values(slip, terms)}
    name = slip.kind.value
    begin = ""
    if slip.column is not None and slip.digit is not None:
        name, move_values = _move_values(slip, frame)
        values |= move_values
        if values["formula"] == values["digit"]:
            name = name + "-plain" if name + "-plain" in words["slip"] else name
        begin = "own" if not slip.carry else "carry" if slip.digit > 0 else "borrow"
        begin = words["move"][begin].format_map(values) + " "
    return begin + str(words["slip"][name]).format_map(values)


def _term_values(slip: Slip, terms: Sum) -> dict[str, str]:
    """The placeholders of a whole term, or of the answer."""
    values: dict[str, str] = {}
    if slip.term is not None:
        term = terms.terms[slip.term]
        first = slip.term == 0  # said without a sign
        values["term"] = str(term) if first else signed(term)
        if slip.kind is SlipKind.SIGN_FLIPPED or not first:
            values["other"] = signed(slip.instead or 0)
        else:
            values["other"] = str(slip.instead)
    elif slip.kind is SlipKind.ANSWER_REVERSED:
        values["shown"] = str(slip.instead)
        values["heard"] = str((slip.instead or 0) + slip.error)
    else:
        values["other"] = str(slip.instead)
    return values


def _move_values(slip: Slip, frame: Phrases) -> tuple[str, dict[str, str]]:
    """The phrase's name and the placeholders of a slip in a move."""
    assert slip.column is not None and slip.digit is not None and slip.before is not None
    assert slip.rule is not None
    digit, column, kind = slip.digit, slip.column, slip.kind
    tens = slip.rule.kind in (Kind.TEN, Kind.BOTH)
    sign = 1 if digit > 0 else -1
    change = digit - 10 * sign if tens else digit
    shown = digit_at(slip.before, column)
    before, after = Column.of(shown), Column.of(shown + change)
    five, ones = 5 * (after.five - before.five), after.ones - before.ones
    parts = [10 * sign if tens else 0, five, ones]
    error = slip.error // int(10**column)
    values = {
        "digit": signed(digit),
        "number": str(abs(digit)),
        "formula": _formula(parts),
        "here": frame["place"][column],
        "on": frame["on"][column],
        "there": frame["place"][min(column + 1, len(frame["place"]) - 1)],
    }
    name = kind.value
    if kind is SlipKind.COMPLEMENT_MISSED:
        # what was left out is what the error lacks: the ones alone, or all but the ten
        values["missed"] = _formula([ones] if error == -ones else [five, ones])
    elif kind is SlipKind.COMPLEMENT_WRONG_WAY:
        turned = [0, five, -ones] if not tens else [10 * sign, *_parts(shown, -change)]
        values["played"] = _formula(turned)
    elif kind is SlipKind.COMPLEMENT_WRONG_PARTNER:
        before_it = {Kind.FIVE: 5 * sign, Kind.BOTH: -5 * sign}.get(slip.rule.kind, 0)
        ten = 10 * sign if tens else 0
        values["played"] = _formula([ten, before_it, partner(slip.rule) + error])
    elif kind is SlipKind.TEN_MOVED_IN_VAIN:
        name = "ten-added" if slip.error > 0 else "ten-taken"
    elif kind is SlipKind.COLUMN_WRONG_WAY:
        name = "column-added" if digit < 0 else "column-taken"
    if slip.instead is not None:
        values["other_place"] = frame["place"][slip.instead]
        values["other_on"] = frame["on"][slip.instead]
    return name, values


def _parts(shown: int, change: int) -> list[int]:
    """The five and the ones that a column showing ``shown`` moves for ``change``."""
    before, after = Column.of(shown), Column.of(shown + change)
    return [5 * (after.five - before.five), after.ones - before.ones]


def _formula(parts: list[int]) -> str:
    return " ".join(signed(part) for part in parts if part)


def as_json(diagnosis: Diagnosis, language: str = "en", most: int | None = None) -> dict[str, Any]:
    """A diagnosis as plain values: what the command prints and what records keep.

    At most ``most`` explanations, best first. Of a pair, ``slip`` and the keys beside it name
    the first slip and ``second`` the other.
    """
    explanations = []
    for explanation in diagnosis.explanations[:most]:
        first, *more = explanation.slips
        explanations.append(
            {
                **_slip_as_json(first),
                "probability": explanation.probability,
                "sentence": sentence(explanation, diagnosis, language),
                "totals": list(explanation.totals),
                "second": _slip_as_json(more[0]) if more else None,
            }
        )
    return {
        "sum": str(diagnosis.terms),
        "columns": diagnosis.columns,
        "answer": diagnosis.terms.answer,
        "heard": diagnosis.heard,
        "right": diagnosis.right,
        "slips": explanations,
        "explanations": len(diagnosis.explanations),
        "kinds": [
            {"slip": kind.value, "probability": probability}
            for kind, probability in diagnosis.kinds.items()
        ],
        "two_slips": diagnosis.two_slips,
        "not_explained": diagnosis.unexplained,
    }


def _slip_as_json(slip: Slip) -> dict[str, Any]:
    return {
        "slip": slip.kind.value,
        "term": slip.term,
        "column": slip.column,
        "digit": slip.digit,
        "rule": slip.rule.name if slip.rule else None,
        "carry": slip.carry,
        "before": slip.before,
        "error": slip.error,
        "instead": slip.instead,
    }
