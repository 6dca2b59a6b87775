"""A syllabus as a TOML file: read, and checked with the line named."""

from __future__ import annotations

import re
import tomllib
from importlib import resources
from pathlib import Path
from typing import Any, NoReturn

from oralquiz.beads import ALL_RULES, Range, Rule, Step, Syllabus
from oralquiz.compose.ranges import counted, parse_range
from oralquiz.compose.request import MAX_COMPOSE_COLUMNS, MAX_TERMS
from oralquiz.errors import BadInput, excerpt

DEFAULT = "two-hands"
_FOLDER = resources.files("oralquiz.compose") / "syllabi"
_HEADER = re.compile(r"\s*\[\[\s*step\s*\]\]")
_COLUMNS = range(1, MAX_COMPOSE_COLUMNS + 1)
_HEAD_KEYS = {"name", "title", "columns", "source", "caveat", "step"}
_STEP_KEYS = {
    "name",
    "title",
    "adds",
    "drill",
    "columns",
    "terms",
    "digits",
    "digits_in_all",
    "minus",
    "below_zero",
}


def shipped_syllabi() -> tuple[str, ...]:
    """The names of the syllabi that come with the package, the default first."""
    names = sorted(f.name[: -len(".toml")] for f in _FOLDER.iterdir() if f.name.endswith(".toml"))
    return tuple(sorted(names, key=lambda name: name != DEFAULT))


def load_syllabus(name_or_path: str = DEFAULT) -> Syllabus:
    """A shipped syllabus by its name, or a teacher's own file by its path.

    Raises BadInput naming the file, the line and what is wrong there.
    """
    if name_or_path in shipped_syllabi():
        text = (_FOLDER / f"{name_or_path}.toml").read_text(encoding="utf-8")
        return parse_syllabus(text, f"{name_or_path}.toml")
    path = Path(name_or_path)
    try:
        text = path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        known = ", ".join(shipped_syllabi())
        raise BadInput(
            f"there is no syllabus {excerpt(name_or_path)}: give a file or one of {known}"
        ) from None
    except (OSError, UnicodeDecodeError) as error:
        raise BadInput(f"{path}: cannot be read as text ({error})") from None
    return parse_syllabus(text, str(path))


def parse_syllabus(text: str, where: str) -> Syllabus:
    """Read a syllabus from TOML; ``where`` names the file in errors."""
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise BadInput(f"{where}: not a TOML file: {error}") from None
    except ValueError:  # a number of more digits than Python reads
        number = re.search(r"[0-9_]{1000}", text)
        line = text.count("\n", 0, number.start()) + 1 if number else 1
        raise BadInput(f"{where}, line {line}: a number with too many digits") from None
    except RecursionError:
        raise BadInput(f"{where}: brackets are nested too deeply") from None
    return _Reader(text, where).syllabus(data)


