"""What every command shares: one-line errors, exit codes, JSON."""

from __future__ import annotations

import json
import sys
from collections.abc import Sequence
from typing import Any

import click

from oralquiz.errors import BadInput, OralquizError

OK, FAILED, BAD_INPUT = 0, 1, 2


class OneLineErrors(click.Group):
    """A group whose errors are one line on stderr: exit 2 for bad input, 1 for what failed."""

    def main(  # type: ignore[override]
        self, args: Sequence[str] | None = None, prog_name: str | None = None, **extra: Any
    ) -> Any:
        extra.pop("standalone_mode", None)
        try:
            code = super().main(args, prog_name or "oralquiz", standalone_mode=False, **extra)
        except click.exceptions.NoArgsIsHelpError as error:
            click.echo(error.ctx.get_help() if error.ctx else "")
            sys.exit(OK)
        except click.ClickException as error:
            fail(error.format_message(), BAD_INPUT)
        except BadInput as error:
            fail(str(error), BAD_INPUT)
        except OralquizError as error:
            fail(str(error), FAILED)
        except click.exceptions.Abort:
            fail("stopped", 130)
        sys.exit(code if isinstance(code, int) else OK)


def fail(message: str, code: int) -> None:
    """Print one line on stderr and leave with ``code``."""
    click.echo("oralquiz: " + " ".join(message.split()), err=True)
    sys.exit(code)


def print_json(value: object) -> None:
    """One JSON value on one line of stdout."""
    click.echo(json.dumps(value, ensure_ascii=False))


json_option = click.option("--json", "as_json", is_flag=True, help="Print JSON.")
