"""Bad inputs for every reader, form, message and argument: refused in one line, never a traceback.

python -m tests.campaigns.bad_inputs --count 100000 --seed 1
"""

from __future__ import annotations

import io
import json
import os
import shutil
import tempfile
import traceback
import wave
import zipfile
from collections.abc import Callable, Iterator
from contextlib import chdir, contextmanager
from pathlib import Path
from random import Random
from typing import Any

import click
import numpy as np
from click.testing import CliRunner
from starlette.testclient import TestClient

from oralquiz.beads import Sum
from oralquiz.cli import main
from oralquiz.compose import decode, encode, load_syllabus, read_sums
from oralquiz.compose.set_code import SetCode
from oralquiz.errors import OralquizError
from oralquiz.records.database import open_records
from oralquiz.records.import_sessions import import_session
from oralquiz.session import open_session
from oralquiz.sound import BLOCK, read_clip, read_recording
from oralquiz.speak.phrase_book import phrases
from oralquiz.web.credentials import load_keys
from oralquiz.web.packets import as_packet, packet
from oralquiz.web.protocol import from_page
from oralquiz.web.visits import Visits
from tests.campaigns.mutations import WORDS, as_line, spoiled_bytes, spoiled_json, spoiled_text
from tests.campaigns.tally import Tally, command
from tests.web.room import client_of, make_classroom, make_pupils

ROOT = Path(__file__).parents[2]
SESSION = ROOT / "demo_sessions" / "one-wrong.zip"
COURSE = ROOT / "oralquiz" / "compose" / "syllabi"

LONG_NAMES = ("A" * 3_000, "Asha " * 600, "é" * 3_000, "अ" * 3_000) * 4

Try = Callable[[Random], str]
"""Tries one input; returns what came of it, ``taken`` or ``refused``. Whatever it raises, but
OralquizError in one line, is a failure."""

SLOW = {"demo", "round", "serve", "hear", "models", "dictate", "sound", "record", "try"}
"""Commands that speak, hear, or open sound cards or ports: what they read is tried through its
reader."""


def campaign(count: int, seed: int) -> Tally:
    """``count`` inputs, shared out evenly."""
    tally = Tally(seed)
    with tempfile.TemporaryDirectory() as name, home(Path(name) / "home"):
        folder = Path(name)
        there = folder / "there"
        there.mkdir()
        with chdir(there), web(folder / "web") as pages:  # commands may write files here
            kinds = {**readers(folder), **arguments(folder), **messages(), **pages}
            names = sorted(kinds)
            for number in range(count):
                what = names[number % len(names)]
                once(tally, what, kinds[what], Random(f"{seed} {what} {number}"), number)
    return tally


def once(tally: Tally, what: str, attempt: Try, random: Random, number: int) -> None:
    try:
        tally.add(what, attempt(random))
    except OralquizError as error:
        if len(str(error).splitlines()) == 1:
            tally.add(what, "refused")
        else:
            tally.fail(what, f"number {number}: not one line: {str(error)[:200]!r}")
    except Exception as error:
        place = traceback.extract_tb(error.__traceback__)[-1]
        where = f"{Path(place.filename).name}:{place.lineno}"
        tally.fail(
            what, f"number {number}: {type(error).__name__} at {where}: {str(error)[:200]!r}"
        )


@contextmanager
def home(folder: Path) -> Iterator[None]:
    """Records, sessions and caches in ``folder``."""
    before = os.environ.get("ORALQUIZ_HOME")
    os.environ["ORALQUIZ_HOME"] = str(folder)
    try:
        yield
    finally:
        if before is None:
            del os.environ["ORALQUIZ_HOME"]
        else:
            os.environ["ORALQUIZ_HOME"] = before


# --- readers of files -----------------------------------------------------------------------


