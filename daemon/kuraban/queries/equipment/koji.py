"""The koji room as its brewer looks at it: the air, and each bed by its own rise and its works.

What a work did is read from the bed's own record: the median of the twenty minutes before against
that of the last ten minutes of the hour after, or of the time up to the next work. How long the
hour is and what counts as a work is common practice.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from statistics import median
from typing import Literal, NamedTuple

from kuraban.core import entries as e
from kuraban.core.detectors.koji_air import DRY_WICK, wick_of
from kuraban.core.facts import Logged
from kuraban.core.house_view import HouseView
from kuraban.core.plan.subject_state import Batch
from kuraban.core.planned_curve import AirBand
from kuraban.core.site import Place
from kuraban.core.units import HOUR, MINUTE
from kuraban.core.views.equipment_views import AirNow, AirWord, BedNow, KojiRoom, WorkDone
from kuraban.errors import OutOfRange
from kuraban.queries.batches.progress import works
from kuraban.trade.koji import rise_watts
from kuraban.trade.psychrometry import depression, relative_humidity

WORKED_BACK = 12 * HOUR
BEFORE, LAST, LEAST = 20 * MINUTE, 10 * MINUTE, 10 * MINUTE
"""What is read before a work, at the end of the time after it, and how long that is at least."""
MOST_WORKS = 6
TOGETHER = 15 * MINUTE
"""Handwork so soon after a stage mark is that stage's."""
WORKS = (e.StageMark, e.Handwork)
"""Whatever else is told of a bed does not end the hour of the work before it."""
DRIED_AFTER = 44 * HOUR
"""From hikikomi until the koji is as dry as it goes out (common practice)."""
HEAT_ERROR = 0.1
KEPT = 20.0
"""Seconds for which a bed's rise and works are not reckoned anew."""


class _Known(NamedTuple):
    at: float
    subject_states: tuple[int, int]
    """Their version, and how many entries they hold: a note changes nothing but is a work."""
    bed: BedNow


class Beds:
    """Beds as they were last reckoned. Belongs to the loop that owns the engine."""

    def __init__(self) -> None:
        self._known: dict[str, _Known] = {}

    def now(self, view: HouseView, now: float) -> tuple[BedNow, ...]:
        """Every bed with a lot in it."""
        found = []
        for place in view.house.places:
            batch = view.batch(place.id, now) if place.kind == "koji-bed" else None
            if batch is not None:
                found.append(self._bed(view, place.id, batch, now))
        return tuple(found)

    def _bed(self, view: HouseView, place: str, batch: Batch, now: float) -> BedNow:
        subject_states = view.entry_log.version, len(view.entry_log.about(place))
        known = self._known.get(place)
        if (
            known is None
            or known.subject_states != subject_states
            or not 0 <= now - known.at < KEPT
        ):
            known = self._known[place] = _Known(
                now, subject_states, bed_of(view, place, batch, now)
            )
        return known.bed


def rooms(view: HouseView, now: float) -> tuple[KojiRoom, ...]:
    """Rooms with koji beds in the order of the site file; beds without a room by themselves."""
    beds: dict[str | None, list[Place]] = {}
    for place in view.house.places:
        if place.kind == "koji-bed":
            beds.setdefault(place.room, []).append(place)
    return tuple(_room(view, room, found, now) for room, found in beds.items())


def _room(view: HouseView, room: str | None, beds: list[Place], now: float) -> KojiRoom:
    known = None if room is None else view.house.place.get(room)
    return KojiRoom(
        id=room,
        air=air_of(view, beds, now),
        heater=next((p.heater for p in (known, *beds) if p is not None and p.heater), None),
        beds=tuple(bed.id for bed in beds),
    )


def air_of(view: HouseView, beds: list[Place], now: float) -> AirNow | None:
    """The air of the room of these beds, None where nothing measures it."""
    found = {measure: _measured(view, beds, measure, now) for measure in MEASURES}
    dry, wet, humidity = (found[measure] for measure in MEASURES)
    if dry is None and humidity is None:
        return None
    subjects = (*(bed.room for bed in beds), *(bed.id for bed in beds))
    apart, percent = _both(dry, wet, humidity, wick_of(view.house, *subjects))
    lot = _latest_lot(view, beds, now)
    band = None if lot is None else lot[1].plan.standing(now).stage.air
    measure, edges = _band(band)
    value = apart if measure == "depression" else percent
    wick = dry is not None and wet is not None and dry - wet < DRY_WICK
    return AirNow(
        dry=dry, wet=wet, depression=apart, humidity=percent, at=_heard(view, beds),
        reckoned=(humidity is None) is not (wet is None),
        measure=measure, band=edges, of=None if lot is None or band is None else lot[0].id,
        word="dry-wick" if wick else _word(measure, edges, value),
    )  # fmt: skip


MEASURES = ("air", "wet-bulb", "humidity")


def _measured(view: HouseView, beds: list[Place], measure: str, now: float) -> float | None:
    """Of the room, else of a bed's own probe."""
    rooms = dict.fromkeys(bed.room for bed in beds if bed.room is not None)
    found = (view.measured(of, now, measure) for of in (*rooms, *(bed.id for bed in beds)))
    return next((value for value in found if value is not None), None)


def _heard(view: HouseView, beds: list[Place]) -> float | None:
    subjects = dict.fromkeys([*(bed.room for bed in beds if bed.room), *(bed.id for bed in beds)])
    probe_states = (s for of in subjects for measure in MEASURES for s in view.hanging(of, measure))
    return max(
        (probe_state.heard for probe_state in probe_states if probe_state.heard is not None),
        default=None,
    )


