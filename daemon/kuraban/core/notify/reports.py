"""The morning report, the evening word, and what is not watched and why: read from the world."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, datetime, timedelta

from kuraban.core import rota
from kuraban.core.alarms.alarm_context import situation_of
from kuraban.core.alarms.alarm_manager import AlarmManager
from kuraban.core.effects import Message, Step
from kuraban.core.entries import Note, ProbeIn, ProbeOut
from kuraban.core.forecast.drift import drift_of
from kuraban.core.forecast.time_to_limit import first_to_leave
from kuraban.core.house_view import HouseView
from kuraban.core.plan.subject_state import PROBE_OUT_LONGEST, Batch
from kuraban.core.site import WATCH, House, Place
from kuraban.core.texts.messages import Aim, Due, Evening, First, Leaving, Morning, Night, Ring
from kuraban.core.units import HOUR, MINUTE, next_clock

NIGHT = 12 * HOUR
SUNDAY = 6
ANSWERED = ("acknowledged", "normal")
"""Steps by which somebody answers a ring, the second where it had returned by then."""
ONSET = 11 * MINUTE
"""So long at most a probe that was pulled is on its way to the air before it is doubted."""
SETTLES = 10 * MINUTE
"""So long after it was put back a probe still tells of the air."""
SOON = 12.0
"""Hours in hand from which a cooler's stopping is no matter for this night."""


def why_not_judged(view: HouseView, place: str, now: float) -> str | None:
    """The reason, as a `why.` key of the catalogue, for which a place is not judged now."""
    entry = view.house.place[place]
    if not view.in_service(place):
        return "out-of-service"
    if entry.brews:
        if view.batch(place, now) is None and entry.band is None:
            return "no-batch"
        products = view.places[place].products
        if not products:
            return "no-probe"
        return "hangs-dry" if all("hangs-dry" in one.suspect for one in products) else None
    if entry.band is None:
        return "no-band"
    if not view.house.probes_of(place, "product", "air", "supply"):
        return "no-probe"
    return None


def not_watched(view: HouseView, now: float) -> tuple[tuple[str, str], ...]:
    """Name and reason of every place that should perhaps be watched and is not."""
    found = []
    for place in view.house.places:
        why = why_not_judged(view, place.id, now)
        if why is not None and why != "no-band":
            found.append((place.name, why))
    return tuple(found)


def anything_judged(view: HouseView, now: float) -> bool:
    return any(view.place_judged(place, now) for place in view.places)


def evening_due(view: HouseView, now: float) -> bool:
    """Whether the evening has a word: while anything is judged, else on Sundays alone."""
    return anything_judged(view, now) or _local(view.house, now).weekday() == SUNDAY


def month_begins(house: House, now: float) -> bool:
    """Whether this evening is the first of its month."""
    return _local(house, now).day == 1


def old_ice_points(house: House, now: float) -> tuple[str, ...]:
    """The probes whose ice-point check is known and more than a year old."""
    year_ago = (_local(house, now) - timedelta(days=365)).date()
    return tuple(
        house.name_of(probe.id)
        for probe in house.probes
        if probe.calibrated is not None and date.fromisoformat(probe.calibrated[:10]) < year_ago
    )


def _local(house: House, now: float) -> datetime:
    return datetime.fromtimestamp(now, house.zone)


def evening_word(view: HouseView, now: float) -> Evening:
    """What may leave its tolerance before the day turns, who is here, who will be woken."""
    house = view.house
    turn = next_clock(now, house.site.day_starts, house.zone)
    leaving = []
    for place in house.places:
        batch = view.batch(place.id, now)
        if batch is None or not view.in_service(place.id):
            continue
        drift = drift_of(view, place.id, batch, now)
        if drift is None:
            continue
        sides = batch.plan.standing(now).stage.tolerance
        for name, edge in (("warm", sides.above), ("cold", -sides.below)):
            hours = drift.hours_to(edge)
            sure = min(drift.low, drift.high) > 0 or max(drift.low, drift.high) < 0
            if hours is not None and sure and hours[0] > 0 and now + hours[0] * HOUR < turn:
                leaving.append(Leaving(name=place.name, condition=name, when=now + hours[0] * HOUR))
    manned = view.entry_log.manned
    woken = rota.chain(manned, "brewer", now + 4 * HOUR)
    return Evening(
        at=now,
        here=_names(house, rota.awake(manned, now + 4 * HOUR)),
        woken=_names(house, woken),
        leaving=tuple(leaving),
        first=_first(view, now),
        unwatched=not_watched(view, now),
    )