def readers(folder: Path) -> dict[str, Try]:
    with zipfile.ZipFile(SESSION) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    head = json.loads(parts["session.json"])
    events = [json.loads(line) for line in parts["events.jsonl"].splitlines()]
    file, text = folder / "file", folder / "file.toml"
    sound = io.BytesIO()
    with wave.open(sound, "wb") as wav:
        wav.setparams((1, 2, 16_000, 0, "NONE", ""))
        wav.writeframes(bytes(range(256)) * 20)
    course = next(COURSE.glob("*.toml")).read_text("utf-8")
    table = (ROOT / "oralquiz" / "speak" / "phrases.toml").read_text("utf-8")
    book = "[en]" + table.split("[en]")[1].split("\n[")[0]
    code = encode(SetCode(2, 2.5, "five:+3", (Sum((12, 21)), Sum((3, 4)))))
    db = open_records(folder / "records.db")

    def session(**more: bytes) -> str:
        with zipfile.ZipFile(file, "w") as archive:
            for name, content in {**parts, **more}.items():
                archive.writestr(name, content)
        open_session(file)
        return "taken"

    def session_header(random: Random) -> str:
        return session(**{"session.json": as_line(spoiled_json(random, head))})

    def session_events(random: Random) -> str:
        lines = list(events)
        at = random.randrange(len(lines))
        lines[at] = spoiled_json(random, lines[at])
        return session(**{"events.jsonl": b"\n".join(map(as_line, lines))})

    def session_sound(random: Random) -> str:
        return session(**{"audio.flac": spoiled_bytes(random, parts["audio.flac"])})

    def session_zip(random: Random) -> str:
        file.write_bytes(spoiled_bytes(random, SESSION.read_bytes()))
        open_session(file)
        return "taken"

    def session_entered(random: Random) -> str:
        (session_header if random.random() < 0.3 else session_events)(random)
        import_session(db, file, folder / "sessions")
        return "taken"

    def of_bytes(good: bytes, read: Callable[[Path], object]) -> Try:
        def attempt(random: Random) -> str:
            file.write_bytes(spoiled_bytes(random, good))
            read(file)
            return "taken"

        return attempt

    def of_text(good: str, read: Callable[[Path], object]) -> Try:
        def attempt(random: Random) -> str:
            text.write_text(spoiled_text(random, good), "utf-8", errors="surrogatepass")
            read(text)
            return "taken"

        return attempt

    def of_string(good: str, read: Callable[[str], object]) -> Try:
        def attempt(random: Random) -> str:
            read(spoiled_text(random, good))
            return "taken"

        return attempt

    sums = "sum,answer\n12 + 3 - 4,11\n1 2 3\n\n# rest\n34 + 13 - 22 = 25\n"
    keys = as_line({"secret": "s" * 40, "passphrase": "", "epoch": 1})
    return {
        "session: header": session_header,
        "session: events": session_events,
        "session: sound": session_sound,
        "session: zip": session_zip,
        "session: into the records": session_entered,
        "sound: clip": of_bytes(sound.getvalue(), read_clip),
        "sound: recording": of_bytes(sound.getvalue(), lambda path: read_recording(path, 16_000)),
        "sound: FLAC": of_bytes(parts["audio.flac"], read_clip),
        "list of sums": of_text(sums, read_sums),
        "course": of_text(course, lambda path: load_syllabus(str(path))),
        "phrases": of_text(book, lambda path: phrases("en", path)),
        "code of a set": of_string(code, decode),
        "sum": of_string("34 + 13 - 22", Sum.parse),
        "keys of the server": of_bytes(keys, load_keys),
        "visits that ended": of_bytes(as_line({"a": 1.5}), Visits),
    }


# --- arguments of commands ------------------------------------------------------------------


def arguments(folder: Path) -> dict[str, Try]:
    return {
        f"command: {' '.join(path)}": called(folder, path, one)
        for path, one in commands(main)
        if not SLOW & set(path)
    }


