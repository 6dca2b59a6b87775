"""`oralquiz hear`: the numbers said in recordings."""

from __future__ import annotations

import re
import time
from pathlib import Path
from typing import Any

import click

from oralquiz.cli.common import FAILED, OK, print_json
from oralquiz.errors import BadInput
from oralquiz.listen import Hearing


class NumberRange(click.ParamType[tuple[int, int]]):
    """``LOWEST..HIGHEST``, such as 0..99."""

    name = "range"

    def convert(self, value: Any, param: Any, ctx: Any) -> tuple[int, int]:
        if isinstance(value, tuple):
            return value
        match = re.fullmatch(r"\s*(-?\d{1,9})\s*\.\.\s*(-?\d{1,9})\s*", value)
        if match is None:
            self.fail(f"{value!r} is not a range such as 0..99", param, ctx)
        lowest, highest = int(match[1]), int(match[2])
        if lowest > highest:
            self.fail(f"{value!r} ends before it begins", param, ctx)
        return lowest, highest


def heard_as_json(heard: Hearing) -> dict[str, Any]:
    return {
        "value": heard.value,
        "words": heard.words,
        "confidence": round(heard.confidence, 4),
        "onset_s": None if heard.onset_s is None else round(heard.onset_s, 3),
        "offset_s": None if heard.offset_s is None else round(heard.offset_s, 3),
        "alternatives": [
            {"value": candidate.value, "confidence": round(candidate.confidence, 4)}
            for candidate in heard.candidates[1:]
        ],
    }


NOTHING = heard_as_json(Hearing((), "", None, None))


@click.command()
@click.argument("files", metavar="FILE...", nargs=-1, required=True)
@click.option(
    "--range",
    "limits",
    type=NumberRange(),
    metavar="A..B",
    help="The numbers to expect, such as 0..99 for two hands. Default: all that the model knows.",
)
@click.option("--model", metavar="NAME|PATH", help="A model of `oralquiz models`, or its folder.")
@click.option(
    "--language", metavar="CODE", help="The model's language, if its folder does not say."
)
@click.option(
    "--json", "as_json", is_flag=True, help="The output is JSON lines with or without this."
)
@click.pass_context
def hear(
    ctx: click.Context,
    files: tuple[str, ...],
    limits: tuple[int, int] | None,
    model: str | None,
    language: str | None,
    as_json: bool,
) -> None:
    """The number said in each recording FILE (WAV, FLAC): one line of JSON a file, in order.

    If a file cannot be read, its `error` says why; the others are still heard.
    """
    from oralquiz.listen import open_recognizer
    from oralquiz.sound import read_recording

    recognizer = open_recognizer(model, language)
    lowest, highest = limits or recognizer.limits
    recognizer.load(lowest, highest)
    code = OK
    for file in files:
        line: dict[str, Any] = {"file": file}
        try:
            samples = read_recording(Path(file), recognizer.sample_rate)
        except BadInput as error:
            code = FAILED
            line |= NOTHING | {"decode_s": 0.0, "error": str(error)}
        else:
            started = time.perf_counter()
            heard = recognizer.hear(samples, lowest, highest)
            took = time.perf_counter() - started
            line |= heard_as_json(heard) | {"decode_s": round(took, 4), "error": None}
        print_json(line)
    ctx.exit(code)
