"""What is known of an alarm when its message is written, gathered from the world."""

from __future__ import annotations

from msgspec.structs import replace

from kuraban.core.alarm_conditions import CONDITIONS, COOLING_FAILS
from kuraban.core.alarms.life_cycle import Alarm, Alarms
from kuraban.core.forecast.drift import Drift, drift_of
from kuraban.core.forecast.time_to_limit import first_to_leave
from kuraban.core.house_view import HouseView
from kuraban.core.plan.subject_state import Batch
from kuraban.core.texts.alarm_facts import Situation
from kuraban.core.units import HOUR

UNITS = {"stopped": "W", "short-cycling": "/h", "clock-wrong": "min", "dark": ""}
"""What the value of a condition is measured in, where it is no temperature."""


def situation_of(view: HouseView, alarms: Alarms, alarm: Alarm, now: float) -> Situation:
    """Everything that a message about an alarm can say at a moment."""
    if alarm.subject in view.house.place:
        return _of_place(view, alarms, alarm, now)
    if alarm.subject in view.house.cooler:
        return _of_cooler(view, alarm, now)
    if alarm.subject in view.house.probe:
        probe = view.house.probe[alarm.subject]
        return replace(
            _known(view, alarm, now, "probe"),
            place_name=view.house.name_of(probe.of),
            measures=probe.measures,
            last_stir=_last_stir(view, probe.of),
        )
    stepped = any(seen.startswith("went=") for seen in alarm.evidence)
    return _known(view, alarm, now, "step" if stepped else "watch")


def _known(view: HouseView, alarm: Alarm, now: float, kind: str) -> Situation:
    """What is told of every alarm."""
    return Situation(
        at=now,
        subject=alarm.subject,
        name=view.house.name_of(alarm.subject),
        kind=kind,
        condition=alarm.condition,
        value=alarm.value,
        planned=alarm.planned,
        since=alarm.since,
        unit=UNITS.get(alarm.condition, "°C"),
        evidence=alarm.evidence,
        in_hand=None if alarm.by is None else view.house.called(alarm.by),
    )


def _of_cooler(view: HouseView, alarm: Alarm, now: float) -> Situation:
    cooler = view.house.cooler[alarm.subject]
    judged = [place for place in view.served(cooler.id) if view.place_judged(place, now)]
    first = None if cooler.heats else first_to_leave(view, cooler.id, now)
    return replace(
        _known(view, alarm, now, cooler.kind),
        served=tuple(view.house.name_of(place) for place in judged),
        service=cooler.service,
        hours_left=None if first is None else (first[1].soonest, first[1].latest),
    )


def _last_stir(view: HouseView, place: str) -> float | None:
    subject_state = view.entry_log.subject_states.get(place)
    return subject_state.last_stir if subject_state is not None else None


def _of_place(view: HouseView, alarms: Alarms, alarm: Alarm, now: float) -> Situation:
    place = view.house.place[alarm.subject]
    subject_state = view.entry_log.subject_states.get(alarm.subject)
    batch = view.batch(alarm.subject, now)
    known = CONDITIONS.get(alarm.condition)
    side = "" if known is None else known.side
    common = _with_cooling(view, alarms, _known(view, alarm, now, place.kind))
    if batch is None:
        edge = None
        if place.band is not None:
            edge = place.band[1] if alarm.condition == "warm" else place.band[0]
        return replace(common, limit=edge, banded=edge is not None)
    standing = batch.plan.standing(now)
    drift = drift_of(view, alarm.subject, batch, now)
    limit, left = _ahead(alarm, batch, drift, side, now)
    return replace(
        common,
        rate=None if drift is None else drift.slope + batch.plan.slope(now),
        limit=limit,
        hours_left=left,
        batch=batch.title or batch.name,
        stage=standing.stage.title or {"en": standing.stage.id},
        day=batch.plan.day(now),
        hours=(now - batch.begun[0]) / HOUR,
        last_stir=None if subject_state is None else subject_state.last_stir,
        last_work=None if subject_state is None else subject_state.last_work,
    )


def _ahead(
    alarm: Alarm, batch: Batch, drift: Drift | None, side: str, now: float
) -> tuple[float | None, tuple[float, float] | None]:
    """The edge that comes next on this side, as degrees, and the hours until it."""
    if not side or alarm.condition.startswith("far-"):
        return None, None
    stage = batch.plan.standing(now).stage
    sides = stage.tolerance if alarm.condition.startswith("trending-") else stage.limit
    edge = sides.above if side == "warm" else -sides.below
    never = batch.course.never[1 if side == "warm" else 0]
    planned = batch.plan.at(now)
    limit = min(planned + edge, never) if side == "warm" else max(planned + edge, never)
    if drift is None:
        return limit, None
    hours = drift.hours_to(limit - planned)
    if hours is None or not 0 <= hours[0] <= 24:
        return limit, None
    return limit, (hours[0], min(hours[1], 2 * hours[0] + 6))


def _with_cooling(view: HouseView, alarms: Alarms, known: Situation) -> Situation:
    """The cooler of a place, and what stands against it."""
    cooler = view.entry_log.cooler_of(known.subject)
    if cooler is None:
        return known
    entry = view.house.cooler[cooler]
    known = replace(known, cooler=entry.name, service=entry.service)
    for condition in sorted(COOLING_FAILS):
        trouble = alarms.get((cooler, condition))
        if trouble is not None and trouble.active and trouble.raised is not None:
            since = trouble.raised if trouble.since is None else trouble.since
            who = None if trouble.by is None else view.house.called(trouble.by)
            return replace(known, cooler_trouble=(condition, since), cooler_in_hand=who)
    return known
