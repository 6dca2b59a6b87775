"""The replay page's script in one piece: its modules put end to end, without a build step.

A page that is opened as a file cannot load modules, so their text goes into the page. Each module
comes after those that it imports, and all share one scope: the import lines and the word ``export``
are dropped. So a module may only import names, unchanged, from a module beside it, and no two
modules may have one name at their top level; both are checked here.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable
from functools import cache
from importlib.resources import files

ENTRY = "main"

_NAMES = r"\{\s*\w+(?:,\s*\w+)*,?\s*\}"
_IMPORT = re.compile(rf'^import (?:{_NAMES} from )?"\./([a-z]+)\.js";\n', re.MULTILINE)
_EXPORT = re.compile(r"^export (?=(?:async )?(?:function|class|const|let)\b)", re.MULTILINE)
_NAME = re.compile(r"^(?:export )?(?:async )?(?:function|class|const|let) (\w+)", re.MULTILINE)
_COMMENT = re.compile(r"^[ \t]*(?:/\*\*.*?\*/|//[^\n]*)\n", re.MULTILINE | re.DOTALL)
_LEFT = re.compile(r"^(?:import|export)\b.*", re.MULTILINE)


@cache
def page_script() -> str:
    """The script of every replay page, for a module script element."""
    return join_modules(_module)


def join_modules(module: Callable[[str], str]) -> str:
    """The text of ``main`` after all that it imports; ``module`` gives a module's text by name.

    Raises ValueError for a module that cannot share a scope with the others.
    """
    texts: dict[str, str] = {}
    _add(ENTRY, module, texts, [])
    names = Counter(name for text in texts.values() for name in _NAME.findall(text))
    twice = sorted(name for name, count in names.items() if count > 1)
    if twice:
        raise ValueError(f"more than one module of the page has {', '.join(twice)}")
    return "\n".join(_inlined(name, text) for name, text in texts.items())


def _add(name: str, module: Callable[[str], str], texts: dict[str, str], path: list[str]) -> None:
    """Put ``name`` into ``texts``, after what it imports."""
    if name in path:
        raise ValueError(f"{' > '.join([*path, name])}: modules import each other in a circle")
    if name in texts:
        return
    text = module(name)
    for imported in _IMPORT.findall(text):
        _add(imported, module, texts, [*path, name])
    texts[name] = text


def _inlined(name: str, text: str) -> str:
    """A module's text without imports, exports and whole-line comments."""
    text = _EXPORT.sub("", _IMPORT.sub("", _COMMENT.sub("", text)))
    left = _LEFT.search(text)
    if left:
        raise ValueError(f"{name}.js cannot go into the page: {left[0]}")
    return text


def _module(name: str) -> str:
    return files(__package__).joinpath("assets", "page", f"{name}.js").read_text("utf-8")