def _first(view: HouseView, now: float) -> tuple[First, ...]:
    """Which place leaves first if a cooler stops tonight, where that is known and not far."""
    found = []
    for cooler in view.house.coolers:
        first = None if cooler.heats else first_to_leave(view, cooler.id, now)
        if first is not None and first[1].soonest <= SOON:
            name, hours = view.house.name_of(first[0]), first[1]
            found.append(
                First(cooler=cooler.name, name=name, soonest=hours.soonest, latest=hours.latest)
            )
    return tuple(found)


def _names(house: House, holders: list[rota.Holder]) -> tuple[str, ...]:
    return tuple(
        house.person[holder.person].name for holder in holders if holder.person in house.person
    )


def morning_report(
    view: HouseView,
    alarm_manager: AlarmManager,
    night: list[Step | Message],
    waiting: list[tuple[str, str]],
    now: float,
) -> Morning:
    """The night behind: lowest and highest, rings and answers, what waited; the day's aims, work.

    What a probe told while the watch did not believe it is no part of the night.
    """
    alarms = alarm_manager.alarms
    waited = [
        situation_of(view, alarms, alarms[key], now)
        for key in waiting
        if key in alarms and alarms[key].stands
    ]
    probes = tuple(
        (view.house.name_of(alarm.subject), alarm.condition)
        for alarm in alarms.values()
        if alarm.active and alarm.subject in view.house.probe
    )
    return Morning(
        at=now,
        nights=tuple(_nights(view, alarm_manager, now)),
        rings=tuple(_rings(view, night)),
        waited=tuple(waited),
        probes=probes,
        aims=tuple(_aims(view, now)),
        due=tuple(_due(view, now)),
        done=tuple(_done(view, now)),
        note=_handover(view, now),
    )


def _done(view: HouseView, now: float) -> Iterator[tuple[str, str, str | None]]:
    """What was found and done at each cooler and heater in the night, as they noted it."""
    for cooler in view.house.coolers:
        for logged in view.entry_log.about(cooler.id):
            if isinstance(logged.entry, Note) and now - NIGHT <= logged.at <= now:
                who = None if logged.by is None else view.house.called(logged.by)
                yield cooler.name, logged.entry.text, who


def _handover(view: HouseView, now: float) -> str | None:
    """The latest note about the house as a whole, if it is of this day or night."""
    notes = [
        logged.entry.text
        for logged in view.entry_log.about(WATCH)
        if isinstance(logged.entry, Note) and now - NIGHT - 6 * HOUR <= logged.at <= now
    ]
    return notes[-1] if notes else None


def _nights(view: HouseView, alarm_manager: AlarmManager, now: float) -> Iterator[Night]:
    for place in view.house.places:
        batch = view.batch(place.id, now)
        if batch is not None and view.places[place.id].products:
            yield _night(view, alarm_manager, place, batch, now)


