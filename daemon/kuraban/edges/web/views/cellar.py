"""The cellar: one row a tank in the order they stand, what needs a person first, and the round."""

from __future__ import annotations

from typing import Any, NamedTuple

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from kuraban.core.entries import Stir
from kuraban.core.facts import Logged
from kuraban.core.site import House
from kuraban.core.units import day_turn
from kuraban.core.views.snapshot import PlaceNow, Ring, Snapshot, Text
from kuraban.edges.web.forms.submit_entry import told_entry
from kuraban.edges.web.history_queries import reading
from kuraban.edges.web.page_context import Context, PageContext, Somebody
from kuraban.edges.web.templating import fill, page
from kuraban.edges.web.translator import OUTSIDE, Translator
from kuraban.errors import JournalError

router = APIRouter(include_in_schema=False)

FEW = 12
"""So many tanks have a row in full each; of more, those that are outside."""


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
        told=told_entry(request, context), **shown(snapshot, context),
    )  # fmt: skip


@router.get("/round")
def stir_round(request: Request, context: Context, visitor: Somebody) -> HTMLResponse:
    """Walk the cellar and tick each tank that was stirred since this round began."""
    snapshot = context.snapshot()
    tanks = [place for place in snapshot.places if place.is_mash]
    began = round_began(context.house, snapshot.at)
    done = [p.id for p in tanks if p.last_stir is not None and p.last_stir >= began]
    return page(
        request, context, visitor, "round.html", tanks=tanks, done=done, began=began,
        made=stirred(context, began, snapshot.at), may_log=visitor.may("log"),
        told=told_entry(request, context),
    )  # fmt: skip


def round_began(house: House, now: float) -> float:
    """When the present stir round began, by the rounds of the house."""
    site = house.site
    clocks = site.rounds or (site.day_starts, site.evening)
    return max(day_turn(now, clock, house.zone) for clock in clocks)


def stirred(context: PageContext, since: float, now: float) -> dict[str, Logged]:
    """The latest stir of each tank since a moment; none where the journal cannot be read."""
    try:
        with reading(context.history) as history:
            made = history.counting(None, since, now + 1.0)
            return {one.subject: one for one in made if isinstance(one.entry, Stir)}
    except JournalError:
        return {}


def round_parts(
    context: PageContext, w: Translator, snapshot: Snapshot, may_log: bool
) -> dict[str, str]:
    """What each tank of an open round reads now."""
    return {
        f"read-{place.id}": fill("_reads.html", w, place=place)
        for place in snapshot.places
        if place.is_mash
    }


def shown(snapshot: Snapshot, context: PageContext) -> dict[str, Any]:
    """What the cellar's sheet shows of a picture."""
    every = rows(snapshot)
    brewing = [place for place in every if place.brews]
    short = len(brewing) > FEW
    outside = [place for place in brewing if short and outstanding(snapshot, place)]
    return {
        "snapshot": snapshot,
        "open": urgent(snapshot, "unacknowledged"),
        "in_hand": urgent(snapshot, "acknowledged"),
        "over": [ring for ring in snapshot.rings if ring.state == "returned"],
        "outside": outside,
        "tanks": [place for place in brewing if place not in outside],
        "rooms": [place for place in every if not place.brews],
        "short": short,
        "spark": lambda place: context.recent.spark(context.house, place, snapshot.at),
        "due": due(snapshot),
        "unwatched": unwatched(snapshot),
    }


def rows(snapshot: Snapshot) -> list[PlaceNow]:
    """Places that are judged, or at least were measured, in the order in which they stand."""
    brewing = [place for place in snapshot.places if place.brews and place.batch is not None]
    measured = [
        one for one in snapshot.places
        if one.batch is None and (one.product is not None or one.last is not None)
    ]  # fmt: skip
    sake = [place for place in measured if place.brews and place.band is not None]
    return [*brewing, *sake, *(place for place in measured if not place.brews)]


def urgent(snapshot: Snapshot, state: str) -> list[Ring]:
    """Rings in a state: those that wake first, and of these the one with the least time left."""

    def key(ring: Ring) -> tuple[bool, bool, float]:
        left = snapshot.left(ring)
        return ring.urgency != "wake", left is None, left or 0.0

    return sorted((ring for ring in snapshot.rings if ring.state == state), key=key)


def outstanding(snapshot: Snapshot, place: PlaceNow) -> bool:
    """Outside of what is right, not measured, or rung about."""
    ringing = any(not ring.held_back for ring in snapshot.rings_of(place.id))
    return place.word in OUTSIDE or place.product is None or ringing


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
    fields = {**shown(snapshot, context), "token": "", "may_log": may_log}
    found = {"needs": fill("_needs.html", w, **fields), "day": fill("_day.html", w, **fields)}
    for place in rows(snapshot):
        short = not place.brews or (fields["short"] and place not in fields["outside"])
        found[f"row-{place.id}"] = fill(
            "_row.html", w, place=place, short=short, spark=fields["spark"]
        )
    return found
