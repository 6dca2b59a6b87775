"""The app: routes, middleware, nothing else."""

from __future__ import annotations

from collections.abc import Sequence

from starlette.applications import Starlette
from starlette.convertors import Convertor, register_url_convertor
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.middleware.sessions import SessionMiddleware
from starlette.requests import ClientDisconnect, Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Mount, Route, WebSocketRoute
from starlette.staticfiles import StaticFiles

from oralquiz.errors import BadInput
from oralquiz.homework import SHARED
from oralquiz.web import login, pages, plan_pages, sockets
from oralquiz.web import pupil_pages as pupil
from oralquiz.web import pupil_progress as progress
from oralquiz.web import result_pages as results
from oralquiz.web import teacher_pages as teacher
from oralquiz.web.classroom import Classroom
from oralquiz.web.credentials import Limit
from oralquiz.web.pages import page, plainly, teachers
from oralquiz.web.security import BODY_BYTES, Security


class CountConvertor(Convertor[int]):
    """A number in a path: at most nine digits, so that it is never too long to be read."""

    regex = "[0-9]{1,9}"

    def convert(self, value: str) -> int:
        return int(value)

    def to_string(self, value: int) -> str:
        return str(value)


register_url_convertor("count", CountConvertor())

COOKIE = "oralquiz"
COOKIE_LASTS_S = 60 * 24 * 3600
"""Longer than any visit (whose end is checked separately), so that a page can say what has
ended."""

REQUESTS = (600.0, 100.0)
"""Requests at once, and a second after that, from one address: enough for a class behind one."""


async def _lost(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    return page(request, "lost.html", error.status_code, trouble="There is no such page.")


async def _bad(request: Request, error: Exception) -> Response:
    assert isinstance(error, BadInput)
    return page(request, "lost.html", 400, trouble=plainly(error))


async def _cut_off(request: Request, error: Exception) -> Response:
    """A body that is too long (see Security), or whose sender is gone."""
    return PlainTextResponse(f"at most {BODY_BYTES} bytes\n", 413)


def create_app(classroom: Classroom, hosts: Sequence[str], *, secure: bool = False) -> Starlette:
    """The app over ``classroom``, answering to the names in ``hosts``; ``secure`` behind TLS.

    Two apps may share a classroom: one for this computer, one for the class network.
    """

    app = Starlette(
        routes=[
            Route("/", login.home),
            Route("/enter", login.enter, methods=["GET", "POST"]),
            Route("/leave", login.leave, methods=["POST"]),
            Route("/join", login.join, methods=["GET", "POST"]),
            Route("/lock", teachers(login.lock), methods=["POST"]),
            Route("/about", teacher.about),
            Route("/class", teacher.class_page),
            Route("/class", teacher.class_change, methods=["POST"]),
            Route("/class/erase", teacher.erase_page),
            Route("/class/pupil", progress.progress),
            Route("/plan", plan_pages.plan_page, methods=["GET", "POST"]),
            Route("/plan/sample", plan_pages.sample),
            Route("/plan/sample.wav", plan_pages.sample_sound),
            Route("/live", teacher.live_page),
            Route("/live/{round}/{number:count}.wav", results.live_sound),
            Route("/wall", teacher.wall_page),
            Route("/results", results.results),
            Route("/results/{round}", results.result),
            Route("/results/{round}/correct", results.correct, methods=["POST"]),
            Route("/results/{round}/replay", results.replay),
            Route("/results/{round}/{turn:count}.wav", results.answer_sound),
            Route("/me", pupil.me),
            Route("/me/ask", pupil.ask, methods=["POST"]),
            Route("/me/replay/{round}", results.own_replay),
            Route("/clip/{run}/{clip}", pupil.clip),
            Route("/chirp", pupil.chirp_sound),
            Route("/chirp", pupil.chirp_heard, methods=["POST"]),
            Route("/replay/{name}", results.replay_part),
            Route("/favicon.ico", pages.icon),
            Mount("/static", StaticFiles(packages=[("oralquiz.web", "static"), SHARED])),
            WebSocketRoute("/ws/me", sockets.pupil_socket),
            WebSocketRoute("/ws/teacher", sockets.teacher_socket),
            WebSocketRoute("/ws/wall", sockets.wall_socket),
        ],
        middleware=[
            Middleware(Security, hosts=hosts, secure=secure, limit=Limit(*REQUESTS)),
            Middleware(
                SessionMiddleware,
                secret_key=classroom.keys.secret,
                session_cookie=COOKIE,
                max_age=COOKIE_LASTS_S,
                same_site="strict",
                https_only=secure,
            ),
        ],
        exception_handlers={404: _lost, 405: _lost, BadInput: _bad, ClientDisconnect: _cut_off},
    )
    app.state.classroom = classroom
    return app
