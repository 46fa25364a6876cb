"""The rings: standing and past, who has what, and who is on tonight."""

from __future__ import annotations

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from kuraban.core.units import DAY
from kuraban.edges.web import history_queries as past
from kuraban.edges.web.forms.submit_entry import told_entry
from kuraban.edges.web.page_context import Context, Somebody
from kuraban.edges.web.templating import page
from kuraban.errors import JournalError

router = APIRouter(include_in_schema=False)

PAST_DAYS = 7
QUIET = ("1h", "2h", "4h", "8h", "12h")


@router.get("/rings")
def rings(request: Request, context: Context, visitor: Somebody) -> HTMLResponse:
    snapshot = context.snapshot()
    start = snapshot.at - PAST_DAYS * DAY
    try:
        with past.reading(context.history) as history:
            behind, unread = past.rings(history, start, snapshot.at + 1), False
    except JournalError:
        behind, unread = [], True
    standing = [ring for ring in snapshot.rings if not ring.held_back]
    open_ = {ring.id for ring in standing}
    return page(
        request, context, visitor, "rings.html",
        snapshot=snapshot, standing=standing,
        held=[ring for ring in snapshot.rings if ring.held_back],
        past=[ring for ring in behind if not (ring.over is None and ring.alarm in open_)],
        unread=unread, since=start, quiet=QUIET, may_log=visitor.may("log"),
        told=told_entry(request, context),
    )  # fmt: skip