def _night(
    view: HouseView, alarm_manager: AlarmManager, place: Place, batch: Batch, now: float
) -> Night:
    """Lowest and highest without the wildest two hundredths of either, and the time outside."""
    times, values = view.places[place.id].series.since(now - NIGHT, now)
    doubts = doubts_of(view, alarm_manager, place.id, now)
    believed: list[float] = []
    outside, last = 0.0, None
    for at, value in zip(times, values, strict=True):
        if any(start <= at <= end for start, end in doubts):
            last = None
            continue
        believed.append(value)
        sides = batch.plan.standing(at).stage.tolerance
        beyond = value - batch.plan.at(at)
        if last is not None and (beyond > sides.above or beyond < -sides.below):
            outside += min(at - last, 600.0)
        last = at
    if not believed:
        return Night(name=place.name)
    believed.sort()
    spare = len(believed) // 200
    return Night(
        name=place.name, lowest=believed[spare], highest=believed[-1 - spare], outside=outside
    )


def doubts_of(
    view: HouseView, alarm_manager: AlarmManager, place: str, now: float
) -> list[tuple[float, float]]:
    """When nothing that was measured in a place was its product.

    The product of several probes is made of those alone that are believed.
    """
    products = view.places[place].products
    if len(products) != 1:
        return []
    probe = products[0].probe.id
    if "hangs-dry" in products[0].suspect:
        return [(now - NIGHT, now)]
    doubts = [(doubt.start - ONSET, doubt.end) for doubt in alarm_manager.doubts(probe, now)]
    return doubts + _taken_out(view, place, probe, now)


def _taken_out(view: HouseView, place: str, probe: str, now: float) -> list[tuple[float, float]]:
    """When somebody had the probe out of its product, as they logged it."""
    found: list[tuple[float, float]] = []
    told = (*view.entry_log.about(place), *view.entry_log.about(probe))
    for logged in sorted(told, key=lambda one: one.at):
        if isinstance(logged.entry, ProbeOut):
            found.append((logged.at, logged.at + PROBE_OUT_LONGEST))
        elif isinstance(logged.entry, ProbeIn) and found:
            found[-1] = (found[-1][0], min(found[-1][1], logged.at + SETTLES))
    return [stretch for stretch in found if stretch[1] > now - NIGHT]


def _aims(view: HouseView, now: float) -> Iterator[Aim]:
    """Of each mash and starter what the plan says now, and when the brewery day turns."""
    turn = next_clock(now, view.house.site.day_starts, view.house.zone)
    for place in view.house.places:
        batch = view.batch(place.id, now)
        if batch is not None and place.kind != "koji-bed" and not batch.plan.ended(turn):
            yield Aim(name=place.name, now=batch.plan.at(now), then=batch.plan.at(turn), by=turn)


def _rings(view: HouseView, night: list[Step | Message]) -> list[Ring]:
    rings: list[Ring] = []
    seen: set[str] = set()
    answers: dict[str, Step] = {}
    for event in night:
        if isinstance(event, Step) and event.step in ANSWERED and event.by is not None:
            answers.setdefault(event.alarm, event)
    for event in night:
        if not isinstance(event, Message) or event.step != "page" or event.urgency != "wake":
            continue
        for alarm in event.alarms:
            if alarm in seen:
                continue
            seen.add(alarm)
            subject, _, condition = alarm.partition("/")
            answer = answers.get(alarm)
            rings.append(
                Ring(
                    at=event.at,
                    alarm=alarm,
                    name=view.house.name_of(subject),
                    condition=condition,
                    who=None if answer is None else view.house.called(answer.by or ""),
                    answered=None if answer is None else answer.at,
                )
            )
    return rings


def _due(view: HouseView, now: float) -> Iterator[Due]:
    """Stages and pressings that the courses expect before the brewery day turns."""
    site = view.house.site
    turn = next_clock(now, site.day_starts, view.house.zone)
    for place in view.house.places:
        batch = view.batch(place.id, now)
        if batch is None:
            continue
        span = batch.plan.standing(now).span
        following, when = span.stage + 1, max(span.due, now)
        if span.due >= turn:
            continue
        if following < len(batch.course.stages):
            stage = batch.course.stages[following]
            caution = "hot" if stage.scalds else ""
            yield Due(place.name, stage.title or {"en": stage.id}, when, caution)
        elif place.kind == "tank" and batch.course.day_one is not None:
            yield Due(place.name, None, when, "press")
