"""The replay as one page that needs nothing else: no network, no other file, no server.

The template, the style and the script's modules are files beside this module. Everything from the
session is escaped by Jinja or, inside the data, has its ``<`` written as an escape of JSON. The
page's content security policy allows exactly its own style and script, by their hashes, and no
network.
"""

from __future__ import annotations

import base64
import hashlib
import json
from collections.abc import Sequence
from importlib.resources import files
from typing import Any

from jinja2 import Environment, StrictUndefined, Template
from markupsafe import Markup

from oralquiz.beads import MoveOrder
from oralquiz.replay import picture
from oralquiz.replay import replay_audio as sound
from oralquiz.replay.local_dates import local_date
from oralquiz.replay.page_data import explained, recorded, shared_words, sum_data
from oralquiz.replay.page_script import page_script
from oralquiz.replay.spoken_steps import Explainer
from oralquiz.replay.step_words import DEFAULT_LANGUAGE, Form, form_for, phrases
from oralquiz.replay.turn_sheet import Symbols, sheet
from oralquiz.replay.turn_story import ORDERS, TurnStory, choose, tell_turns
from oralquiz.session import Session, cues
from oralquiz.speak import Voice

MOST_SOUND = 800_000
"""Bytes of sound in a page, before base64 makes a third more of it: a page of ten sums stays
under 1.5 MB."""

BINS = 240  # stretches of the drawn sound


def build_page(
    session: Session,
    *,
    language: str = DEFAULT_LANGUAGE,
    only_wrong: bool = False,
    pupil: str = "",
    voice: Voice | None = None,
) -> str:
    """The replay of ``session`` as HTML.

    ``only_wrong`` leaves out what was answered right, ``pupil`` everybody else. ``voice`` adds
    the explanation spoken by it. Raises BadInput for a language without phrases, FrameError for
    a sum its frame cannot show, AudioError when the voice fails.
    """
    table = phrases(language)
    told = tell_turns(session, choose(session.turns, only_wrong=only_wrong, pupil=pupil))
    columns, order = session.round.columns, session.round.move_order
    form = form_for(columns)
    forms: tuple[Form, ...] = ("hands", "frame") if form == "hands" else ("frame",)
    tracks, sounds = _tracks(session, told, Explainer(voice, form, table) if voice else None)
    data = {
        "form": form,
        "order": ORDERS.index(order),
        "words": shared_words(table, forms),
        "sums": [sum_data(one, forms, table, its) for one, its in zip(told, tracks, strict=True)],
    }
    symbols = Symbols(columns, form)
    sheets = [sheet(one, order, form, table, symbols) for one in told]
    style, script = _file("drawing.css") + _file("page.css"), page_script()
    page = table.tables["page"]
    voices = any(one.turn.consent and one.timing.answers for one in told)
    return _template().render(
        language=language,
        title=table.text("page", "title", name=session.round.name),
        about=table.text(
            "page",
            "about",
            date=local_date(session.round.created),
            pace=table.decimal(session.options.pace_s),
        ),
        damage=table.text("page", "damage", damage=session.damage) if session.damage else "",
        care=page["care"] if voices else page["care_silent"],
        t=page,
        columns=columns,
        both_forms=len(forms) > 1,
        ones_first=order is MoveOrder.ONES_FIRST,
        explained=voice is not None,
        sheets=sheets,
        symbols=Markup(symbols.drawn()),
        live=[(f, Markup(picture.picture(0, columns, f, name="0", live=True))) for f in forms],
        sounds=[(name, base64.b64encode(mp3).decode()) for name, mp3 in sounds.items()],
        data=Markup(inside_script(json.dumps(data, ensure_ascii=False, separators=(",", ":")))),
        style=Markup(style),
        script=Markup(script),
        policy=(
            f"default-src 'none'; script-src '{content_hash(script)}'; "
            f"style-src '{content_hash(style)}'; "
            "media-src blob:; base-uri 'none'; form-action 'none'"
        ),
    )


def _tracks(
    session: Session, told: Sequence[TurnStory], explainer: Explainer | None
) -> tuple[list[dict[str, Any]], dict[str, bytes]]:
    """For each turn its tracks by name; and every sound they need, by name."""
    rate, captions = session.sample_rate, tuple(cues(session.events))
    tracks: list[dict[str, Any]] = [{} for _ in told]
    sounds: dict[str, bytes] = {}
    if explainer is not None:
        for one, its in zip(told, tracks, strict=True):
            story = one.stories[ORDERS.index(session.round.move_order)]
            its["explained"] = explained(explainer.explain(story))
        sounds |= explainer.pieces
    clips = [sound.mix(session.audio, one.timing, rate) for one in told]
    left = MOST_SOUND - sum(map(len, sounds.values()))
    bits = sound.best_rate([len(clip) / rate for clip in clips], left)
    for n, (one, clip, its) in enumerate(zip(told, clips, tracks, strict=True)):
        name = f"sound-{n}" if len(clip) > sound.DELAY else ""
        if name:
            sounds[name] = sound.encode(clip, rate, bits)
        lanes = sound.lanes(session.audio, one.timing)
        outlines = [sound.outline(lane, BINS) for lane in lanes]
        its["round"] = recorded(one.timing, rate, captions, name, outlines)
    return tracks, sounds


def _template() -> Template:
    environment = Environment(
        autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    return environment.from_string(_file("page.html.j2"))


def _file(name: str) -> str:
    return files(__package__).joinpath("assets", name).read_text("utf-8")


def inside_script(text: str) -> str:
    """JSON that can stand in a script element: nothing in it can end the element."""
    return text.replace("<", "\\u003c").replace("\u2028", "\\u2028").replace("\u2029", "\\u2029")


def content_hash(text: str) -> str:
    """How a content security policy names an inline style or script (CSP level 2)."""
    return "sha256-" + base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
