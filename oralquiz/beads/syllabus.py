"""A syllabus: the ordered steps of a course, each naming the rules it adds."""

from __future__ import annotations

from dataclasses import dataclass

from oralquiz.beads.rules import Rule
from oralquiz.errors import BadInput, excerpt

Range = tuple[int, int]
"""Lowest and highest, both included."""


@dataclass(frozen=True)
class Step:
    """One lesson: the rules it adds and, where the course says so, how its sums look.

    ``drill`` are the rules that a sum of this step must use: usually those it adds, none for an
    exam grade. ``columns``, ``terms``, ``digits``, ``digits_in_all`` and ``minus`` (how many terms
    are minus) are None where the course leaves them to the teacher.
    """

    name: str
    title: str
    adds: tuple[Rule, ...]
    drill: tuple[Rule, ...]
    columns: int | None = None
    terms: Range | None = None
    digits: Range | None = None
    digits_in_all: int | None = None
    minus: Range | None = None
    below_zero: bool = False


@dataclass(frozen=True)
class Syllabus:
    """Ordered steps with unique names. ``columns`` is the frame it is made for.

    ``source`` says where the order comes from, ``caveat`` what to be careful about.
    """

    name: str
    title: str
    columns: int
    steps: tuple[Step, ...]
    source: str = ""
    caveat: str = ""

    def __post_init__(self) -> None:
        if not self.steps:
            raise BadInput(f"the syllabus {excerpt(self.name)} has no steps")
        names: set[str] = set()
        for step in self.steps:
            if step.name in names:
                raise BadInput(
                    f"the syllabus {excerpt(self.name)} has two steps named {excerpt(step.name)}"
                )
            names.add(step.name)

    def index(self, name: str) -> int:
        """The position of the step ``name``, from 0; capitals do not matter."""
        wanted = name.strip().casefold().replace("−", "-")
        for index, step in enumerate(self.steps):
            if step.name.casefold() == wanted:
                return index
        raise BadInput(
            f"the syllabus {excerpt(self.name)} has no step {excerpt(name)}; it has "
            + ", ".join(step.name for step in self.steps)
        )

    def step(self, name: str) -> Step:
        return self.steps[self.index(name)]

    def taught(self, name: str) -> frozenset[Rule]:
        """Every rule added up to and including the step ``name``."""
        return frozenset(rule for step in self.steps[: self.index(name) + 1] for rule in step.adds)