def commands(one: click.Command, path: tuple[str, ...] = ()) -> Iterator[tuple[Any, click.Command]]:
    if not isinstance(one, click.Group):
        yield path, one
        return
    if one.invoke_without_command:
        yield path, one
    ctx = click.Context(one)
    for name in one.list_commands(ctx):
        inner = one.get_command(ctx, name)
        assert inner is not None
        yield from commands(inner, (*path, name))


def called(folder: Path, path: tuple[str, ...], one: click.Command) -> Try:
    """A command with arguments of which some are bad."""
    session = folder / "session.zip"
    shutil.copyfile(SESSION, session)  # commands may write to it
    there = folder / "list.txt"
    there.write_text("12 + 3\n", "utf-8")
    good = {
        "name": "Asha", "text": "34 + 13 - 22", "step": "five:+3", "heard": "30", "count": "2",
        "terms": "3", "paths": str(session), "file": str(session), "check": str(there),
        "out": str(folder / "out.pdf"), "html": str(folder / "out.html"), "only": "wrong",
        "number": "1", "verdict": "wrong",
    }  # fmt: skip
    small: dict[str, tuple[str, ...]] = {
        "columns": ("0", "1", "2", "6", "-1"),
        "count": ("0", "1", "3", "100000", "x"),
        "name": (*WORDS, *LONG_NAMES),
    }

    def attempt(random: Random) -> str:
        given = list(path)
        for param in one.params:
            usual = good.get(param.name or "")
            needed = isinstance(param, click.Argument) or param.name in ("step", "out")
            if not needed and random.random() < (0.7 if len(one.params) < 10 else 0.95):
                continue
            bad = random.choice(small.get(param.name or "", WORDS))
            value = usual if usual is not None and random.random() < 0.6 else bad
            # as a system hands arguments over: no zero byte, what is no UTF-8 as escapes
            value = value.replace("\x00", "").replace("\ud800", "\udcff")
            if getattr(param, "is_flag", False):
                given.append(param.opts[0])
            else:
                given += [value] if isinstance(param, click.Argument) else [param.opts[0], value]
        return outcome(CliRunner().invoke(main, given, input="n\n"), given)

    return attempt


def outcome(done: Any, given: list[str]) -> str:
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        raise done.exception
    said = done.stderr.splitlines()
    assert done.exit_code in (0, 1, 2), f"{given}: exit status {done.exit_code}"
    assert done.exit_code != 2 or (said and len(said[-1]) < 3_000), f"{given}: {done.stderr!r}"
    assert "Traceback" not in done.output, given
    return "refused" if done.exit_code == 2 else "taken"


# --- what pages say -------------------------------------------------------------------------

SAID: tuple[dict[str, Any], ...] = (
    {"t": "hello", "mic": True, "run": "a", "first": 0, "play": 0},
    {"t": "ready", "mic": True},
    {"t": "delay", "out_s": 0.1, "in_s": 0.1, "measured": True},
    {"t": "late", "run": "a", "play": 1},
    {"t": "typed", "run": "a", "value": 3},
    {"t": "command", "run": "a", "name": "pause"},
    {"t": "pong", "n": 1},
    {"t": "time", "stretch": 2},
    {"t": "practise", "count": 3, "rule": "", "slower": False},
    {"t": "do", "name": "begin", "pupil": "Asha"},
    {"t": "correct", "number": 0, "verdict": "wrong", "value": 3},
    {"t": "reveal", "on": True},
    {"t": "allow", "asking": "a", "yes": True},
)


def messages() -> dict[str, Try]:
    def message(random: Random) -> str:
        said = json.dumps(spoiled_json(random, random.choice(SAID)))
        from_page(spoiled_text(random, said) if random.random() < 0.3 else said)
        return "taken"

    def sound(random: Random) -> str:
        packet(spoiled_bytes(random, as_packet(0, np.zeros(BLOCK, dtype=np.float32))))
        return "taken"

    return {"message of a page": message, "packet of sound": sound}


# --- forms and addresses of the server ------------------------------------------------------

