"""`oralquiz enter`: rounds that were cut short, and sessions from elsewhere, into the records."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Iterator
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from oralquiz.cli.common import BAD_INPUT, FAILED, OK, echo, json_option, print_json, visible
from oralquiz.compose import counted
from oralquiz.errors import BadInput, OralquizError

if TYPE_CHECKING:
    from oralquiz.records import Imported


@click.command()
@click.argument("paths", nargs=-1, metavar="[FILE|FOLDER]...", type=click.Path(path_type=Path))
@json_option
@click.pass_context
def enter(ctx: click.Context, paths: tuple[Path, ...], as_json: bool) -> None:
    """Enter sessions into the records: interrupted rounds, files from elsewhere.

    Without arguments it enters every round kept here that a crash or power cut ended, and every
    session file kept here that is not in the records yet. A FOLDER is what an interrupted round
    leaves, which is made into a session file first, or one that holds session files. A FILE from
    elsewhere is copied into the sessions folder. A session is entered only once, however often it
    is given. One that was held at home must fit the page that `oralquiz homework` made for it.
    """
    from oralquiz.folders import sessions_folder
    from oralquiz.records import follow_new, open_records, waiting
    from oralquiz.records import import_session as enter_one

    db, folder = open_records(), sessions_folder()
    code, told = OK, []
    wanted = tuple(_each(paths)) if paths else tuple(waiting(db, folder))
    for path in wanted:
        try:
            entered = enter_one(db, path, folder)
        except (OralquizError, OSError, sqlite3.Error) as error:
            code = max(code, BAD_INPUT if isinstance(error, BadInput) else FAILED)
            why = _why(path, error)
            told.append({"given": str(path), "error": why})
            echo(visible(f"oralquiz: {why}"), err=True)
            continue
        told.append(_as_json(path, entered))
        if not as_json:
            echo(visible(sentence(path, entered)))
    with suppress(OralquizError, sqlite3.Error):  # otherwise done at a pupil's next practice
        follow_new(db)
    if as_json:
        print_json(told)
    elif not wanted:
        echo("No session here is waiting to be entered.")
    ctx.exit(code)


def _each(paths: Iterable[Path]) -> Iterator[Path]:
    """``paths``, where a folder of session files stands for the files in it."""
    for path in paths:
        inside = sorted(path.glob("*.zip")) if path.is_dir() else []
        if inside and not (path / "session.json").is_file():
            yield from inside
        else:
            yield path


def _why(path: Path, error: Exception) -> str:
    """One line that names the path."""
    said = " ".join(str(getattr(error, "strerror", None) or error).split())
    return said if str(path) in said else f"{path}: not entered ({said})"


def sentence(path: Path, entered: Imported) -> str:
    """What came of ``path``, in one line."""
    if not entered.new:
        there = "" if entered.file == path.resolve() else f", from {entered.file}"
        return f"{path}: already in the records{there}"
    kept = "" if entered.file == path else f", kept as {entered.file}"
    damage = f" ({entered.damage})" if entered.damage else ""
    sums = counted(entered.sums, "sum")
    home = ", held at home" if entered.at_home else ""
    return f"{path}: entered{home}, {counted(entered.answers, 'answer')} to {sums}{damage}{kept}"


def _as_json(path: Path, entered: Imported) -> dict[str, Any]:
    return {
        "given": str(path),
        "file": str(entered.file),
        "new": entered.new,
        "answers": entered.answers,
        "sums": entered.sums,
        "damage": entered.damage,
        "at_home": entered.at_home,
    }
