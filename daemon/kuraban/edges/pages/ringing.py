"""The rings: standing and past, who has what, and who is on tonight."""

from __future__ import annotations

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from kuraban.core.units import DAY
from kuraban.edges.pages import past
from kuraban.edges.pages.office import Somebody, TheOffice
from kuraban.edges.pages.sheets import page
from kuraban.edges.pages.taps import told_entry
from kuraban.errors import JournalError

router = APIRouter(include_in_schema=False)

PAST_DAYS = 7
QUIET = ("1h", "2h", "4h", "8h", "12h")


@router.get("/rings")
def rings(request: Request, office: TheOffice, visitor: Somebody) -> HTMLResponse:
    picture = office.picture()
    start = picture.at - PAST_DAYS * DAY
    try:
        with past.reading(office.history) as history:
            behind, unread = past.rings(history, start, picture.at + 1), False
    except JournalError:
        behind, unread = [], True
    standing = [ring for ring in picture.rings if not ring.held_back]
    open_ = {ring.id for ring in standing}
    return page(
        request, office, visitor, "rings.html",
        picture=picture, standing=standing,
        held=[ring for ring in picture.rings if ring.held_back],
        past=[ring for ring in behind if not (ring.over is None and ring.alarm in open_)],
        unread=unread, since=start, quiet=QUIET, may_log=visitor.may("log"),
        told=told_entry(request, office),
    )  # fmt: skip
