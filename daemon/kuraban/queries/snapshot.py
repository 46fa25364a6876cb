"""The watch at this moment as a picture, made without a trace in what the watch decides.

What is dear is kept from picture to picture: where a product is going for half a minute, an
alarm's words while it stays as it is, a plan's line until the plan is laid anew. The steps from
which a drift is reckoned are the painter's own: reckoned at another moment they might hold one
reading more or less, and the watch must decide alike whether somebody looks or not.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Literal, NamedTuple

import msgspec

from kuraban.core import entries as e
from kuraban.core import rota
from kuraban.core.alarm_conditions import BREWER, CONDITIONS, COOLING_FAILS, CREW, MAINTENANCE
from kuraban.core.alarms.alarm_context import situation_of
from kuraban.core.alarms.alarm_manager import AlarmManager
from kuraban.core.alarms.life_cycle import Alarm, State
from kuraban.core.engine.engine import Engine
from kuraban.core.fates.pending_entries import WAITS
from kuraban.core.forecast.drift import Drift, drift_of
from kuraban.core.house_state import HouseState
from kuraban.core.house_view import HouseView
from kuraban.core.notify.priority import urgency_of
from kuraban.core.notify.reports import doubts_of, why_not_judged
from kuraban.core.plan.subject_state import Batch
from kuraban.core.planned_curve import FAR_FUTURE, Planned, Sides, Stage
from kuraban.core.site import WATCH, Place
from kuraban.core.texts.alarm_facts import Situation
from kuraban.core.texts.messages import Words, page
from kuraban.core.units import DAY, HOUR, day_turn, next_clock
from kuraban.core.views.equipment_views import HoursLeft
from kuraban.core.views.snapshot import (
    BatchNow,
    Leaving,
    OnDuty,
    PlaceNow,
    PlanLine,
    Point,
    ProbeNow,
    Ring,
    Snapshot,
    StageAhead,
    Stretch,
    Text,
    Unconfirmed,
)
from kuraban.queries.equipment import koji
from kuraban.queries.equipment.coolers import Machines
from kuraban.queries.place_status import banded_word, going_of, held_of, last_of, word_of

DRIFT_KEPT, WORDS_KEPT = 30.0, 20.0
MOST_DRIFTS = 2
"""Drifts that one picture reckons anew, but for those not known at all: about 1 ms each."""
LOOK_AHEAD = 24 * HOUR
PLAN_AHEAD = 2 * DAY
PRODUCT, ELSE = ("product",), ("product", "air", "supply", "wet-bulb", "humidity")
STATES = {
    State.UNACKNOWLEDGED: "unacknowledged", State.RETURNED: "returned",
    State.ACKNOWLEDGED: "acknowledged", State.SHELVED: "shelved",
    State.SUPPRESSED: "suppressed", State.OUT_OF_SERVICE: "out-of-service",
    State.NORMAL: "normal",
}  # fmt: skip
"""In the order in which a person needs them."""
_BEFORE = 1e-3


class _Course(NamedTuple):
    """Where a place was going when it was last reckoned."""

    at: float
    version: int
    drift: Drift | None


class _Told(NamedTuple):
    at: float
    looks: tuple[object, ...]
    title: Text
    body: Text


class Painter:
    """Makes pictures of one engine. Belongs to the loop that owns the engine."""

    def __init__(self, words: Words) -> None:
        self._words = words
        self._left = 0
        self._view: HouseView | None = None
        self._courses: dict[str, _Course] = {}
        self._told: dict[str, _Told] = {}
        self._lines: dict[str, tuple[Planned, float, PlanLine]] = {}
        self._beds = koji.Beds()
        self._machines = Machines()

    def snapshot(self, engine: Engine) -> Snapshot | None:
        """The watch as it stands, None before it knows its house."""
        if not engine.started:
            return None
        view, now = self._own_view(engine.watched.state), engine.now
        site, zone = view.house.site, view.house.zone
        self._left = MOST_DRIFTS
        hours = self._machines.hours(view, now)
        failing, alarms = _failing_coolers(engine), engine.alarm_manager
        return Snapshot(
            at=now,
            site=site.name,
            day_turned=day_turn(now, site.day_starts, zone),
            day_turns=next_clock(now, site.day_starts, zone),
            places=tuple(
                self._place(view, place, hours.get(place.id), failing, alarms, now)
                for place in view.house.places
            ),
            rings=tuple(self._rings(view, engine)),
            duty=tuple(_duty(view, now)),
            awake=tuple(holder.person for holder in rota.awake(view.entry_log.manned, now)),
            note=_note(view),
            impaired=tuple(sorted(engine.impaired.items())),
            rooms=koji.rooms(view, now),
            beds=self._beds.now(view, now),
            coolers=self._machines.coolers(view, hours, now),
            unconfirmed=tuple(_unconfirmed(engine)),
            entries=len(engine.entry_handler.known),
            clock=engine.clock,
        )

    def _own_view(self, state: HouseState) -> HouseView:
        """Its steps are reckoned apart from those on which the watch decides."""
        if self._view is None or not self._view.sees(state):
            self._view = HouseView(state)
        return self._view

    # Places.

    def _place(
        self, view: HouseView, place: Place, hours: HoursLeft | None, failing: dict[str, str],
        alarms: AlarmManager, now: float,
    ) -> PlaceNow:  # fmt: skip
        batch = view.batch(place.id, now)
        why = why_not_judged(view, place.id, now)
        fails = failing.get(view.entry_log.cooler_of(place.id) or "")
        if batch is not None:
            shown = self._brewing(view, place, batch, why, alarms, now)
            return replace(shown, hours=hours, cooler_fails=fails)
        return replace(_banded(view, place, why, now), cooler_fails=fails)

    def _brewing(
        self, view: HouseView, place: Place, batch: Batch, why: str | None, alarms: AlarmManager,
        now: float,
    ) -> PlaceNow:  # fmt: skip
        standing = batch.plan.standing(now)
        known, planned = view.product(place.id, now), batch.plan.at(now)
        apart = None if known is None else known[0] - planned
        drift = self._drift(view, place.id, batch, now)
        plan_goes = batch.plan.slope(now)
        rate = None if drift is None else drift.slope + plan_goes
        held, until = held_of(view, place.id, batch, now)
        subject_state = view.entry_log.of(place.id)
        return PlaceNow(
            id=place.id,
            name=place.name,
            kind=place.kind,
            brews=True,
            why=why,
            word=word_of(apart, standing.stage),
            product=None if known is None else known[0],
            at=None if known is None else view.product_heard(place.id, now),
            last=None if known is not None else last_of(view.places[place.id], batch.since),
            planned=planned,
            difference=apart,
            rate=rate,
            rates=None if drift is None else (drift.low + plan_goes, drift.high + plan_goes),
            going=going_of(rate),
            leaving=None if held else _leaving(drift, standing.stage),
            foreseen=drift is not None and known is not None,
            held=held,
            held_until=until,
            doubts=tuple(doubts_of(view, alarms, place.id, now)),
            last_stir=subject_state.last_stir,
            last_work=subject_state.last_work,
            batch=self._batch(place.id, batch, now),
            probes=_probes(view, place.id, PRODUCT, now),
            cooler=view.entry_log.cooler_of(place.id),
        )

    def _drift(self, view: HouseView, place: str, batch: Batch, now: float) -> Drift | None:
        kept, version = self._courses.get(place), view.entry_log.version
        old = kept is None or kept.version != version or not 0 <= now - kept.at < DRIFT_KEPT
        if kept is None or (old and self._left > 0):
            self._left -= 1
            kept = _Course(now, version, drift_of(view, place, batch, now))
            self._courses[place] = kept
        return kept.drift

    def _batch(self, place: str, batch: Batch, now: float) -> BatchNow:
        span, stage = batch.plan.standing(now)
        later = batch.course.stages[span.stage + 1 :]
        return BatchNow(
            name=batch.name,
            title=batch.title,
            course=batch.course.id,
            since=batch.since,
            stage=stage.id,
            stage_title=stage.title or {"en": stage.id},
            stage_since=span.start,
            stage_due=span.due if later else None,
            ahead=tuple(_ahead(batch.plan, span.stage + 1)),
            ends=batch.plan.begins(len(batch.course.stages)),
            day=batch.plan.day(now),
            hours=(now - batch.begun[0]) / HOUR,
            tolerance=_pair(stage.tolerance),
            limit=_pair(stage.limit),
            plan=self._line(place, batch.plan, now),
        )

    def _line(self, place: str, plan: Planned, now: float) -> PlanLine:
        kept = self._lines.get(place)
        if kept is None or kept[0] is not plan or not 0 <= now - kept[1] < HOUR:
            kept = plan, now, line_of(plan, now + PLAN_AHEAD)
            self._lines[place] = kept
        return kept[2]

    # Alarms.

    def _rings(self, view: HouseView, engine: Engine) -> list[Ring]:
        order = list(STATES)
        alarms = [alarm for alarm in engine.alarm_manager.alarms.values() if alarm.stands]
        alarms.sort(key=lambda a: (order.index(a.state), -CONDITIONS[a.condition].rank, a.id))
        gone = self._told.keys() - {alarm.id for alarm in alarms}
        for name in gone:
            del self._told[name]
        return [self._ring(view, engine, alarm) for alarm in alarms]

    def _ring(self, view: HouseView, engine: Engine, alarm: Alarm) -> Ring:
        house, condition = view.house, CONDITIONS[alarm.condition]
        told = self._text(view, engine, alarm)
        place = alarm.subject if alarm.subject in house.place else None
        if alarm.subject in house.probe and house.probe[alarm.subject].of in house.place:
            place = house.probe[alarm.subject].of
        return Ring(
            subject=alarm.subject,
            condition=alarm.condition,
            name=house.name_of(alarm.subject),
            urgency=urgency_of(engine.view, alarm, engine.now),
            state=STATES[alarm.state],
            title=told.title,
            body=told.body,
            side=condition.side,
            place=place,
            value=alarm.value,
            since=alarm.since,
            over=None if alarm.active else alarm.over,
            raised=alarm.raised,
            by=alarm.by,
            until=alarm.until if alarm.state is State.SHELVED else alarm.in_hand_until,
            within=engine.alarm_manager.turns_within(alarm),
            once=alarm.once,
            reason=alarm.reason,
        )

    def _text(self, view: HouseView, engine: Engine, alarm: Alarm) -> _Told:
        looks = (alarm.state, alarm.active, alarm.raised, alarm.by)
        kept, now = self._told.get(alarm.id), engine.now
        if kept is not None and kept.looks == looks and 0 <= now - kept.at < WORDS_KEPT:
            return kept
        situation = self._situation(view, engine, alarm)
        zone = view.house.zone
        said = {
            language: page(situation, language, self._words, zone)
            for language in self._words.catalogue
        }
        titles = {language: text.title for language, text in said.items()}
        bodies = {language: text.body for language, text in said.items()}
        kept = self._told[alarm.id] = _Told(now, looks, titles, bodies)
        return kept

    def _situation(self, view: HouseView, engine: Engine, alarm: Alarm) -> Situation:
        """As a message would tell it, but of the product now; who has it is shown beside it."""
        now = engine.now
        found = situation_of(view, engine.alarm_manager.alarms, alarm, now)
        batch = view.batch(alarm.subject, now) if alarm.subject in view.places else None
        known = None if batch is None else view.product(alarm.subject, now)
        if batch is not None and known is not None and CONDITIONS[alarm.condition].side:
            planned = batch.plan.at(now)
            found = msgspec.structs.replace(found, value=known[0], planned=planned)
        return msgspec.structs.replace(found, in_hand=None)


def _failing_coolers(engine: Engine) -> dict[str, str]:
    """By cooler, what leaves its places without it now."""
    return {
        alarm.subject: alarm.condition
        for alarm in engine.alarm_manager.alarms.values()
        if alarm.active and alarm.condition in COOLING_FAILS
    }


def _unconfirmed(engine: Engine) -> Iterator[Unconfirmed]:
    for logged, _ in engine.entry_handler.pending.held.values():
        yield Unconfirmed(
            id=logged.id,
            subject=logged.subject,
            name=engine.view.house.name_of(logged.subject),
            entry=e.kind_of(logged.entry),
            at=logged.at,
            until=logged.received + WAITS,
            by=logged.by,
            stage=logged.entry.stage if isinstance(logged.entry, e.StageMark) else None,
        )


def line_of(plan: Planned, until: float) -> PlanLine:
    """A plan from its first mark to `until`, or to its end."""
    start = plan.spans[0].start
    end = min(until, plan.spans[-1].end)
    knots = {start, end}
    moment = start
    while moment < end:
        moment = min(plan.line(moment)[0], end)
        knots.add(moment)
    points: list[Point] = []
    first: list[Point] = []
    for knot in sorted(knots):
        for moment in (knot - _BEFORE, knot):
            if start <= moment <= end:
                points.append((knot, round(plan.at(moment), 4)))
                first.append((knot, round(plan.first(moment), 4)))
    drawn, hoped = _thinned(points), _thinned(first)
    return PlanLine(
        points=drawn,
        first=() if drawn == hoped else hoped,
        stretches=tuple(_stretches(plan)),
    )


def _thinned(points: list[Point]) -> tuple[Point, ...]:
    """Without the second of two alike."""
    return tuple(dict.fromkeys(points))


def _ahead(plan: Planned, first: int) -> Iterator[StageAhead]:
    """The stages from a number on."""
    stages = plan.course.stages
    for number in range(first, len(stages)):
        stage, logged = stages[number], stages[number - 1].ends == "crew"
        due = plan.begins(number) if logged else None
        yield StageAhead(id=stage.id, title=stage.title or {"en": stage.id}, due=due)


def _stretches(plan: Planned) -> Iterator[Stretch]:
    for span in plan.spans:
        stage = plan.course.stages[span.stage]
        if span.end > span.start:
            yield Stretch(
                stage=stage.id,
                title=stage.title or {"en": stage.id},
                start=span.start,
                end=None if span.end >= FAR_FUTURE else span.end,
                below=stage.tolerance.below,
                above=stage.tolerance.above,
            )


def _pair(sides: Sides) -> tuple[float, float]:
    return sides.below, sides.above


def _leaving(drift: Drift | None, stage: Stage) -> Leaving | None:
    """The edge that it passes within a day, if even the slow end of its drift goes there."""
    if drift is None or drift.low <= 0 <= drift.high:
        return None
    side: Literal["warm", "cold"] = "warm" if drift.low > 0 else "cold"
    edges: tuple[tuple[Literal["tolerance", "limit"], Sides], ...] = (
        ("tolerance", stage.tolerance),
        ("limit", stage.limit),
    )
    for edge, sides in edges:
        hours = drift.hours_to(sides.above if side == "warm" else -sides.below)
        if hours is not None and 0 < hours[0] * HOUR <= LOOK_AHEAD:
            latest = hours[1] if hours[1] * HOUR <= LOOK_AHEAD else None
            return Leaving(side=side, edge=edge, soonest=hours[0], latest=latest)
    return None


def _banded(view: HouseView, place: Place, why: str | None, now: float) -> PlaceNow:
    """A place without a batch, with a band or with nothing to be judged by."""
    probes = _probes(view, place.id, ELSE, now)
    heard = next((p for p in probes if p.value is not None and not p.trouble and not p.out), None)
    value = None if heard is None else heard.value
    said = [(p.at, p.value) for p in probes if p.at is not None and p.value is not None]
    word, apart = banded_word(value, place.band)
    subject_state = view.entry_log.subject_states.get(place.id)
    return PlaceNow(
        id=place.id, name=place.name, kind=place.kind, brews=place.brews, why=why, word=word,
        product=value, at=None if heard is None else heard.at, band=place.band, difference=apart,
        last=None if value is not None else max(said, default=None),
        ended=None if subject_state is None else subject_state.ended, probes=probes,
        cooler=view.entry_log.cooler_of(place.id),
    )  # fmt: skip


def _probes(
    view: HouseView, place: str, measures: tuple[str, ...], now: float
) -> tuple[ProbeNow, ...]:
    found = []
    for probe in view.house.probes_of(place, *measures):
        probe_state = view.probe_states[probe.id]
        subject_state = view.entry_log.subject_states.get(probe.id)
        trouble = trouble_of(view, probe.id, now)
        found.append(
            ProbeNow(
                id=probe.id,
                measures=probe.measures,
                value=probe_state.value,
                at=probe_state.heard,
                trouble=tuple(one for one in trouble if one != "out"),
                out="out" in trouble
                or (subject_state is not None and subject_state.probe_out is not None),
            )
        )
    return tuple(found)


def trouble_of(view: HouseView, probe: str, now: float) -> tuple[str, ...]:
    """Conditions that hold against a probe, whether they ring or not."""
    probe_state = view.probe_states[probe]
    trouble = set[str](probe_state.suspect - {"step"})
    if probe_state.heard is not None and not probe_state.fresh(now):
        trouble.add("silent")
    return tuple(sorted(trouble))


def _duty(view: HouseView, now: float) -> Iterator[OnDuty]:
    for role in (BREWER, MAINTENANCE, CREW):
        people = rota.chain(view.entry_log.manned, role, now)
        yield OnDuty(role=role, people=tuple(holder.person for holder in people))


def _note(view: HouseView) -> tuple[str, str | None, float] | None:
    """The newest note about the house as a whole."""
    for logged in reversed(view.entry_log.about(WATCH)):
        if isinstance(logged.entry, e.Note):
            return logged.entry.text, logged.by, logged.at
    return None
