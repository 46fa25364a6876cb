"""One person's calendar of the work due (RFC 5545), for a phone to subscribe to.

The address is all that is asked for: calendars of phones know no password. It tells of the work and
nothing else, no temperature and no alarm's words, and changes nothing. A work keeps its UID though
its time moves, so a phone moves its entry. Times are UTC: each phone shows its own.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from hashlib import blake2b

from fastapi import APIRouter
from fastapi.responses import Response
from starlette.exceptions import HTTPException

import kuraban
from kuraban.core.site import Person
from kuraban.core.views.work_due import Work, concerns
from kuraban.edges.web.due.page import read, what
from kuraban.edges.web.page_context import Context, PageContext
from kuraban.edges.web.translator import Translator

router = APIRouter(include_in_schema=False)

LASTS = timedelta(minutes=30)
"""How long a work without an end stands in a calendar."""
ANEW = timedelta(hours=1)
"""After which a phone may ask again (RFC 7986)."""


@router.get("/calendar/{token}.ics")
def feed(context: Context, token: str) -> Response:
    """404 for an address that is forged, renewed, withdrawn, or of nobody in the house."""
    found = context.signer.read_feed(token)
    person = None if found is None else context.house.person.get(found.person)
    if found is None or person is None or context.feeds.of(found.person) != found:
        raise HTTPException(404)
    return Response(calendar_of(context, person), media_type="text/calendar; charset=utf-8")


def calendar_of(context: PageContext, person: Person) -> bytes:
    """All that is theirs, in their language."""
    from icalendar import Calendar  # dear to import, and only whoever subscribes needs it

    house, now = context.house, context.snapshot().at
    w = context.translator(person.language or house.site.language, now)
    every = Calendar()
    every.add("prodid", f"-//kuraban//{kuraban.__version__}//EN")
    every.add("version", "2.0")
    for name in ("name", "x-wr-calname"):
        every.add(name, w("due.calendar-of", site=house.site.name))
    every.add("refresh-interval", ANEW, parameters={"VALUE": "DURATION"})
    for work in read(context)[0]:
        if concerns(work, person.id, house):
            every.add_component(_event(work, w, now))
    return bytes(every.to_ical())


def _event(work: Work, w: Translator, now: float):  # type: ignore[no-untyped-def]
    from icalendar import Event

    start, event = _utc(work.at, w), Event()
    event.add("uid", f"{blake2b(work.key.encode(), digest_size=12).hexdigest()}@kuraban")
    event.add("dtstamp", _utc(now, w))
    event.add("dtstart", start)
    event.add("dtend", start + LASTS if work.until is None else _utc(work.until, w))
    event.add("summary", _summary(work, w, now))
    if work.caution:
        event.add("description", w.caution(work.caution))
    event.add("transp", "TRANSPARENT")
    return event


def _summary(work: Work, w: Translator, now: float) -> str:
    said = what(work, w)
    if work.done is not None:
        return w("due.is-done", what=said, who=w.people(work.by) or None)
    return w("due.is-late", what=said) if work.late(now) else said


def _utc(at: float, w: Translator) -> datetime:
    """By the wall clock, to the second."""
    return datetime.fromtimestamp(int(w.wall(at)), UTC)
