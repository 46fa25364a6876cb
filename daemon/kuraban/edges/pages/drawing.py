"""The way to the one figure function, which is imported with its library only when first needed."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from importlib.util import find_spec
from typing import TYPE_CHECKING

from kuraban.core.facts import Logged
from kuraban.core.picture import Picture, PlaceNow, PlanLine
from kuraban.core.site import House
from kuraban.core.units import DAY, HOUR
from kuraban.edges.pages.past import Measured, PastRing

if TYPE_CHECKING:
    from kuraban.edges.charts import Band, Event, Turn


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """Everything that one curve shows; `points` are the measured ones, `step` seconds apart."""

    house: House
    place: PlaceNow
    picture: Picture
    points: tuple[Measured, ...]
    step: float
    done: tuple[Logged, ...]
    rings: tuple[PastRing, ...]
    start: float
    end: float
    language: str
    night: bool


def available() -> bool:
    """Whether curves can be drawn here; the table stands in their place where not."""
    return find_spec("matplotlib") is not None


def svg(sheet: Sheet) -> bytes | None:
    """The curve as an SVG document; None where curves cannot be drawn."""
    if not available():
        return None
    from kuraban.edges import charts

    place, zone = sheet.place, sheet.house.zone
    plan = None if place.batch is None else place.batch.plan
    made = charts.figure(
        [charts.Point(one.at, one.value) for one in sheet.points],
        () if plan is None else plan.points,
        () if plan is None else plan.first,
        list(_band(sheet, plan)),
        list(_events(sheet)),
        sheet.language,
        zone,
        sheet.night,
        start=sheet.start,
        end=sheet.end,
        title=place.name,
        turns=list(_turns(sheet)),
        nights=charts.nights_of(sheet.house.site.duty_hours, sheet.start, sheet.end, zone),
        fan=list(_fan(sheet)),
        gap=max(3 * sheet.step, 1200.0),
        drawn_by_browser=True,
    )
    return charts.svg(made)


def _band(sheet: Sheet, plan: PlanLine | None) -> Iterator[Band]:
    """The tolerance about the plan, stage by stage; or the place's own band."""
    from kuraban.edges.charts import Band

    if plan is None:
        if sheet.place.band is not None:
            yield Band(sheet.start, *sheet.place.band)
            yield Band(sheet.end, *sheet.place.band)
        return
    for stretch in plan.stretches:
        last = sheet.end if stretch.end is None else stretch.end
        for at, celsius in plan.points:
            if stretch.start <= at <= last:
                yield Band(at, celsius - stretch.below, celsius + stretch.above)


def _events(sheet: Sheet) -> Iterator[Event]:
    from kuraban.edges.charts import KINDS, Event

    for logged in sheet.done:
        kind = KINDS.get(type(logged.entry))
        if kind is not None:
            yield Event(logged.at, kind)
    for ring in sheet.rings:
        yield Event(ring.at, "ring")


def _turns(sheet: Sheet) -> Iterator[Turn]:
    """Turns of the brewery day, with the moromi day that begins; there is no day 0."""
    from kuraban.edges.charts import Turn

    today = None if sheet.place.batch is None else sheet.place.batch.day
    back = int((sheet.picture.day_turned - sheet.start) // DAY)
    ahead = int((sheet.end - sheet.picture.day_turned) // DAY)
    for days in range(-back, ahead + 1):
        at = sheet.picture.day_turned + days * DAY
        if today is None:
            yield Turn(at)
            continue
        day = (today if today > 0 else today + 1) + days
        day = day if day > 0 else day - 1
        yield Turn(at, f"{day}日目" if sheet.language == "ja" else f"day {day}", f"day {day}")


def _fan(sheet: Sheet) -> Iterator[Band]:
    """From here to the edge that comes next: between its earliest and its latest."""
    from kuraban.edges.charts import Band

    place, ahead = sheet.place, sheet.end - sheet.picture.at
    leaving, batch = place.leaving, place.batch
    if leaving is None or batch is None or place.product is None or place.planned is None:
        return
    if ahead <= 0 or leaving.soonest <= 0:
        return
    below, above = batch.tolerance if leaving.edge == "tolerance" else batch.limit
    edge = place.planned + (above if leaving.side == "warm" else -below)
    latest = leaving.latest or 3 * leaving.soonest
    yield Band(sheet.picture.at, place.product, place.product)
    hours = min(ahead / HOUR, leaving.soonest)
    reach = [place.product + (edge - place.product) * hours / t for t in (leaving.soonest, latest)]
    yield Band(sheet.picture.at + hours * HOUR, min(reach), max(reach))
