"""The rings: standing and past, who has what, and who is on tonight."""

from __future__ import annotations

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from kuraban.core.units import DAY
from kuraban.edges.web import history_queries as past
from kuraban.edges.web.forms.submit_entry import told_entry
from kuraban.edges.web.page_context import Context, Somebody
from kuraban.edges.web.templating import page
from kuraban.edges.web.views.cellar import urgent
from kuraban.errors import JournalError

router = APIRouter(include_in_schema=False)

PAST_DAYS = 7


@router.get("/rings")
def rings(request: Request, context: Context, visitor: Somebody) -> HTMLResponse:
    snapshot = context.snapshot()
    start = snapshot.at - PAST_DAYS * DAY
    try:
        with past.reading(context.history) as history:
            behind, unread = past.rings(history, start, snapshot.at + 1), False
    except JournalError:
        behind, unread = [], True
    over = [ring for ring in snapshot.rings if ring.state == "returned"]
    standing = urgent(snapshot, "unacknowledged") + urgent(snapshot, "acknowledged")
    open_ = {ring.id for ring in (*standing, *over)}
    return page(
        request, context, visitor, "rings.html",
        snapshot=snapshot, standing=standing,
        held=[ring for ring in snapshot.rings if ring.held_back],
        past=[ring for ring in behind if not (ring.over is None and ring.alarm in open_)],
        unread=unread, since=start, over=over, may_log=visitor.may("log"),
        manages=visitor.may("manage"),
        told=told_entry(request, context),
    )  # fmt: skip
