"""The files that the page is put together from: scripts, style, words, the decoder for browsers."""

from __future__ import annotations

import base64
import gzip
import tomllib
from functools import cache
from importlib.resources import files
from typing import Any

from oralquiz.replay import join_modules

SHARED = ("oralquiz.homework", "assets/shared")
"""Package and folder of what the pages of the web app have in common with this one."""


def asset(name: str) -> bytes:
    """The file ``name``, below ``assets``."""
    return files(__package__).joinpath("assets", name).read_bytes()


def asset_text(name: str) -> str:
    return asset(name).decode("utf-8")


@cache
def worker_script() -> str:
    """What runs in the page's worker: it hears and judges. The decoder's own script goes before."""
    return join_modules(lambda name: asset_text(f"hearing/{name}.js"))


@cache
def homework_script() -> str:
    """What runs in the page itself."""
    return join_modules(_page_module)


def _page_module(name: str) -> str:
    own = files(__package__).joinpath("assets", "page", f"{name}.js")
    return own.read_text("utf-8") if own.is_file() else asset_text(f"shared/{name}.js")


@cache
def homework_words() -> dict[str, Any]:
    """What the page says: the tables of words.toml."""
    return tomllib.loads(files(__package__).joinpath("words.toml").read_text("utf-8"))


def packed(content: bytes | str) -> str:
    """``content`` as it stands in the page: gzip, in letters."""
    raw = content.encode() if isinstance(content, str) else content
    return as_letters(gzip.compress(raw, 9, mtime=0))


def as_letters(content: bytes) -> str:
    """``content`` in letters, as it is."""
    return base64.b64encode(content).decode()
