"""Coming in and going out; where there are no accounts, saying who one is."""

from __future__ import annotations

import secrets
from typing import Annotated
from urllib.parse import urlsplit

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from kuraban.edges.signing import Visit
from kuraban.edges.web.page_context import Anybody, Context, Somebody, address, check_token
from kuraban.edges.web.security.accounts import TooOften
from kuraban.edges.web.templating import keep, page

router = APIRouter(include_in_schema=False)

Field = Annotated[str, Form(max_length=300)]


def inside(path: str) -> str:
    """A path of our own pages, whatever was asked for."""
    try:
        parts = urlsplit(path)
    except ValueError:
        return "/"
    own = path.startswith("/") and not path.startswith(("//", "/\\")) and path.isprintable()
    return path if own and not parts.scheme and not parts.netloc and "\\" not in path else "/"


@router.get("/login")
def login(request: Request, context: Context, visitor: Anybody, next: str = "/") -> HTMLResponse:
    return page(
        request, context, visitor, "login.html", next=inside(next), name="", wrong=False, wait=None
    )


@router.post("/login")
def come_in(
    request: Request, context: Context, visitor: Anybody, name: Field = "",
    password: Field = "", token: Field = "", next: Field = "/",
) -> Response:  # fmt: skip
    check_token(context, visitor, token)
    try:
        account, wait = context.accounts.admit(name.strip(), password, address(request)), None
    except TooOften as often:
        account, wait = None, often.seconds
    if account is None:
        refused = page(
            request, context, visitor, "login.html", 401 if wait is None else 429,
            next=inside(next), name=name, wrong=wait is None, wait=wait,
        )  # fmt: skip
        if wait is not None:
            refused.headers["retry-after"] = str(int(wait) + 1)
        return refused
    visit = Visit(
        secrets.token_urlsafe(12), context.clock(), account.id, context.accounts.stamp(account),
        language=visitor.visit.language,
    )  # fmt: skip
    return _led(context, visitor, visit, inside(next))


@router.post("/logout")
def go_out(context: Context, visitor: Anybody, token: Field = "") -> Response:
    check_token(context, visitor, token)
    visit = Visit(secrets.token_urlsafe(12), context.clock(), language=visitor.visit.language)
    return _led(context, visitor, visit, "/login" if context.accounts else "/")


@router.post("/who")
def who(
    context: Context, visitor: Somebody, person: Field = "", token: Field = "", next: Field = "/"
) -> Response:
    """Without accounts: the name that goes into entries from this browser."""
    check_token(context, visitor, token)
    known = person if person in context.house.person else None
    return _led(context, visitor, visitor.visit._replace(who=known), inside(next))


def _led(context: Context, visitor: Anybody, visit: Visit, path: str) -> Response:
    response = RedirectResponse(path, 303)
    keep(response, context, type(visitor)(visit, visitor.role, visitor.by, visitor.language))
    return response
