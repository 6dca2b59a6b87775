"""The page as one HTML file that needs no network, no other file, no server and no installation.

It carries the sums as this computer's voice reads them, the number model with a decoder compiled to
WebAssembly, the program's own rules of hearing and judging in JavaScript, and the replay's page for
the walk through what went wrong. It holds no name but its pupil's. Its content security policy
allows its own scripts and styles, by their hashes, and no network.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from jinja2 import Environment, StrictUndefined
from markupsafe import Markup

from oralquiz import __version__
from oralquiz.errors import BadInput
from oralquiz.homework.page_assets import (
    as_letters,
    asset,
    asset_text,
    homework_script,
    homework_words,
    packed,
    worker_script,
)
from oralquiz.judge import Verdict
from oralquiz.listen import Model, SelfTest, find_model, needed_files
from oralquiz.replay import build_page, content_hash, inside_script, phrases, sign_and_word
from oralquiz.rounds import Answered, Options, Round, VoiceReader
from oralquiz.session import Session, header
from oralquiz.sound import SESSION_RATE, Samples, flac_bytes, read_recording
from oralquiz.speak import Dictation

LARGEST_PAGE = 12_000_000
"""Bytes of a page at most: what still goes by message or on any stick."""

_DATA = '<script type="application/json" id="data">'


@dataclass(frozen=True)
class Homework:
    """A page, and the ``head`` of every session held on it: session.json without the id and the
    time, which the page writes when a round begins."""

    html: str
    head: Mapping[str, Any]


def build_homework(round_: Round, options: Options, reader: VoiceReader) -> Homework:
    """The page on which the pupil of ``round_`` is asked its sums, as ``reader`` reads them.

    The page asks about an answer only where it is in doubt (no ``asks_alike``: its rules cannot
    draw at random as Python's do). Raises BadInput for a round that cannot be put into a page,
    AudioError when the voice fails.
    """
    options = replace(options, policy=replace(options.policy, asks_alike=False))
    found = find_model()
    head = _head(round_, options, reader.voice_name, found)
    reader.prepare(round_, options)
    read = [reader.dictation(turn) for turn in round_.turns]
    walk, words = _walk(head, round_, options), homework_words()
    style, script = asset_text("shared/look.css") + asset_text("page.css"), homework_script()
    pupil = round_.turns[0].pupil
    html = _template().render(
        title=words["page"]["begin"] + f": {round_.name}",
        about=round_.name,
        pupil=pupil,
        consent=round_.turns[0].consent,
        t=words["page"],
        licence=asset_text("vosk/LICENSE"),
        style=Markup(style),
        script=Markup(script),
        policy=_policy(script, style, walk),
        data=Markup(inside_script(_data(head, round_, options, found, read))),
        parts=[*_parts(walk), ("test", _test_clip(found, round_)), *_sounds(read, reader, options)],
        files=_files(found, round_),
    )
    if len(html) > LARGEST_PAGE:
        raise BadInput(
            f"the page would have {len(html) / 1e6:.1f} MB and may have {LARGEST_PAGE / 1e6:.0f}: "
            "give fewer sums, or shorter ones"
        )
    return Homework(html, head)


def _head(round_: Round, options: Options, voice: str, model: Model) -> dict[str, Any]:
    """The head of the page's sessions, with a name for this homework among all others. Raises
    BadInput for more than one pupil."""
    if len({turn.pupil for turn in round_.turns}) != 1:
        raise BadInput("a page that goes home is for one pupil")
    name = f"{model.name} {model.version}".strip()
    software = f"oralquiz {__version__}, page"
    head = header(round_, options, voice=voice, model=name, software=software)
    given = head.pop("id")
    del head["created"]
    return {**head, "homework": given}


def _data(
    head: Mapping[str, Any],
    round_: Round,
    options: Options,
    model: Model,
    read: list[Dictation],
) -> str:
    """What the page's script is given, as JSON."""
    table, words = phrases(), homework_words()["script"]
    shown = {verdict.value: sign_and_word(verdict, table) for verdict in Verdict}
    shown["none"] = sign_and_word(None, table)
    page = table.tables["page"]
    slug = re.sub(r"\W+", "-", round_.turns[0].pupil.lower()).strip("-") or "answers"
    return json.dumps(
        {
            "file": f"{slug}-{head['homework'][:6]}.zip",
            "head": head,
            "options": options.as_json(),
            "highest": round_.highest,
            "calibration": model.calibration,
            "unknown": sorted(model.unknown),
            "test": _test(model, round_).value,
            "sums": [
                {
                    "pace_s": one.pace_s,
                    "terms": [
                        {"text": term.text, "onset": term.onset, "offset": term.offset}
                        for term in one.terms
                    ],
                }
                for one in read
            ],
            "words": {
                **words,
                "signs": {name: sign for name, (sign, _) in shown.items()},
                "verdicts": {name: word for name, (_, word) in shown.items()},
                **{key: page[key] for key in ("heard", "typed", "heard_nothing")},
            },
        },
        ensure_ascii=False,
        separators=(",", ":"),
    )


def _test_clip(model: Model, round_: Round) -> str:
    samples = read_recording(model.path / _test(model, round_).file, SESSION_RATE)
    return as_letters(_flac(samples))


def _test(model: Model, round_: Round) -> SelfTest:
    """The clip by which the page finds out whether its decoder works. Raises BadInput."""
    fitting = [test for test in model.self_tests if test.value <= round_.highest]
    if not model.graphs or not fitting:
        raise BadInput(
            f"model {model.name} has no clip of a number up to {round_.highest}, by which a page "
            "could find out whether it hears"
        )
    return fitting[-1]


def _parts(walk: str) -> list[tuple[str, str]]:
    """The packed parts by the id under which the script finds them."""
    return [
        ("decoder", packed(asset("vosk/vosk.js"))),
        ("wasm", as_letters(asset("vosk/vosk.wasm.gz"))),
        ("worker", packed(worker_script())),
        ("worklet", as_letters(asset("shared/worklet.js"))),
        ("walk-page", packed(_around_data(walk))),
    ]


def _sounds(read: list[Dictation], reader: VoiceReader, options: Options) -> list[tuple[str, str]]:
    phrase = reader.phrase(options.ask_again_text).samples
    sums = [(f"sum-{number}", one.samples) for number, one in enumerate(read)]
    return [(name, as_letters(_flac(sound))) for name, sound in [*sums, ("phrase", phrase)]]


def _flac(samples: Samples) -> bytes:
    return flac_bytes(samples, SESSION_RATE)


def _files(model: Model, round_: Round) -> list[tuple[str, str]]:
    """The model's files by the names that the decoder reads."""
    graph = model.graph(0, round_.highest)
    return [(name, packed(path.read_bytes())) for name, path in needed_files(model, graph).items()]


def _walk(head: Mapping[str, Any], round_: Round, options: Options) -> str:
    """The replay's page with every sum of the round, none of them answered yet."""
    turns = tuple(
        Answered(index, turn.pupil, turn.sum, turn.consent, 0, 0)
        for index, turn in enumerate(round_.turns)
    )
    silence = np.zeros((0, 2), dtype=np.int16)
    return build_page(Session(head, round_, (), options, turns, silence))


def _around_data(walk: str) -> str:
    """The replay's page as JSON: what comes before its data, the data, what comes after it."""
    head, rest = walk.split(_DATA)
    end = rest.index("</script>")
    return json.dumps([head + _DATA, json.loads(rest[:end]), rest[end:]], ensure_ascii=False)


def _policy(script: str, style: str, walk: str) -> str:
    """The page's content security policy, which the frame of the ``walk`` inherits."""
    own = {content_hash(script), content_hash(style)}
    hashes = " ".join(f"'{one}'" for one in sorted(own | set(re.findall(r"sha256-[\w+/=]+", walk))))
    return (
        f"default-src 'none'; script-src {hashes} 'wasm-unsafe-eval' data:; worker-src blob:; "
        f"style-src {hashes}; media-src blob:; base-uri 'none'; form-action 'none'"
    )


def _template() -> Any:
    environment = Environment(
        autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    return environment.from_string(asset_text("page.html.j2"))
