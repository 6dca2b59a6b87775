"""What commands share: errors of one line, exit status, JSON, plain characters where needed."""

from __future__ import annotations

import codecs
import io
import json
import math
import sqlite3
import sys
import unicodedata
from collections.abc import Callable, Sequence
from typing import Any, TypeVar

import click

from oralquiz.errors import BadInput, OralquizError

OK, FAILED, BAD_INPUT = 0, 1, 2

LONGEST_LINE = 1_000
"""Characters of an error that are shown: what was given may be as long as a file."""


class OneLineErrors(click.Group):
    """A group whose errors are one line on stderr: exit 2 for bad input, 1 for what failed."""

    def main(  # type: ignore[override]
        self, args: Sequence[str] | None = None, prog_name: str | None = None, **extra: Any
    ) -> Any:
        extra.pop("standalone_mode", None)
        allow_plain(sys.stdout)
        allow_plain(sys.stderr)
        try:
            code = super().main(args, prog_name or "oralquiz", standalone_mode=False, **extra)
        except click.exceptions.NoArgsIsHelpError as error:
            click.echo(error.ctx.get_help() if error.ctx else "")
            sys.exit(OK)
        except click.ClickException as error:
            fail(_said(error), BAD_INPUT)
        except BadInput as error:
            fail(str(error), BAD_INPUT)
        except OralquizError as error:
            fail(str(error), FAILED)
        except OSError as error:  # about a file or folder, and not worded by the command
            where = f"{error.filename}: " if error.filename else ""
            fail(f"{where}{error.strerror or error}", FAILED)
        except sqlite3.Error as error:  # another program keeps writing, or the disk is full
            fail(f"the records cannot be used just now: {error}", FAILED)
        except click.exceptions.Abort:
            fail("stopped", FAILED)
        sys.exit(code if isinstance(code, int) else OK)


def _said(error: click.ClickException) -> str:
    """click's message, with a hint at what a teacher most likely forgot."""
    message = error.format_message()
    ctx = error.ctx if isinstance(error, click.UsageError) else None
    takes_sum = ctx is not None and any(p.metavar == "SUM" for p in ctx.command.params)
    if takes_sum and message.startswith("Got unexpected extra argument"):
        return f'{message}; a sum goes in quotation marks: "34 + 13 - 22"'
    return message


_NEAREST = str.maketrans(
    {"−": "-", "–": "-", "→": ">", "×": "x", "\N{NO-BREAK SPACE}": " ", "ß": "ss"}
)


def allow_plain(stream: object) -> None:
    """Have a stream whose encoding lacks a character write the nearest plain one instead."""
    if isinstance(stream, io.TextIOWrapper):
        codecs.register_error("oralquiz.plain", _plain)
        stream.reconfigure(errors="oralquiz.plain")


def _plain(error: UnicodeError) -> tuple[str, int]:
    if not isinstance(error, UnicodeEncodeError):
        raise error
    lacking = error.object[error.start : error.end].translate(_NEAREST)
    written = unicodedata.normalize("NFKD", lacking)
    return (
        "".join(c if c.isascii() else "" if unicodedata.combining(c) else "?" for c in written),
        error.end,
    )


def fail(message: str, code: int) -> None:
    """Print one line on stderr, cut in its middle if it is very long, and leave with ``code``."""
    line = "oralquiz: " + visible(" ".join(message.split()))
    if len(line) > LONGEST_LINE:
        half = LONGEST_LINE // 2
        line = f"{line[:half]} … {line[-half:]}"
    click.echo(line, err=True)
    sys.exit(code)


def visible(text: str) -> str:
    """``text`` from elsewhere (names, paths, files) as a terminal may show it, on one line."""
    from oralquiz.rounds import without_controls

    return without_controls(text)


def echo(text: str, *, err: bool = False, nl: bool = True) -> None:
    """Print text for people, one line or several, without what could command a terminal."""
    from oralquiz.rounds import lines_without_controls

    click.echo(lines_without_controls(text), err=err, nl=nl)


def agreed(question: str, *, default: bool = False, err: bool = False) -> bool:
    """Ask for a yes or a no."""
    return click.confirm(visible(question), default=default, err=err)


def print_json(value: object) -> None:
    """One JSON value on one line of stdout."""
    from oralquiz.rounds import json_without_controls

    click.echo(json_without_controls(json.dumps(value, ensure_ascii=False)))


json_option = click.option("--json", "as_json", is_flag=True, help="Print JSON.")
course_option = click.option(
    "--syllabus", "course", default="two-hands", show_default=True, help="A course of `syllabus`."
)
answer_within_option = click.option(
    "--answer-within",
    type=click.FloatRange(1, 120),
    default=8.0,
    show_default=True,
    help="Seconds within which an answer must begin.",
)


Command = TypeVar("Command", bound=Callable[..., Any])


def sound_options(command: Command) -> Command:
    """The options of a round that this computer reads and hears."""
    for option in (  # click shows the last one applied first
        click.option("--model", default=None, help="A model of `models`, or its folder."),
        click.option("--microphone", default=None, help="Name or number of the microphone."),
        click.option("--speaker", default=None, help="Name or number of the loudspeaker."),
        click.option("--voice", default=None, help="A voice of `voice list`."),
    ):
        command = option(command)
    return command


class Seconds(click.FloatRange):
    """A number of seconds; NaN is refused."""

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        number = float(super().convert(value, param, ctx))
        if math.isnan(number):
            self.fail("nan is not a number of seconds", param, ctx)
        return number


PACE = Seconds(0.3, 60)
"""The paces a session file can hold: from faster than anything can be said to a minute."""
pace_option = click.option(
    "--pace",
    type=PACE,
    default=2.5,
    show_default=True,
    help="Seconds from the onset of one term to the onset of the next.",
)

SEED = click.IntRange(0)
"""Seeds of the random numbers: whole, and not below 0."""

SUM_ARGUMENT = {"ignore_unknown_options": True}
"""Context settings of a command that takes a sum, so that "-4 + 8" is a sum and not an option."""
