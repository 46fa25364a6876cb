"""Why something rings or does not, for a person and for a program.

The answer is lived through from the journal, which takes a second or some: one question at a time,
and none for longer than `LONGEST`; a few wait for their turn as long as `PATIENCE`. The watch is
another process and notices nothing.
"""

from __future__ import annotations

import time
from datetime import datetime
from threading import BoundedSemaphore, Lock
from typing import Annotated

from fastapi import APIRouter, Path, Query, Request
from fastapi.responses import HTMLResponse
from starlette.exceptions import HTTPException

from kuraban.core.site import WATCH, House
from kuraban.core.texts.why_text import SaidWhy
from kuraban.core.timescale import moment_of
from kuraban.edges.web.page_context import Context, NotYet, PageContext, Somebody
from kuraban.edges.web.programs.api import PREFIX, REFUSALS, Moment, moment
from kuraban.edges.web.templating import page
from kuraban.errors import Unanswerable

router = APIRouter(include_in_schema=False)
programs = APIRouter(prefix=PREFIX, responses=REFUSALS)

LONGEST = 20.0
"""Seconds that one question may take."""
PATIENCE = 10.0
"""Seconds that a question waits for those before it: whoever turns to another page leaves one
behind, which is answered all the same."""
MINUTE_SHOWN = "%Y-%m-%dT%H:%M"

Named = Annotated[
    str, Path(max_length=200, description="Id of a place, cooler or probe, a batch, or `watch`.")
]
Typed = Annotated[str, Query(max_length=40)]
_turn, _waiting = Lock(), BoundedSemaphore(4)


class TooMuch(Exception):
    """Others ask already, or it takes too long; the key of the sentence that says so."""


@router.get("/why/{subject}")
def why(
    request: Request, context: Context, visitor: Somebody, subject: Named, at: Typed = ""
) -> HTMLResponse:
    """The page, with what was typed where there is no answer."""
    house, w = context.house, context.translator(visitor.language)
    found: tuple[SaidWhy, ...] = ()
    wrong, status, asked = "", 200, None
    try:
        asked = _asked(at, house)
        found = _answer(context, subject, asked, visitor.language)
    except Unanswerable as refused:
        wrong, status = str(refused), 404
    except TooMuch as much:
        wrong, status = w(str(much)), 429
    shown = context.clock() if asked is None else asked
    return page(
        request, context, visitor, "why.html", status, subject=subject, found=found, wrong=wrong,
        name=house.name_of(subject) if subject in _all(house) else subject, at=at,
        typed=datetime.fromtimestamp(shown, house.zone).strftime(MINUTE_SHOWN),
        near=[(one, house.name_of(one)) for one in _near(house, subject)],
    )  # fmt: skip


@programs.get(
    "/why/{subject}", summary="What each detector saw at a moment, and what it would take"
)
def told(context: Context, visitor: Somebody, subject: Named, at: Moment = None) -> list[SaidWhy]:
    """Of a batch once for each place in which it ran. One question is answered at a time."""
    house = context.house
    asked = None if at is None else moment_of(moment(at), house.zone)
    try:
        return list(_answer(context, subject, asked, visitor.language))
    except Unanswerable as refused:
        raise HTTPException(404, str(refused)) from None
    except TooMuch as much:
        words = context.translator(visitor.language)(str(much))
        raise HTTPException(429, words, {"retry-after": str(int(LONGEST))}) from None


def _answer(
    context: PageContext, subject: str, at: float | None, language: str
) -> tuple[SaidWhy, ...]:
    if context.asked is None:
        raise NotYet
    if not _taken():
        raise TooMuch("why.busy")
    until = time.monotonic() + LONGEST

    def go_on() -> None:
        if time.monotonic() > until:
            raise TooMuch("why.long")

    try:
        return context.asked.ask(subject, at, context.clock(), language, go_on)
    finally:
        _turn.release()


def _taken() -> bool:
    """Whether it is this question's turn, after those before it."""
    if not _waiting.acquire(blocking=False):
        return False
    try:
        return _turn.acquire(timeout=PATIENCE)
    finally:
        _waiting.release()


def _asked(typed: str, house: House) -> float | None:
    """The moment that a form or a link sends: by the house's clock, or any that programs send."""
    if not typed:
        return None
    try:
        told = datetime.fromisoformat(typed)
    except ValueError:
        told = None
    if told is not None and told.tzinfo is None:
        return moment_of(told.replace(tzinfo=house.zone).timestamp(), house.zone)
    return moment_of(moment(typed), house.zone)


def _all(house: House) -> set[str]:
    return {WATCH, *house.place, *house.cooler, *house.probe}


def _near(house: House, subject: str) -> list[str]:
    """What else there is to ask about: its probes, and what it hangs on or is cooled by."""
    if subject == WATCH:
        return []
    if subject in house.probe:
        return [house.probe[subject].of]
    found = [probe.id for probe in house.probes_of(subject)]
    place = house.place.get(subject)
    keepers = () if place is None else (place.cooler, place.heater, place.room)
    return [*found, *(one for one in keepers if one is not None)]