class _Reader:
    """Turns parsed TOML into a Syllabus; knows the lines, which the TOML parser does not give."""

    def __init__(self, text: str, where: str) -> None:
        self.lines = text.splitlines()
        self.where = where
        self.starts = [i for i, line in enumerate(self.lines) if _HEADER.match(line)]

    def fail(self, problem: str, step: int | None, key: str, value: str = "") -> NoReturn:
        raise BadInput(f"{self.where}, line {self._line(step, key, value)}: {problem}")

    def _line(self, step: int | None, key: str, value: str) -> int:
        """The line (from 1) of ``key``, or of ``value`` inside it, in the head or in a step."""
        if step is None:
            first, last = 0, self.starts[0] if self.starts else len(self.lines)
        elif step < len(self.starts):
            ends = [*self.starts[1:], len(self.lines)]
            first, last = self.starts[step], ends[step]
        else:  # steps written as one inline array: the best place we know is its key
            return self._line(None, "step", "")
        for number in range(first, last):
            if re.match(rf'\s*"?{re.escape(key)}"?\s*=', self.lines[number]):
                for deeper in range(number, last):
                    if value and value in self.lines[deeper].split("#")[0]:
                        return deeper + 1
                return number + 1
        return first + 1

    def syllabus(self, data: dict[str, Any]) -> Syllabus:
        for key in data:
            if key not in _HEAD_KEYS:
                self.fail(f"there is no setting {excerpt(key)} here", None, key)
        steps = data.get("step", [])
        if not isinstance(steps, list) or not steps or not isinstance(steps[0], dict):
            self.fail("a course has at least one [[step]]", None, "step")
        columns = self.number(data, None, "columns", _COLUMNS) or 2
        read: list[Step] = []
        names: set[str] = set()
        for index, entry in enumerate(steps):
            step = self.step(index, entry)
            if step.name.casefold() in names:
                self.fail(f"two steps are named {excerpt(step.name)}", index, "name")
            if not step.adds and not read:
                self.fail("the first step adds no rule: nothing could be played", index, "adds")
            frame = step.columns or columns
            if step.digits and step.digits[0] > frame:
                self.fail(
                    f"a term of {step.digits[0]} digits does not fit {counted(frame, 'column')}",
                    index,
                    "digits",
                )
            names.add(step.name.casefold())
            read.append(step)
        return Syllabus(
            name=self.text(data, None, "name"),
            title=self.text(data, None, "title", ""),
            columns=columns,
            steps=tuple(read),
            source=self.text(data, None, "source", ""),
            caveat=self.text(data, None, "caveat", ""),
        )

    def step(self, index: int, entry: Any) -> Step:
        if not isinstance(entry, dict):
            self.fail(f"a step is a table with a name, not {excerpt(entry)}", index, "step")
        for key in entry:
            if key not in _STEP_KEYS:
                known = ", ".join(sorted(_STEP_KEYS))
                self.fail(
                    f"there is no setting {excerpt(key)} in a step; it has {known}", index, key
                )
        adds = self.rules(entry, index, "adds", ())
        drill = self.rules(entry, index, "drill", adds)
        below_zero = entry.get("below_zero", False)
        if not isinstance(below_zero, bool):
            self.fail("below_zero is true or false", index, "below_zero")
        return Step(
            name=self.text(entry, index, "name"),
            title=self.text(entry, index, "title", ""),
            adds=adds,
            drill=drill,
            columns=self.number(entry, index, "columns", _COLUMNS),
            terms=self.range(entry, index, "terms", 1, MAX_TERMS),
            digits=self.range(entry, index, "digits", 1),
            digits_in_all=self.number(entry, index, "digits_in_all", range(1, 1000)),
            minus=self.range(entry, index, "minus", 0, MAX_TERMS),
            below_zero=below_zero,
        )

    def text(
        self, entry: dict[str, Any], step: int | None, key: str, default: str | None = None
    ) -> str:
        value = entry.get(key, default)
        if not isinstance(value, str) or (default is None and not value.strip()):
            self.fail(f'wanted {key} = "..."', step, key)
        return value.strip()

    def number(
        self,
        entry: dict[str, Any],
        step: int | None,
        key: str,
        allowed: range,
    ) -> int | None:
        value = entry.get(key)
        if value is None:
            return None
        if not isinstance(value, int) or isinstance(value, bool) or value not in allowed:
            wanted = f"a whole number from {allowed[0]} to {allowed[-1]}"
            self.fail(f"{key} is {wanted}, not {excerpt(value)}", step, key)
        return value

    def range(
        self,
        entry: dict[str, Any],
        step: int,
        key: str,
        lowest: int,
        highest: int | None = None,
    ) -> Range | None:
        if key not in entry:
            return None
        try:
            value = entry[key]
            text = value if isinstance(value, str) else excerpt(value)
            return parse_range(text, key, lowest, highest)
        except BadInput as error:
            self.fail(str(error), step, key)

    def rules(
        self, entry: dict[str, Any], step: int, key: str, default: tuple[Rule, ...]
    ) -> tuple[Rule, ...]:
        if key not in entry:
            return default
        names = entry[key]
        if not isinstance(names, list) or not all(isinstance(name, str) for name in names):
            self.fail(f'{key} is a list of rules, such as ["five:+3"]', step, key)
        rules: list[Rule] = []
        for name in names:
            if name == "all":
                rules.extend(ALL_RULES)
                continue
            try:
                rules.append(Rule.parse(name))
            except BadInput as error:
                self.fail(str(error), step, key, name)
        return tuple(dict.fromkeys(rules))