def _both(
    dry: float | None, wet: float | None, humidity: float | None, coefficient: float
) -> tuple[float | None, float | None]:
    """Depression and humidity, each measured or from the other."""
    apart = None if dry is None or wet is None else dry - wet
    try:
        if apart is None and dry is not None and humidity is not None:
            return depression(dry, humidity), humidity
        if humidity is None and dry is not None and wet is not None and wet <= dry:
            return apart, relative_humidity(dry, wet, coefficient)
    except OutOfRange:
        pass
    return apart, humidity


def _latest_lot(view: HouseView, beds: list[Place], now: float) -> tuple[Place, Batch] | None:
    running = [
        (bed, batch)
        for bed in beds
        if view.in_service(bed.id) and (batch := view.batch(bed.id, now)) is not None
    ]
    return max(running, key=lambda one: one[1].since, default=None)


def _band(
    air: AirBand | None,
) -> tuple[Literal["depression", "humidity"] | None, tuple[float, float] | None]:
    """What a stage wants of the air: the measure, and from where to where."""
    if air is None:
        return None, None
    if air.wet_bulb_depression is not None:
        return "depression", air.wet_bulb_depression
    return "humidity", air.humidity


def _word(measure: str | None, band: tuple[float, float] | None, value: float | None) -> AirWord:
    """A small depression is damp, a small humidity dry."""
    if band is None or value is None:
        return "unjudged"
    if band[0] <= value <= band[1]:
        return "inside"
    return "damp" if (value < band[0]) is (measure == "depression") else "dry"


# A bed.


def bed_of(view: HouseView, place: str, batch: Batch, now: float) -> BedNow:
    """How a bed rises, and what works did to it."""
    standing, known = batch.plan.standing(now), view.product(place, now)
    disturbed = view.masked(place, now) is not None or batch.settled_at(standing) > now
    reach = None if disturbed else works(view, place, batch, now)
    points = standing.stage.points
    begun, sure = batch.begun
    way = _way(points[0][1], points[-1][1])
    return BedNow(
        place=place,
        begun=begun,
        sure=sure,
        goal=points[-1][1],
        way=way,
        reached=known is not None and _reached(known[0], points[-1][1], way),
        slow=None if reach is None else reach.slow,
        fast=None if reach is None else reach.fast,
        soonest=None if reach is None else _hours(reach.hours.soonest),
        latest=None if reach is None else _hours(reach.hours.latest),
        watts=None if reach is None else heat_of(batch, (reach.slow, reach.fast), now - begun),
        works=tuple(works_done(view, place, batch, now))[::-1][:MOST_WORKS],
    )


def heat_of(batch: Batch, rates: tuple[float, float], age: float) -> tuple[float, float] | None:
    """W that a bed's rise takes, least and most; None where nobody said how much rice it is.

    `rates` in K an hour, `age` in seconds since hikikomi.
    """
    if batch.rice_kg is None:
        return None
    dried = min(max(age / DRIED_AFTER, 0.0), 1.0)
    try:
        ends = [rise_watts(batch.rice_kg, rate, dried) for rate in rates]
    except OutOfRange:
        return None
    ends = [watts * (1 + error) for watts in ends for error in (-HEAT_ERROR, HEAT_ERROR)]
    return min(ends), max(ends)


Way = Literal["up", "down", "level"]


def _way(start: float, goal: float) -> Way:
    return "level" if start == goal else "up" if goal > start else "down"


def _reached(product: float, goal: float, way: Way) -> bool:
    return (way == "up" and product >= goal) or (way == "down" and product <= goal)


def _hours(hours: float) -> float | None:
    return None if math.isinf(hours) or hours > 48 else hours


def works_done(view: HouseView, place: str, batch: Batch, now: float) -> Iterator[WorkDone]:
    """The works of the last hours, oldest first."""
    since = max(batch.since + MINUTE, now - WORKED_BACK)
    told = [
        logged
        for logged in view.entry_log.counting()
        if logged.subject == place and since <= logged.at <= now
        and isinstance(logged.entry, (*WORKS, e.Note))
    ]  # fmt: skip
    told = _apart(sorted(told, key=lambda logged: logged.at))
    for number, logged in enumerate(told):
        later = (one.at for one in told[number + 1 :] if isinstance(one.entry, WORKS))
        yield _work_done(view, place, logged, min(logged.at + HOUR, now, *later))


def _apart(told: list[Logged]) -> list[Logged]:
    """Without handwork that belongs to the stage logged just before it: one work, told twice."""
    marks = [one.at for one in told if isinstance(one.entry, e.StageMark)]
    return [
        one
        for one in told
        if not isinstance(one.entry, e.Handwork)
        or not any(0 <= one.at - at < TOGETHER for at in marks)
    ]


def _work_done(view: HouseView, place: str, logged: Logged, until: float) -> WorkDone:
    series, at = view.places[place].series, logged.at
    before = series.since(at - BEFORE, at)[1]
    after = series.since(max(until - LAST, at), until)[1]
    within = series.since(at, until)[1]
    told = len(before) > 2 and len(after) > 2 and until - at >= LEAST
    entry = logged.entry
    return WorkDone(
        entry=logged.id, kind=e.kind_of(entry), at=at, minutes=(until - at) / MINUTE,
        stage=entry.stage if isinstance(entry, e.StageMark) else None,
        text=entry.text if isinstance(entry, e.Note) else None,
        before=median(before) if told else None, after=median(after) if told else None,
        lowest=min(within) if told else None,
    )  # fmt: skip
