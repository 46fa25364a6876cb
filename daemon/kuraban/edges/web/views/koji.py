"""The koji room: its air, and the lots side by side by the hour since hikikomi."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from statistics import median
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response, StreamingResponse
from starlette.exceptions import HTTPException

from kuraban.core.facts import Logged
from kuraban.core.units import DAY, HOUR, MINUTE
from kuraban.core.views.equipment_views import BedNow, KojiRoom
from kuraban.core.views.snapshot import PlaceNow, Snapshot
from kuraban.edges.web import history_queries as past
from kuraban.edges.web.drawing import lazy_figures as drawing
from kuraban.edges.web.forms.submit_entry import told_entry
from kuraban.edges.web.live.sse import stream
from kuraban.edges.web.page_context import Context, PageContext, Somebody
from kuraban.edges.web.programs.api import PREFIX, REFUSALS
from kuraban.edges.web.templating import fill, page
from kuraban.edges.web.translator import Translator
from kuraban.errors import JournalError
from kuraban.store.history import History

router = APIRouter(include_in_schema=False)
programs = APIRouter(prefix=PREFIX, responses=REFUSALS)

STEP = 10 * MINUTE
LONGEST = 4 * DAY
NOTES = ("opened", "spread", "covered", "uncovered")
"""What is done to a bed without a word of its own: each is a note of one tap."""


@dataclass(frozen=True, slots=True)
class BedShown:
    """A bed with its lot, and what is reckoned of it."""

    place: PlaceNow
    bed: BedNow | None


@dataclass(frozen=True, slots=True)
class RoomShown:
    room: KojiRoom
    beds: list[BedShown]


@router.get("/koji")
def koji(request: Request, context: Context, visitor: Somebody) -> HTMLResponse:
    snapshot = context.snapshot()
    hours, unread = _hours(context, snapshot)
    return page(
        request, context, visitor, "koji.html", snapshot=snapshot, rooms=shown(snapshot),
        hours=hours, unread=unread, charts=drawing.available(), notes=NOTES,
        told=told_entry(request, context), may_log=visitor.may("log"),
        manages=visitor.may("manage"),
    )  # fmt: skip


@router.get("/koji/{place}/curve.svg")
def curve(
    context: Context,
    visitor: Somebody,
    place: str,
    tone: drawing.Tone = "day",
    size: drawing.Shape = "page",
) -> Response:
    """One lot from hikikomi on against its course, with its works."""
    snapshot = context.snapshot()
    known, bed = snapshot.place(place), snapshot.bed(place)
    if known is None or bed is None or known.batch is None:
        raise HTTPException(404)
    return drawing.answer(
        context, context.translator(visitor.language), known,
        max(bed.begun, known.batch.since, snapshot.at - LONGEST), tone=tone,
        size="hand" if len(snapshot.beds) > 1 else size, begun=bed.begun,
    )  # fmt: skip


@router.get("/live/koji")
async def live_koji(request: Request, context: Context, visitor: Somebody) -> StreamingResponse:
    return stream(request, context, "koji", visitor, parts)


@programs.get("/koji", summary="Koji rooms: their air, and each bed with its rise and its works")
def told(context: Context, visitor: Somebody) -> list[RoomShown]:
    return shown(context.snapshot())


def shown(snapshot: Snapshot) -> list[RoomShown]:
    """Rooms with their beds; a bed that the picture does not know is not there."""
    return [
        RoomShown(room, [
            BedShown(place, snapshot.bed(bed))
            for bed in room.beds
            if (place := snapshot.place(bed)) is not None
        ])
        for room in snapshot.rooms
    ]  # fmt: skip


def parts(context: PageContext, w: Translator, snapshot: Snapshot, may_log: bool) -> dict[str, str]:
    """The parts of an open page by their ids."""
    found = {}
    for one in shown(snapshot):
        found[f"air-{one.room.id or 'none'}"] = fill("_air.html", w, room=one.room)
        for bed in one.beds:
            if bed.bed is not None:
                found[f"works-{bed.place.id}"] = fill("_works.html", w, bed=bed.bed)
                found[f"bed-{bed.place.id}"] = fill(
                    "_bed.html", w, place=bed.place, bed=bed.bed, token="", may_log=may_log,
                    rings=snapshot.rings_of(bed.place.id), snapshot=snapshot,
                )  # fmt: skip
    return found


def _hours(
    context: PageContext, snapshot: Snapshot
) -> tuple[list[tuple[int, dict[str, past.Row]]], bool]:
    """Hour by hour since hikikomi, each lot's row; and whether the journal could not be read."""
    if not snapshot.beds:
        return [], False
    try:
        with past.reading(context.history) as history:
            lots = {bed.place: _lot(history, context, snapshot, bed) for bed in snapshot.beds}
    except JournalError:
        return [], True
    every = sorted({hour for lot in lots.values() for hour in lot})
    return [(hour, {bed: lot[hour] for bed, lot in lots.items() if hour in lot})
            for hour in every], False  # fmt: skip


def _lot(
    history: History, context: PageContext, snapshot: Snapshot, bed: BedNow
) -> dict[int, past.Row]:
    place = snapshot.place(bed.place)
    batch = None if place is None else place.batch
    if batch is None:
        return {}
    start, end = max(bed.begun, batch.since, snapshot.at - LONGEST), snapshot.at
    points = past.curve(history, context.house, bed.place, start, end, STEP)
    done = [one.logged for one in past.done(history, bed.place, start, end) if one.counts]
    return dict(by_hour(points, done, bed.begun, batch.plan.at))


def by_hour(
    points: list[past.Measured], done: list[Logged], begun: float, plan: Any
) -> Iterator[tuple[int, past.Row]]:
    """Rows by whole hours since `begun`; an hour is what was read in it."""
    values: dict[int, list[float]] = {}
    did: dict[int, list[Logged]] = {}
    for point in points:
        values.setdefault(int((point.at - begun) // HOUR), []).append(point.value)
    for logged in done:
        did.setdefault(int((logged.at - begun) // HOUR), []).append(logged)
    for hour in sorted({*values, *did}):
        if hour >= 0:
            told, at = values.get(hour), begun + hour * HOUR
            yield hour, past.Row(
                at=at, measured=median(told) if told else None, planned=plan(at + HOUR / 2),
                did=tuple(did.get(hour, ())),
            )  # fmt: skip
