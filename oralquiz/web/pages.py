"""What every page shares: the templates, the notes for the next page, forms."""

from __future__ import annotations

import re
from collections.abc import Awaitable, Callable, Mapping
from functools import wraps
from importlib.resources import files
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from oralquiz import __version__
from oralquiz.errors import OralquizError
from oralquiz.listen import readable
from oralquiz.records import Pupil
from oralquiz.replay import local_date, local_time, written
from oralquiz.web.identity import classroom_of, who
from oralquiz.web.words import page_words, shown, verdicts

_templates = Environment(
    loader=PackageLoader("oralquiz.web"),
    autoescape=True,
    undefined=StrictUndefined,
    trim_blocks=True,
    lstrip_blocks=True,
)
_templates.filters["written"] = written
_templates.filters["local_time"] = local_time
_templates.filters["local_date"] = local_date
_templates.filters["readable"] = readable
_templates.filters["shown"] = shown
_templates.globals["page_words"] = page_words

CARD_OVER = "Your card is no longer valid. Ask your teacher for a new one."

Form = Mapping[str, str]
Page = Callable[[Request], Awaitable[Response]]
PupilPage = Callable[[Request, Pupil], Awaitable[Response]]


def page(request: Request, template: str, status: int = 200, **values: Any) -> HTMLResponse:
    """A template with what every template needs."""
    note = request.session.pop("note", "")
    here = {
        "path": request.url.path,
        "note": note,
        "trouble": "",
        "verdicts": verdicts(),
        "version": __version__,
        "locked": bool(classroom_of(request).keys.passphrase),
        "network_url": classroom_of(request).network_url,
    }
    return HTMLResponse(_templates.get_template(template).render(here | values), status)


def go(request: Request, path: str, note: str = "") -> RedirectResponse:
    """To another page, which says ``note`` once."""
    if note:
        request.session["note"] = note
    return RedirectResponse(path, 303)


def whole_number(text: str) -> int | None:
    """A number of at most nine digits; None for anything else."""
    return int(text) if re.fullmatch("[0-9]{1,9}", text) else None


async def form_of(request: Request) -> dict[str, str]:
    """The fields of a form, each once; files are not taken."""
    async with request.form(max_files=0, max_fields=200) as form:
        return {name: _text(value) for name, value in form.items() if isinstance(value, str)}


async def chosen_of(request: Request, name: str) -> list[str]:
    """Every value of a field that may come several times."""
    form = await request.form(max_files=0, max_fields=200)
    return [_text(value) for value in form.getlist(name) if isinstance(value, str)]


def _text(value: str) -> str:
    """``value`` without half of a surrogate pair, which a form's charset can smuggle in: nothing
    can store or show one."""
    return value.encode("utf-8", "replace").decode("utf-8")


def teachers(view: Page) -> Page:
    """Only for the teacher; others are sent to sign in."""

    @wraps(view)
    async def guarded(request: Request) -> Response:
        here = await who(request)
        if here.teacher:
            return await view(request)
        if here.pupil is not None:
            return page(request, "refused.html", 403)
        return RedirectResponse("/enter", 303)

    return guarded


def pupils_only(view: PupilPage) -> Page:
    """Only for a pupil, who is handed to the view."""

    @wraps(view)
    async def guarded(request: Request) -> Response:
        here = await who(request)
        if here.pupil is None:
            had_card = request.session.pop("card", None) is not None
            return go(request, "/join", CARD_OVER if had_card else "")
        return await view(request, here.pupil)

    return guarded


def asset(package: str, *path: str) -> str:
    """A text file that comes with the package."""
    return files(package).joinpath(*path).read_text("utf-8")


async def icon(request: Request) -> Response:
    """For pages that name no icon: browsers then ask for this one."""
    return Response(asset("oralquiz.web", "static", "icon.svg"), media_type="image/svg+xml")


def plainly(error: OralquizError) -> str:
    """An error as a sentence on a page."""
    text = str(error)
    return text[:1].upper() + text[1:] + ("" if text.endswith((".", "?", "!")) else ".")
