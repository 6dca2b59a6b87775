"""The types that the pages' scripts rely on (static/protocol.js), read for tests.

What really travels is checked against them, so that the scripts' type checker works on true types.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any

import oralquiz.web

PROTOCOL = Path(oralquiz.web.__file__).parent / "static" / "protocol.js"

_TYPEDEF = re.compile(r"@typedef \{(.+?)\} (\w+)(.*?)(?=@typedef|\Z)", re.DOTALL)
_PROPERTY = re.compile(r"@property \{(.+?)\} (\[?)(\w+)")


@cache
def types() -> Mapping[str, str]:
    """Each type of protocol.js by name; an object as ``{ name: type, other?: type }``."""
    text = re.sub(r"^ \*(?: |$)", "", PROTOCOL.read_text("utf-8"), flags=re.MULTILINE)
    found: dict[str, str] = {}
    for type_, name, rest in _TYPEDEF.findall(text):
        if type_ == "object":
            properties = _PROPERTY.findall(rest)
            fields = [
                f"{field}{'?' if optional else ''}: {of}" for of, optional, field in properties
            ]
            found[name] = f"{{ {', '.join(fields)} }}"
        else:
            found[name] = " ".join(type_.split())
    return found


def literals(name: str) -> set[str]:
    """The words that the union ``name`` allows."""
    return {part.strip('"') for part in _split(types()[name], "|")}


def members(name: str) -> list[str]:
    """The types of objects that the union ``name`` is made of."""
    parts = _split(types()[name], "|")
    if len(parts) == 1:
        return [name]
    return [member for part in parts for member in members(part)]


def fields(type_: str) -> dict[str, str]:
    """The fields of an object, an optional one with a question mark: name -> type."""
    inside = types().get(type_, type_).strip()[1:-1]
    pairs = (part.split(":", 1) for part in _split(inside, ","))
    return {name.strip(): of.strip() for name, of in pairs}


def fits(value: Any, type_: str) -> bool:
    """Whether a value of JSON is of ``type_``: neither a field too many nor one too few."""
    parts = _split(type_, "|")
    if len(parts) > 1:
        return any(fits(value, part) for part in parts)
    if type_ in _PLAIN:
        return isinstance(value, _PLAIN[type_]) and (type_ == "boolean" or value is not True)
    if type_.startswith('"'):
        return bool(value == type_.strip('"'))
    if type_.endswith("[]"):
        return isinstance(value, list) and all(fits(one, type_[:-2]) for one in value)
    if type_.startswith("["):
        of = _split(type_[1:-1], ",")
        return isinstance(value, list) and len(value) == len(of) and all(map(fits, value, of))
    if type_.startswith("Record<"):
        key, of_value = _split(type_[len("Record<") : -1], ",")
        return _has(value, dict.fromkeys(literals(key), of_value))
    if type_.startswith("{"):
        return _has(value, fields(type_))
    return fits(value, types()[type_])


_PLAIN: dict[str, Any] = {
    "boolean": bool,
    "number": int | float,
    "string": str,
    "null": type(None),
}


def _has(value: Any, wanted: Mapping[str, str]) -> bool:
    if not isinstance(value, dict) or not value.keys() <= {name.rstrip("?") for name in wanted}:
        return False
    return all(
        fits(value[name.rstrip("?")], of) if name.rstrip("?") in value else name.endswith("?")
        for name, of in wanted.items()
    )


def _split(text: str, at: str) -> list[str]:
    """The parts of ``text`` between ``at``, where no bracket is open."""
    parts, depth = [""], 0
    for letter in text:
        depth += (letter in "{[<") - (letter in "}]>")
        if letter == at and depth == 0:
            parts.append("")
        else:
            parts[-1] += letter
    return [part.strip() for part in parts]
