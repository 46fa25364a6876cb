"""The cellar at a glance, for an old tablet on the wall: read only, in big letters.

Its address is all that is asked for, as a calendar's is, and is made anew or withdrawn on the page
of setting up. It tells what rings, what is outside, and every product; it changes nothing. It asks
for itself anew, without script by the browser's own means, and says when it is old.
"""

from __future__ import annotations

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from starlette.exceptions import HTTPException

from kuraban.core.views.wall import lamp_of
from kuraban.edges.web.forms.form_fields import TheForm
from kuraban.edges.web.page_context import Context, NotAllowed, PageContext, Somebody
from kuraban.edges.web.templating import fill
from kuraban.edges.web.translator import OUTSIDE, choose
from kuraban.edges.web.views.cellar import outstanding, rows, urgent
from kuraban.errors import MachineError

router = APIRouter(include_in_schema=False)

WALL = "@wall"
"""Among the marks of calendars; no person's id has such a sign."""
MOST_RINGS = 4
OLD = 60.0
"""Seconds after which what it shows is old."""


@router.get("/wall/{wall}")
def wall(request: Request, context: Context, wall: str) -> HTMLResponse:
    """404 for an address that is forged, renewed or withdrawn."""
    found = context.signer.read_feed(wall)
    if found is None or found.person != WALL or context.feeds.of(WALL) != found:
        raise HTTPException(404)
    language = choose(
        (request.query_params.get("lang"),), request.headers.get("accept-language", ""),
        tuple(context.words.catalogue), context.house.site.language,
    )  # fmt: skip
    snapshot, w = context.snapshot(), context.translator(language)
    rings = [*urgent(snapshot, "unacknowledged"), *urgent(snapshot, "acknowledged")]
    places = sorted(
        rows(snapshot),
        key=lambda one: (one.word not in OUTSIDE, not outstanding(snapshot, one)),
    )
    html = fill(
        "wall.html", w, site=context.house.site.name, at=snapshot.at, age=w.at - snapshot.at,
        old=OLD, lamp=lamp_of((ring.open, ring.urgency) for ring in rings),
        rings=rings[:MOST_RINGS], more=len(rings) - MOST_RINGS, places=places, note=snapshot.note,
    )  # fmt: skip
    return HTMLResponse(html, headers={"content-language": language})


@router.post("/wall")
def address(context: Context, visitor: Somebody, form: TheForm) -> Response:
    """The wall gets a new address, or none."""
    if not visitor.may("manage"):
        raise NotAllowed
    try:
        (context.feeds.withdraw if form.get("do") == "withdraw" else context.feeds.renew)(WALL)
    except MachineError as error:
        raise HTTPException(503, str(error)) from error
    return RedirectResponse("/setup#wall", 303)


def address_of(request: Request, context: PageContext) -> str | None:
    """Where the wall's page is, None while it has no address."""
    known = context.feeds.of(WALL)
    return None if known is None else f"{request.base_url}wall/{context.signer.feed(known)}"
