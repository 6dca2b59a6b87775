"""The options by which `compose` and `sheet` say which sums are wanted."""

from __future__ import annotations

import re
import secrets
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Any

import click

from oralquiz.beads import Range, Rule, Step, Syllabus
from oralquiz.cli.common import SEED
from oralquiz.compose import (
    MAX_COMPOSE_COLUMNS,
    MAX_TERMS,
    Drill,
    Request,
    load_syllabus,
    parse_range,
    request_for,
)
from oralquiz.errors import BadInput


class RangeType(click.ParamType[Range]):
    """A number or a range of numbers, such as 5 or 4-6."""

    name = "N or N-M"

    def __init__(self, lowest: int, highest: int | None = None) -> None:
        self.lowest, self.highest = lowest, highest

    def convert(
        self, value: str | Range, param: click.Parameter | None, ctx: click.Context | None
    ) -> Range:
        if isinstance(value, tuple):
            return value
        return parse_range(value, param.opts[0] if param else "this", self.lowest, self.highest)


class RuleType(click.ParamType[Rule]):
    """A rule by its name, such as five:+3."""

    name = "rule"

    def convert(
        self, value: str | Rule, param: click.Parameter | None, ctx: click.Context | None
    ) -> Rule:
        return value if isinstance(value, Rule) else Rule.parse(value)


@dataclass(frozen=True)
class SumOptions:
    """The options as given; None, False or empty where the teacher left it open."""

    course: str
    step: str | None = None
    count: int = 10
    terms: Range | None = None
    digits: Range | None = None
    columns: int | None = None
    uses: int = 1
    drill: tuple[Rule, ...] = ()
    allow: tuple[Rule, ...] = ()
    minus: str | None = None
    signs: str | None = None
    answer: Range | None = None
    digits_in_all: int | None = None
    repeats: bool = False
    cancels: bool = False
    minus_first: bool = False
    below_zero: bool = False
    seed: int | None = None
    avoid: tuple[Path, ...] = ()
    avoid_pupil: str | None = None
    last: int = 3
    random_seed: int = field(default_factory=lambda: secrets.randbelow(1_000_000))

    @cached_property
    def syllabus(self) -> Syllabus:
        return load_syllabus(self.course)

    @property
    def chosen_step(self) -> Step:
        steps = self.syllabus
        return steps.step(self.step) if self.step else steps.steps[0]

    @property
    def chosen_seed(self) -> int:
        return self.random_seed if self.seed is None else self.seed

    def requests(self) -> list[Request]:
        """One request for each number of terms wanted."""
        terms = self.terms or self.chosen_step.terms or (5, 5)
        return [self.request(length) for length in range(terms[0], terms[1] + 1)]

    def request(self, terms: int) -> Request:
        syllabus, step = self.syllabus, self.chosen_step
        drills = (Drill(frozenset(self.drill), self.uses),) if self.drill else None
        allowed = syllabus.taught(step.name) | set(self.allow) | set(self.drill)
        return request_for(
            syllabus,
            step.name,
            self.uses,
            terms=terms,
            digits=self.digits,
            columns=self.columns,
            drills=drills,
            allowed=allowed,
            minus=_minus(self.minus, terms),
            signs=self.signs,
            answer=self.answer,
            digits_in_all=self.digits_in_all,
            repeats=self.repeats or None,
            cancels=self.cancels or None,
            first_plus=False if self.minus_first else None,
            below_zero=self.below_zero or None,
        )

    def sums_to_avoid(self) -> frozenset[tuple[int, ...]]:
        """The sums not wanted again: from files, and from a pupil's last sessions."""
        from oralquiz.compose import read_sums

        avoided: set[tuple[int, ...]] = set()
        for path in self.avoid:
            avoided |= {written.terms.terms for written in read_sums(path) if written.terms}
        if self.avoid_pupil:
            from oralquiz.records import open_records, recent_sums

            avoided |= recent_sums(open_records(), self.avoid_pupil, self.last)
        return frozenset(avoided)


def _minus(text: str | None, terms: int) -> Range | None:
    """How many terms are minus: a number, a range, or a share such as 40%."""
    if text is None:
        return None
    share = re.fullmatch(r"\s*([0-9]{1,3})\s*%\s*", text)
    if share is None:
        return parse_range(text, "--minus", 0, MAX_TERMS)
    if int(share[1]) > 100:
        raise BadInput(f"--minus is a share of the terms, at most 100%, not {text}")
    number = round(int(share[1]) * terms / 100)
    return number, number


_OPTIONS: tuple[Callable[[Any], Any], ...] = (
    click.option(
        "--step", help="The step whose rule is drilled, such as five:+3. Default: the first."
    ),
    click.option(
        "--syllabus",
        "course",
        default="two-hands",
        show_default=True,
        help="A course by name (see `oralquiz syllabus --list`), or your own TOML file.",
    ),
    click.option(
        "--count",
        type=click.IntRange(1, 100_000),
        default=10,
        show_default=True,
        help="How many sums.",
    ),
    click.option("--terms", type=RangeType(1, MAX_TERMS), help="Terms in a sum: 5, or 4-6."),
    click.option("--digits", type=RangeType(1, 9), help="Digits in a term: 2, or 1-2."),
    click.option(
        "--columns", type=click.IntRange(1, MAX_COMPOSE_COLUMNS), help="Columns of the frame."
    ),
    click.option(
        "--uses",
        type=click.IntRange(1, 100),
        default=1,
        show_default=True,
        help="Least number of times each sum uses the drilled rule.",
    ),
    click.option(
        "--drill", type=RuleType(), multiple=True, help="Drill this rule instead of the step's."
    ),
    click.option(
        "--allow", type=RuleType(), multiple=True, help="Allow this rule too, taught or not."
    ),
    click.option("--minus", metavar="N, N-M or P%", help="How many terms are subtracted."),
    click.option("--signs", help="A sign for each term: +, - or ? for either, such as +-??+."),
    click.option("--answer", type=RangeType(-99_999, 99_999), help="The answer: 50, or 10-60."),
    click.option("--digits-in-all", type=click.IntRange(1), help="Digits of all terms together."),
    click.option("--repeats", is_flag=True, help="A term may follow itself."),
    click.option("--cancels", is_flag=True, help="A term may follow its opposite."),
    click.option("--minus-first", is_flag=True, help="The first term may be negative."),
    click.option(
        "--below-zero",
        is_flag=True,
        help="Running totals may be negative: the frame borrows one from beyond its last column.",
    ),
    click.option("--seed", type=SEED, help="The same seed gives the same sums."),
    click.option(
        "--avoid",
        type=click.Path(path_type=Path),
        multiple=True,
        help="A file of sums that are not to be used again.",
    ),
    click.option("--avoid-pupil", help="Use no sum that this pupil had lately."),
    click.option(
        "--last",
        type=click.IntRange(1),
        default=3,
        show_default=True,
        help="How many sessions back --avoid-pupil looks.",
    ),
)


def sum_options(command: Callable[..., None]) -> Callable[..., None]:
    """Give a command the options of `SumOptions`; it takes them as keyword arguments."""
    for option in reversed(_OPTIONS):
        command = option(command)
    return command
