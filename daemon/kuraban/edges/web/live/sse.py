"""What changed, sent to pages that are open: server-sent events (WHATWG HTML, section 9.2).

Each event is the parts of the page that read differently than before, by their ids, ready to be
put in place, and bears the watch's time, by which the page dates what is tapped. A part is made
once for each language, however many phones watch.
"""

from __future__ import annotations

from collections.abc import AsyncIterator, Callable
from functools import partial
from hashlib import blake2b

import msgspec
from fastapi import APIRouter, Request
from fastapi.responses import StreamingResponse
from starlette.exceptions import HTTPException

from kuraban.core.units import MINUTE
from kuraban.core.views.snapshot import Snapshot
from kuraban.edges.web.live.snapshot_hub import Shown
from kuraban.edges.web.page_context import Context, PageContext, Somebody, Visitor
from kuraban.edges.web.templating import fill
from kuraban.edges.web.translator import OUTSIDE, Translator
from kuraban.edges.web.views import cellar, place

router = APIRouter(include_in_schema=False)

QUIET_AFTER = 15.0
"""Seconds after which the page hears at least that it is heard: half of what it waits for."""
BEAT = "event: beat\ndata: 1\n\n"
MOST_KEPT = 50
WHOLE = ("cellar", "round")
"""Pages of which everything that time alone changes is a part."""
Parts = dict[str, str]
Make = Callable[[PageContext, Translator, Snapshot, bool], Parts]


class Press:
    """Parts of the newest picture, made once for everybody who looks at the same."""

    def __init__(self) -> None:
        self._number = 0
        self._made: dict[tuple[str, str, bool], Parts] = {}

    def parts(
        self,
        context: PageContext,
        shown: Shown,
        name: str,
        language: str,
        may_log: bool,
        make: Make,
    ) -> Parts:
        if shown.number != self._number or len(self._made) > MOST_KEPT:
            self._number, self._made = shown.number, {}
        key = name, language, may_log
        if key not in self._made and shown.snapshot is not None:
            w, snapshot = context.translator(language), shown.snapshot
            parts = make(context, w, snapshot, may_log)
            self._made[key] = {
                **parts,
                "as-of": fill("_as_of.html", w, as_of=snapshot.at),
                "ringing": str(snapshot.ringing or ""),
                "anew": _edition(snapshot, ages=name not in WHOLE),
            }
        return self._made.get(key, {})


def _edition(snapshot: Snapshot, ages: bool) -> str:
    """Changes where more of a page is old than its parts: somebody logged something, an alarm
    went on, a stage began, a place went in or out; where its parts are not all, every minute."""
    rings = [(ring.id, ring.state, ring.by, ring.until) for ring in snapshot.rings]
    places = [
        (one.id, one.why, one.held, one.product is None, one.word in OUTSIDE,
         one.batch and one.batch.stage)
        for one in snapshot.places
    ]  # fmt: skip
    minute = int(snapshot.at // MINUTE) if ages else 0
    seen = repr((snapshot.entries, rings, places, minute))
    return blake2b(seen.encode(), digest_size=6).hexdigest()


@router.get("/live/anew")
async def live_anew(request: Request, context: Context, visitor: Somebody) -> StreamingResponse:
    """For a page that has no part of its own: it is told when to look again."""
    return stream(request, context, "anew", visitor, lambda context, w, snapshot, may_log: {})


@router.get("/live/cellar")
async def live_cellar(request: Request, context: Context, visitor: Somebody) -> StreamingResponse:
    return stream(request, context, "cellar", visitor, cellar.parts)


@router.get("/live/round")
async def live_round(request: Request, context: Context, visitor: Somebody) -> StreamingResponse:
    return stream(request, context, "round", visitor, cellar.round_parts)


@router.get("/live/place/{subject}")
async def live_place(
    request: Request, context: Context, visitor: Somebody, subject: str
) -> StreamingResponse:
    if subject not in context.house.place:
        raise HTTPException(404)
    make = partial(_one_place, subject)
    return stream(request, context, f"place {subject}", visitor, make)


def _one_place(
    subject: str, context: PageContext, w: Translator, snapshot: Snapshot, may_log: bool
) -> Parts:
    return place.parts(context, w, snapshot, may_log, subject)


def stream(
    request: Request, context: PageContext, name: str, visitor: Visitor, make: Make
) -> StreamingResponse:
    return StreamingResponse(
        events(context, name, visitor, make, request.app.state.press),
        media_type="text/event-stream",
        headers={"x-accel-buffering": "no"},
    )


async def events(
    context: PageContext, name: str, visitor: Visitor, make: Make, press: Press
) -> AsyncIterator[str]:
    """Events for one page until it goes away or the pages end."""
    language, may_log = visitor.language, visitor.may("log")
    yield "retry: 3000\n\n"
    sent: Parts = {}
    shown = context.hub.shown()
    while not context.hub.closed and visitor.visit.nonce not in context.signed_out:
        parts = press.parts(context, shown, name, language, may_log, make)
        news = {part: html for part, html in parts.items() if sent.get(part) != html}
        sent = parts
        at = "" if shown.snapshot is None else f"id: {shown.snapshot.at}\n"
        yield f"data: {msgspec.json.encode(news).decode()}\n{at}\n" if news else BEAT
        number = shown.number
        shown = await context.hub.after(number, QUIET_AFTER)
