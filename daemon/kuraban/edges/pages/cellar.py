"""The cellar: one row a tank in the order they stand, what needs a person first, and the round."""

from __future__ import annotations

from typing import Any, NamedTuple

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from kuraban.core.picture import Picture, PlaceNow, Text
from kuraban.edges.pages.office import Office, Somebody, TheOffice
from kuraban.edges.pages.sheets import fill, page
from kuraban.edges.pages.taps import told_entry
from kuraban.edges.pages.tongue import Tongue

router = APIRouter(include_in_schema=False)


class Due(NamedTuple):
    """A stage that its course expects before the brewery day turns."""

    place: PlaceNow
    title: Text
    at: float


@router.get("/")
def cellar(request: Request, office: TheOffice, visitor: Somebody) -> HTMLResponse:
    picture = office.picture()
    return page(
        request, office, visitor, "cellar.html", may_log=visitor.may("log"),
        told=told_entry(request, office), **shown(picture),
    )  # fmt: skip


@router.get("/round")
def stir_round(request: Request, office: TheOffice, visitor: Somebody) -> HTMLResponse:
    """Walk the cellar and tick each tank that was stirred."""
    picture = office.picture()
    tanks = [p for p in picture.places if p.batch is not None and p.kind != "koji-bed"]
    done = [p.id for p in tanks if p.last_stir is not None and p.last_stir >= picture.day_turned]
    return page(
        request, office, visitor, "round.html", tanks=tanks, done=done,
        may_log=visitor.may("log"), told=told_entry(request, office),
    )  # fmt: skip


def shown(picture: Picture) -> dict[str, Any]:
    """What the cellar's sheet shows of a picture."""
    return {
        "picture": picture,
        "open": [ring for ring in picture.rings if ring.open],
        "in_hand": [ring for ring in picture.rings if ring.state == "acknowledged"],
        "rows": rows(picture),
        "due": due(picture),
        "unwatched": unwatched(picture),
    }


def rows(picture: Picture) -> list[PlaceNow]:
    """Places that are judged, or at least measured, in the order in which they stand."""
    brewing = [place for place in picture.places if place.brews and place.batch is not None]
    others = [place for place in picture.places if not place.brews and place.product is not None]
    return [*brewing, *others]


def due(picture: Picture) -> list[Due]:
    found = []
    for place in picture.places:
        batch = place.batch
        if batch is None or batch.stage_due is None or not batch.ahead:
            continue
        if batch.stage_due < picture.day_turns:
            found.append(Due(place, batch.ahead[0].title, batch.stage_due))
    return found


def unwatched(picture: Picture) -> list[tuple[str, tuple[PlaceNow, ...]]]:
    """Places that are not watched, those of one reason together."""
    reasons: dict[str, tuple[PlaceNow, ...]] = {}
    for place in picture.places:
        if place.why is not None:
            reasons[place.why] = (*reasons.get(place.why, ()), place)
    return list(reasons.items())


def parts(office: Office, w: Tongue, picture: Picture, may_log: bool) -> dict[str, str]:
    """The parts of an open page by their ids, as they are now."""
    fields = {**shown(picture), "token": "", "may_log": may_log}
    found = {"needs": fill("_needs.html", w, **fields), "day": fill("_day.html", w, **fields)}
    for place in rows(picture):
        found[f"row-{place.id}"] = fill("_row.html", w, place=place)
    return found
