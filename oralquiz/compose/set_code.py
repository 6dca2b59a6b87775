"""A set of sums as one short text: what the QR code of a sheet holds.

    OQ1*2*2.5*FIVE:+3*34+13-22/45+11-6

holds the notation's name and version, the frame's columns, the pace in seconds, the step, and the
sums, separated by slashes. Its characters are those that QR codes pack most densely, as far as
the step's name allows.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from oralquiz.beads import MAX_COLUMNS, Sum
from oralquiz.errors import BadInput, excerpt

_NAME = "OQ1"


@dataclass(frozen=True)
class SetCode:
    """Sums to be read at ``pace`` seconds a term on a frame of ``columns``; ``step`` may be ""."""

    columns: int
    pace: float
    step: str
    sums: tuple[Sum, ...]


def encode(code: SetCode) -> str:
    """Raises BadInput if the step's name holds a star."""
    if "*" in code.step:
        raise BadInput(
            f"a step named {excerpt(code.step)} cannot be put in a code: its name must have no *"
        )
    sums = "/".join("".join(f"{term:+d}" for term in s.terms).removeprefix("+") for s in code.sums)
    return "*".join([_NAME, str(code.columns), f"{code.pace:g}", code.step.upper(), sums])


def decode(text: str) -> SetCode:
    """Read a code back. Raises BadInput that says what cannot be read."""
    parts = "".join(text.split()).split("*") if "*" in text else []
    if len(parts) != 5 or not re.fullmatch(r"(?i)OQ[0-9]+", parts[0]):
        raise BadInput(
            f"{excerpt(text)} is not the code of a set: that begins {_NAME}* and has five parts"
        )
    name, columns, pace, step, sums = parts
    if name.upper() != _NAME:
        raise BadInput(
            f"a code of kind {excerpt(name)} is newer than this program, which reads {_NAME}"
        )
    if not re.fullmatch(r"[0-9]{1,2}", columns) or not 1 <= int(columns) <= MAX_COLUMNS:
        raise BadInput(f"the code says {excerpt(columns)} columns: wanted 1 to {MAX_COLUMNS}")
    if not re.fullmatch(r"[0-9]{1,3}(\.[0-9]{1,3})?", pace) or float(pace) == 0:
        raise BadInput(f"the code says the pace is {excerpt(pace)}: wanted seconds, such as 2.5")
    return SetCode(
        columns=int(columns),
        pace=float(pace),
        step=step.lower(),
        sums=tuple(Sum.parse(each) for each in sums.split("/")),
    )
