"""The way to the one figure function, which is imported with its library only when first needed."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache
from importlib.util import find_spec
from typing import TYPE_CHECKING, Literal

from fastapi.responses import Response
from starlette.exceptions import HTTPException

from kuraban.core.alarm_conditions import NO_MEASURE
from kuraban.core.facts import Logged
from kuraban.core.site import House
from kuraban.core.units import DAY, HOUR, MINUTE
from kuraban.core.views.snapshot import PlaceNow, PlanLine, Point, Snapshot
from kuraban.edges.web import history_queries as past
from kuraban.edges.web.history_queries import Measured, PastRing
from kuraban.edges.web.page_context import PageContext
from kuraban.edges.web.translator import Translator

if TYPE_CHECKING:
    from kuraban.edges.charts import Band, Event, Size

Tone = Literal["day", "night", "paper"]
Shape = Literal["page", "half", "hand"]
"""Over the whole width of a desk, beside something else or on a tablet, held in the hand."""
AHEAD = 3 * HOUR
"""How far a curve that ends now looks on."""
GAP = 20 * MINUTE
EVERY_HOURS, LAST_HOUR = 6, 96
MOST_POINTS = 720
HEADERS = {"content-security-policy": "default-src 'none'; style-src 'unsafe-inline'"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """Everything that one curve shows; `points` are the measured ones, `step` seconds apart.

    `rings` are those of the place and of its probes.
    """

    house: House
    place: PlaceNow
    snapshot: Snapshot
    points: tuple[Measured, ...]
    step: float
    done: tuple[Logged, ...]
    rings: tuple[PastRing, ...]
    start: float
    w: Translator
    tone: Tone = "day"
    size: Shape = "page"
    begun: float | None = None
    """Hikikomi of a koji bed: rules stand at the hours since then, and not at the days."""

    @property
    def end(self) -> float:
        return shown_until(self.start, self.snapshot.at)


def shown_until(start: float, now: float) -> float:
    """How far a curve from `start` to now looks on."""
    return now + min(AHEAD, (now - start) / 4)


def answer(
    context: PageContext, w: Translator, place: PlaceNow, start: float, *, tone: Tone, size: Shape,
    begun: float | None = None,
) -> Response:  # fmt: skip
    """The curve of a place from a moment to now; 404 where curves cannot be drawn."""
    snapshot, house = context.snapshot(), context.house
    end, subjects = snapshot.at, {place.id, *(probe.id for probe in place.probes)}
    with past.reading(context.history) as history:
        step = past.step_for(max(end - start, HOUR), MOST_POINTS)
        points = past.curve(history, house, place.id, start, end, step)
        done = past.done(history, place.id, start, end)
        rings = [ring for ring in past.rings(history, start, end) if ring.subject in subjects]
    sheet = Sheet(
        house=house, place=place, snapshot=snapshot, points=tuple(points), step=step,
        done=tuple(one.logged for one in done if one.counts), rings=tuple(rings), start=start,
        w=w, tone=tone, size=size, begun=begun,
    )  # fmt: skip
    return as_svg(lambda: svg(sheet))


def as_svg(draw: Callable[[], bytes]) -> Response:
    """A curve as a document of its own; 404 where curves cannot be drawn."""
    if not available():
        raise HTTPException(404)
    return Response(draw(), media_type="image/svg+xml", headers=HEADERS)


def sizes() -> dict[Shape, Size]:
    from kuraban.edges import charts

    return {"page": charts.PAGE, "half": charts.HALF, "hand": charts.HAND}


@cache
def available() -> bool:
    """Whether curves can be drawn here; the table stands in their place where not."""
    return find_spec("matplotlib") is not None


def svg(sheet: Sheet) -> bytes:
    """The curve as an SVG document."""
    from kuraban.edges import charts

    batch, house, sick = sheet.place.batch, sheet.house, list(_sick(sheet))
    plan = () if batch is None else clipped(batch.plan.points, sheet.start, sheet.end)
    return charts.svg(
        charts.figure(
            [charts.Point(at, v, any(a <= at <= b for a, b in sick)) for at, v in _line(sheet)],
            plan,
            () if batch is None else clipped(batch.plan.first, sheet.start, sheet.end),
            list(_band(sheet, plan)),
            sorted(_events(sheet)),
            sheet.w.language,
            house.zone,
            sheet.tone,
            start=sheet.start,
            end=sheet.end,
            turns=[charts.Turn(at, label) for at, label in _turns(sheet)],
            nights=charts.nights_of(house.site.duty_hours, sheet.start, sheet.end, house.zone),
            fan=list(_fan(sheet)),
            gap=max(GAP, 2 * sheet.step),
            size=sizes()[sheet.size],
            drawn_by_browser=True,
        )
    )


def _line(sheet: Sheet) -> Iterator[Point]:
    """What was measured; it ends with the very value that the page says is now."""
    yield from ((point.at, point.value) for point in sheet.points)
    last, now = max((point.at for point in sheet.points), default=None), sheet.place.at
    if last is not None and now is not None and last < now and sheet.place.product is not None:
        yield now, sheet.place.product


def clipped(points: tuple[Point, ...], start: float, end: float) -> tuple[Point, ...]:
    """The part of a line between two moments, cut to them; a step at its end is no part of it."""
    line = PlanLine(points=points)
    inner = [point for point in points if start < point[0] < end]
    edges = (start, line.at(start)), (end, line.just_before(end))
    first, last = ([(at, v)] if v is not None else [] for at, v in edges)
    return (*first, *inner, *last)


def _band(sheet: Sheet, plan: tuple[Point, ...]) -> Iterator[Band]:
    """The tolerance about the plan, or a place's own band."""
    from kuraban.edges.charts import Band

    batch, band = sheet.place.batch, sheet.place.band
    if batch is None:
        if band is not None:
            yield from (Band(at, *band) for at in (sheet.start, sheet.end))
        return
    for stretch in batch.plan.stretches:
        until = sheet.end if stretch.end is None else min(stretch.end, sheet.end)
        for at, celsius in clipped(plan, max(stretch.start, sheet.start), until):
            yield Band(at, celsius - stretch.below, celsius + stretch.above)


