"""Coming in and going out; where there are no accounts, saying who one is."""

from __future__ import annotations

import secrets
from typing import Annotated
from urllib.parse import urlsplit

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from kuraban.edges.signing import DEVICE_LASTS, VISIT_LASTS, Device, Visit
from kuraban.edges.web.page_context import (
    DEVICE,
    Anybody,
    Context,
    PageContext,
    Somebody,
    address,
    check_token,
)
from kuraban.edges.web.security.accounts import TooOften
from kuraban.edges.web.templating import give, keep, page

router = APIRouter(include_in_schema=False)

MOST_KNOWN = 8
"""Accounts that one device is known to have opened."""

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
    name, device = name.strip(), _device(request, context)
    mark = device.mark if name in device.accounts else None
    try:
        account, wait = context.accounts.admit(name, password, address(request), mark), None
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
    _end(context, visitor)
    led = _led(context, visitor, visit, inside(next))
    others = [one for one in device.accounts if one != account.id]
    known = device._replace(since=context.clock(), accounts=(account.id, *others[: MOST_KNOWN - 1]))
    give(led, context, DEVICE, context.signer.device(known), DEVICE_LASTS)
    return led


def _device(request: Request, context: PageContext) -> Device:
    """The browser with the accounts that were opened there before, none of them for a new one."""
    held = request.cookies.get(DEVICE, "")
    known = context.signer.read_device(held, context.clock())
    return known or Device(secrets.token_urlsafe(12), 0.0, ())


def _end(context: PageContext, visitor: Anybody) -> None:
    """The visit is over, on whatever device its cookie may be."""
    if visitor.visit.account is not None:
        now = context.clock()
        context.signed_out.add(visitor.visit.nonce, now, now + VISIT_LASTS)


@router.post("/logout")
def go_out(context: Context, visitor: Anybody, token: Field = "") -> Response:
    check_token(context, visitor, token)
    _end(context, visitor)
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
