"""Templates to pages: everything that is filled in is escaped, and nothing may be left out."""

from __future__ import annotations

from functools import cache
from hashlib import blake2b
from pathlib import Path
from uuid import uuid4

from fastapi import Request
from fastapi.responses import HTMLResponse, Response
from jinja2 import Environment, FileSystemLoader, StrictUndefined

from kuraban.edges.signing import VISIT_LASTS
from kuraban.edges.web.page_context import COOKIE, PageContext, Visitor
from kuraban.edges.web.translator import Translator

HERE = Path(__file__).parent
STATIC = HERE / "static"
STILL_AFTER = 90.0
"""Seconds after which a picture that nobody renews says that the watch stands still."""


@cache
def templates() -> Environment:
    return Environment(
        loader=FileSystemLoader(HERE / "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


@cache
def edition(name: str) -> str:
    """Changes with the file, so that a browser may keep the old one for long."""
    return blake2b((STATIC / name).read_bytes(), digest_size=4).hexdigest()


def static(name: str) -> str:
    return f"/static/{name}?{edition(name)}"


def fill(template: str, w: Translator, **fields: object) -> str:
    """A part of a page, as it is sent to a page that is open."""
    return templates().get_template(template).render(w=w, static=static, new_id=_new_id, **fields)


def _new_id() -> str:
    return str(uuid4())


def page(
    request: Request, context: PageContext, visitor: Visitor, template: str, status: int = 200,
    **fields: object,
) -> HTMLResponse:  # fmt: skip
    """A whole page, and the browser's cookie where it needs one."""
    now, snapshot = context.clock(), context.hub.snapshot
    still = snapshot is not None and now - snapshot.at > STILL_AFTER
    told = bool(request.query_params.get("told")) and fields.get("told", True) is None
    html = fill(
        template,
        context.translator(visitor.language),
        site=context.house.site.name,
        people=context.house.people,
        visitor=visitor,
        accounts=bool(context.accounts),
        token=context.signer.token(visitor.visit),
        path=request.url.path,
        languages=tuple(context.words.catalogue),
        as_of=now if snapshot is None else snapshot.at,
        still=snapshot.at if snapshot is not None and still else None,
        ringing=0 if snapshot is None else snapshot.ringing,
        pending=told,
        **fields,
    )
    response = HTMLResponse(html, status)
    response.headers["content-language"] = visitor.language
    if visitor.fresh:
        keep(response, context, visitor)
    return response


def keep(response: Response, context: PageContext, visitor: Visitor) -> None:
    """Give the browser its visit."""
    give(response, context, COOKIE, context.signer.visit(visitor.visit), VISIT_LASTS)


def give(response: Response, context: PageContext, name: str, text: str, lasts: float) -> None:
    """Give the browser a cookie, for us alone."""
    response.set_cookie(
        name, text, max_age=int(lasts), httponly=True, samesite="strict", secure=context.encrypted
    )
