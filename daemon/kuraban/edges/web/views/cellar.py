"""The cellar: one row a tank in the order they stand, what needs a person first, and the round."""

from __future__ import annotations

from typing import Any, NamedTuple

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from kuraban.core.views.snapshot import PlaceNow, Snapshot, Text
from kuraban.edges.web.forms.submit_entry import told_entry
from kuraban.edges.web.page_context import Context, PageContext, Somebody
from kuraban.edges.web.templating import fill, page
from kuraban.edges.web.translator import Translator

router = APIRouter(include_in_schema=False)


class Due(NamedTuple):
    """A stage that its course expects before the brewery day turns."""

    place: PlaceNow
    title: Text
    at: float


@router.get("/")
def cellar(request: Request, context: Context, visitor: Somebody) -> HTMLResponse:
    snapshot = context.snapshot()
    return page(
        request, context, visitor, "cellar.html", may_log=visitor.may("log"),
        told=told_entry(request, context), **shown(snapshot),
    )  # fmt: skip


@router.get("/round")
def stir_round(request: Request, context: Context, visitor: Somebody) -> HTMLResponse:
    """Walk the cellar and tick each tank that was stirred."""
    snapshot = context.snapshot()
    tanks = [p for p in snapshot.places if p.batch is not None and p.kind != "koji-bed"]
    done = [p.id for p in tanks if p.last_stir is not None and p.last_stir >= snapshot.day_turned]
    return page(
        request, context, visitor, "round.html", tanks=tanks, done=done,
        may_log=visitor.may("log"), told=told_entry(request, context),
    )  # fmt: skip


def shown(snapshot: Snapshot) -> dict[str, Any]:
    """What the cellar's sheet shows of a picture."""
    return {
        "snapshot": snapshot,
        "open": [ring for ring in snapshot.rings if ring.open],
        "in_hand": [ring for ring in snapshot.rings if ring.state == "acknowledged"],
        "rows": rows(snapshot),
        "due": due(snapshot),
        "unwatched": unwatched(snapshot),
    }


def rows(snapshot: Snapshot) -> list[PlaceNow]:
    """Places that are judged, or at least measured, in the order in which they stand."""
    brewing = [place for place in snapshot.places if place.brews and place.batch is not None]
    measured = [one for one in snapshot.places if one.batch is None and one.product is not None]
    sake = [place for place in measured if place.brews and place.band is not None]
    return [*brewing, *sake, *(place for place in measured if not place.brews)]


def due(snapshot: Snapshot) -> list[Due]:
    found = []
    for place in snapshot.places:
        batch = place.batch
        if batch is None or batch.stage_due is None or not batch.ahead:
            continue
        if batch.stage_due < snapshot.day_turns:
            found.append(Due(place, batch.ahead[0].title, batch.stage_due))
    return found


def unwatched(snapshot: Snapshot) -> list[tuple[str, tuple[PlaceNow, ...]]]:
    """Places that are not watched, those of one reason together."""
    reasons: dict[str, tuple[PlaceNow, ...]] = {}
    for place in snapshot.places:
        if place.why is not None:
            reasons[place.why] = (*reasons.get(place.why, ()), place)
    return list(reasons.items())


def parts(context: PageContext, w: Translator, snapshot: Snapshot, may_log: bool) -> dict[str, str]:
    """The parts of an open page by their ids, as they are now."""
    fields = {**shown(snapshot), "token": "", "may_log": may_log}
    found = {"needs": fill("_needs.html", w, **fields), "day": fill("_day.html", w, **fields)}
    for place in rows(snapshot):
        found[f"row-{place.id}"] = fill("_row.html", w, place=place)
    return found