FORMS: dict[str, dict[str, str]] = {
    "/class": {"what": "add", "names": "Cem", "class": "3B", "pupil": "Asha Rao", "on": "yes",
               "name": "4C", "step": "direct", "count": "3", "terms": "3", "pace": "2",
               "asking": "x"},
    "/plan": {"step": "direct", "way": "own", "count": "2", "terms": "2", "pace": "2",
              "within": "5", "pupil": "1", "class": "3B", "voice": ""},
    "/join": {"code": "ABCDEF", "name": "Asha Rao"},
    "/enter": {"passphrase": "x" * 12},
    "/results/x/correct": {"turn": "0", "verdict": "wrong", "value": "3"},
    "/me/ask": {},
    "/chirp": {},
    "/leave": {},
}  # fmt: skip
CHANGES = (
    "add", "new class", "consent", "free", "open", "close", "card", "new card", "no card", "set",
    "allow", "refuse", "erase", "nonsense",
)  # fmt: skip
ADDRESSES = (
    "/", "/about", "/class", "/class/erase", "/class/pupil", "/plan", "/plan/sample", "/live",
    "/plan/sample.wav", "/live/x/0.wav", "/wall", "/results", "/results/x", "/results/x/replay",
    "/results/x/0.wav", "/me", "/me/replay/x", "/clip/x/y", "/chirp", "/replay/x.js",
    "/static/me.js",
)  # fmt: skip
ASKED = {"name": "Asha Rao", "pupil": "Asha Rao", "step": "direct", "sum": "1 + 2", "skip": "1",
         "count": "2", "terms": "2", "pace": "2", "way": "own", "code": "ABCDEF",
         "only": "wrong"}  # fmt: skip


@contextmanager
def web(folder: Path) -> Iterator[dict[str, Try]]:
    """A server without a network, and what is tried on it as its teacher."""
    classroom = make_classroom(folder)
    with client_of(classroom) as teacher:
        assert teacher.portal is not None
        teacher.portal.call(make_pupils, classroom, "Asha Rao", "Ben")
        try:
            yield {"form": posted(teacher), "address": fetched(teacher)}
        finally:
            teacher.portal.call(classroom.close)


def posted(client: TestClient) -> Try:
    def attempt(random: Random) -> str:
        path = random.choice(list(FORMS))
        form = dict(FORMS[path])
        if path == "/class":
            form["what"] = random.choice(CHANGES)
        for key in list(form):
            if key != "what" and random.random() < 0.3:
                form[key] = random.choice(WORDS)
        body = "&".join(f"{quoted(key)}={quoted(value)}" for key, value in form.items()).encode()
        if random.random() < 0.2:
            body = spoiled_bytes(random, body or b"x=1")
        kind = random.choice(
            ["application/x-www-form-urlencoded"] * 8 + [*WORDS[:3], "multipart/form-data"]
        )
        sent = client.post(path, content=body, headers={"content-type": kind})
        return answered(sent.status_code, f"POST {path} {body[:200]!r}")

    return attempt


def fetched(client: TestClient) -> Try:
    def attempt(random: Random) -> str:
        path = random.choice(ADDRESSES)
        if random.random() < 0.4:
            path = spoiled_text(random, path)
        asked = {k: v for k, v in ASKED.items() if random.random() < 0.5}
        for key in asked:
            if random.random() < 0.4:
                asked[key] = random.choice(WORDS)
        query = "&".join(f"{quoted(key)}={quoted(value)}" for key, value in asked.items())
        got = client.get("/" + quoted(path.lstrip("/"), "/.") + f"?{query}")
        return answered(got.status_code, f"GET {path!r}?{query[:200]}")

    return attempt


def quoted(text: str, safe: str = "") -> str:
    from urllib.parse import quote_from_bytes

    return quote_from_bytes(text.encode("utf-8", "surrogatepass"), safe)


def answered(status: int, what: str) -> str:
    assert status < 500, f"{status}: {what}"
    return "taken" if status < 400 else "refused"


if __name__ == "__main__":
    command(campaign, 100_000)