def _fan(sheet: Sheet) -> Iterator[Band]:
    """Where the product may be if it goes on as it does."""
    from kuraban.edges.charts import Band

    place, now = sheet.place, sheet.snapshot.at
    if place.rates is None or place.product is None or place.held is not None:
        return
    low, high = place.rates
    for at in (now, sheet.end):
        hours = (at - now) / HOUR
        yield Band(at, place.product + low * hours, place.product + high * hours)


def _events(sheet: Sheet) -> Iterator[Event]:
    from kuraban.edges.charts import KINDS, Event

    for logged in sheet.done:
        kind = KINDS.get(type(logged.entry))
        if kind is not None:
            yield Event(logged.at, kind)
    for ring in sheet.rings:
        if ring.subject == sheet.place.id:
            yield Event(ring.at, "ring")


def _sick(sheet: Sheet) -> Iterator[tuple[float, float]]:
    """When the only probe of the place was not to be believed."""
    if len(sheet.place.probes) == 1:
        yield from sheet.place.doubts
        for ring in sheet.rings:
            if ring.condition in NO_MEASURE:
                yield ring.at - GAP, ring.over or sheet.snapshot.at


def _turns(sheet: Sheet) -> Iterator[tuple[float, str]]:
    """Each turn of the brewery day, with the batch's day where it counts them."""
    batch = sheet.place.batch
    if sheet.begun is not None:
        yield from _hours(sheet, sheet.begun)
        return
    for back in range(int((sheet.snapshot.at - sheet.start) / DAY) + 3):
        at = sheet.snapshot.day_turns - back * DAY
        if not sheet.start <= at <= sheet.end:
            continue
        label = ""
        if batch is not None and batch.day is not None and at > batch.since:
            label = sheet.w("chart.day", n=days_on(batch.day, 1 - back))
        yield at, label


def _hours(sheet: Sheet, begun: float) -> Iterator[tuple[float, str]]:
    """Every sixth hour since hikikomi, in a narrow window every twelfth with its number."""
    for hour in range(EVERY_HOURS, LAST_HOUR + 1, EVERY_HOURS):
        at = begun + hour * HOUR
        if sheet.start < at < sheet.end - HOUR:
            labelled = sheet.size == "page" or hour % (2 * EVERY_HOURS) == 0
            yield at, sheet.w("chart.hour", n=hour) if labelled else ""


def days_on(day: int, on: int) -> int:
    """So many days after a moromi day, or before it; there is no day 0 between -1 and 1."""
    counted = (day - 1 if day > 0 else day) + on
    return counted + 1 if counted >= 0 else counted
