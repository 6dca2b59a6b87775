"""The session file's JSON Schema, and what in a file breaks it, in one line."""

from __future__ import annotations

import json
from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from typing import Any

from jsonschema import Draft202012Validator
from jsonschema.exceptions import best_match


@cache
def schema(name: str) -> dict[str, Any]:
    """The schema of ``session`` (session.json) or ``event`` (a line of events.jsonl)."""
    text = files(__package__).joinpath(f"{name}.schema.json").read_text("utf-8")
    content: dict[str, Any] = json.loads(text)
    return content


@cache
def _validator(name: str) -> Draft202012Validator:
    return Draft202012Validator(schema(name))


def problem(name: str, content: Mapping[str, Any]) -> str:
    """Where ``content`` breaks the schema ``name`` and how; empty if it does not."""
    error = best_match(_validator(name).iter_errors(content))
    if error is None:
        return ""
    place = "".join(f"[{key}]" if isinstance(key, int) else f".{key}" for key in error.path)
    said = error.message if len(error.message) <= 120 else f"{error.message[:117]}..."
    return f"{place.lstrip('.')}: {said}" if place else said
