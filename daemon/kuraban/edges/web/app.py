"""All pages together, and what is said where one cannot be had."""

from __future__ import annotations

from http import HTTPStatus
from urllib.parse import quote

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.middleware.gzip import GZipMiddleware
from fastapi.responses import JSONResponse, PlainTextResponse, RedirectResponse, Response
from fastapi.staticfiles import StaticFiles
from starlette.exceptions import HTTPException
from starlette.types import Receive, Scope, Send

import kuraban
from kuraban.edges.web import wall
from kuraban.edges.web.due import page as work_due
from kuraban.edges.web.due import work_calendar
from kuraban.edges.web.live import sse as live
from kuraban.edges.web.page_context import (
    NotAllowed,
    NotKnown,
    NotTheirs,
    NotYet,
    PageContext,
    anybody,
)
from kuraban.edges.web.programs import api, metrics
from kuraban.edges.web.security import sign_in as entrance
from kuraban.edges.web.security.accounts import TooOften
from kuraban.edges.web.templating import STATIC, page
from kuraban.edges.web.views import addition as mixing
from kuraban.edges.web.views import alarms as ringing
from kuraban.edges.web.views import answer_links as answers
from kuraban.edges.web.views import batch_sheet as record
from kuraban.edges.web.views import (
    batches,
    cellar,
    coolers,
    guide,
    home_screen,
    koji,
    place,
    side_by_side,
    why,
)
from kuraban.edges.web.views import replan as redraw
from kuraban.edges.web.views import setup as setting_up
from kuraban.errors import JournalError

PROGRAMS = (api.PREFIX, "/metrics")
WORDS = {
    401: "sign in first: name and password with the request",
    403: "this account may not do that, or the form was not one of ours",
    404: "there is no such page",
    405: "that cannot be done to this page",
    409: "somebody else made that entry; it waits until they sign in here",
    503: "the watch has just started; try again in a moment",
}


class Files(StaticFiles):
    """Files of the pages, kept by browsers for a year: their address changes when they do."""

    def file_response(self, *args: object, **more: object) -> Response:
        response: Response = super().file_response(*args, **more)  # type: ignore[arg-type]
        response.headers["cache-control"] = "public, max-age=31536000, immutable"
        return response


class Packed(GZipMiddleware):
    """Files and drawings come packed. A page does not: with somebody's token in it beside what they
    typed, its length could tell the token (BREACH)."""

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        path = scope.get("path", "")
        packs = path.startswith("/static/") or path.endswith(".svg")
        await (super().__call__ if packs else self.app)(scope, receive, send)


def make_app(context: PageContext) -> FastAPI:
    """The pages of one house, without the guard that stands before them."""
    app = FastAPI(
        title="kuraban",
        version=kuraban.__version__,
        description="Night watch over the planned temperatures of a sake brewery.",
        openapi_url=f"{api.PREFIX}/openapi.json",
        docs_url=None,
        redoc_url=None,
    )
    app.state.context = context
    app.state.press = live.Press()
    every = (
        *(cellar, place, ringing, setting_up, answers, entrance, live, api, metrics, batches),
        *(record, redraw, koji, coolers, mixing, home_screen, side_by_side, why, guide),
        *(work_due, work_calendar, wall),
    )
    for part in every:
        app.include_router(part.router)
    for programs in (
        record.programs,
        redraw.programs,
        koji.programs,
        coolers.programs,
        side_by_side.programs,
        why.programs,
        work_due.programs,
    ):
        app.include_router(programs)
    app.mount("/static", Files(directory=STATIC))
    app.add_middleware(Packed)
    app.add_exception_handler(NotKnown, _not_known)
    app.add_exception_handler(TooOften, _too_often)
    app.add_exception_handler(RequestValidationError, _not_valid)
    app.add_exception_handler(HTTPException, _http)
    for kind, status in ((NotAllowed, 403), (NotTheirs, 409), (NotYet, 503), (JournalError, 503)):
        app.add_exception_handler(kind, _saying(status))
    return app


def _for_program(request: Request) -> bool:
    accepts = request.headers.get("accept", "")
    return request.url.path.startswith(PROGRAMS) or "application/json" in accepts


def _not_known(request: Request, error: Exception) -> Response:
    if _for_program(request):
        return JSONResponse({"detail": WORDS[401]}, 401)
    path = request.url.path
    return RedirectResponse(f"/login?next={quote(path if request.method == 'GET' else '/')}", 303)


def _too_often(request: Request, error: Exception) -> Response:
    assert isinstance(error, TooOften)
    wait = int(error.seconds) + 1
    words = f"too many wrong passwords; try again in {wait} s"
    return JSONResponse({"detail": words}, 429, {"retry-after": str(wait)})


def _not_valid(request: Request, error: Exception) -> Response:
    assert isinstance(error, RequestValidationError)
    first = error.errors()[0]
    where = ".".join(str(part) for part in first.get("loc", ())[1:])
    return _told(request, 422, f"{where}: {first.get('msg', 'cannot be read')}".removeprefix(": "))


def _http(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    status = error.status_code
    own = "" if error.detail == HTTPStatus(status).phrase else str(error.detail)
    response = _told(request, status, own or WORDS.get(status, str(error.detail)))
    response.headers.update(error.headers or {})
    return response


def _saying(status: int):  # type: ignore[no-untyped-def]
    def handler(request: Request, error: Exception) -> Response:
        return _told(request, status, WORDS[status])

    return handler


def _told(request: Request, status: int, words: str) -> Response:
    """To a program in JSON, to a person as a page in their language."""
    if _for_program(request):
        return JSONResponse({"detail": words}, status)
    context: PageContext = request.app.state.context
    try:
        visitor = anybody(request, context)
    except TooOften:
        return PlainTextResponse(words, status)
    return page(request, context, visitor, "sorry.html", status, number=status, words=words)
