"""The words of the pages for verdicts and phases: one source for templates and scripts."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from typing import Any

from oralquiz.judge import Verdict
from oralquiz.replay import phrases, sign_and_word


def shown(verdict: Verdict | None) -> Mapping[str, str]:
    """``sign`` and ``word`` of a verdict: colour alone tells nothing. None: not judged."""
    sign, word = sign_and_word(verdict, phrases())
    return {"sign": sign, "word": word}


@cache
def verdicts() -> Mapping[str, Mapping[str, str]]:
    """Every verdict's sign and word, by its value."""
    return {verdict.value: shown(verdict) for verdict in Verdict}


@cache
def page_words() -> Mapping[str, Any]:
    """The tables of words.toml, for the ``teacher``, ``projector`` and ``pupil`` pages; the
    teacher's has the verdicts with it."""
    tables = tomllib.loads(files("oralquiz.web").joinpath("words.toml").read_text("utf-8"))
    return {**tables, "teacher": {**tables["teacher"], "verdicts": verdicts()}}
