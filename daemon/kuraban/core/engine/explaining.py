"""Why a subject rings, or does not: what its detectors see now, and what they rest on.

Every figure is the one that the judging uses; nothing is changed by asking, but for what the
forecast remembers of when it was asked. So whoever asks has an engine of their own
(`kuraban.queries.why`).
"""

from __future__ import annotations

from collections.abc import Iterator

from kuraban.core.alarm_conditions import COOLING_FAILS
from kuraban.core.alarms.life_cycle import Alarm, State
from kuraban.core.detectors.banded_place import MEASURES
from kuraban.core.engine.engine import Engine
from kuraban.core.equipment.cooler_view import CoolerView
from kuraban.core.house_view import HouseView
from kuraban.core.notify.reports import why_not_judged
from kuraban.core.plan.subject_state import Batch
from kuraban.core.planned_curve import FAR_FUTURE
from kuraban.core.site import SIGNALS, WATCH
from kuraban.core.views.explanation import Account, Because, Explanation, Hand, Judged, Unit

HANDS: dict[State, Hand] = {
    State.UNACKNOWLEDGED: "rings", State.ACKNOWLEDGED: "in-hand", State.RETURNED: "returned",
    State.SHELVED: "shelved", State.SUPPRESSED: "suppressed",
    State.OUT_OF_SERVICE: "out-of-service",
}  # fmt: skip
ORDER: tuple[Hand, ...] = (
    "rings", "in-hand", "listed", "shelved", "suppressed", "out-of-service", "returned", "waits",
    "quiet",
)  # fmt: skip
UNITS: dict[str, Unit] = {"power": "W", "humidity": "%RH"}


def explain(engine: Engine, subject: str) -> Explanation:
    """Of a place, a cooler or a probe of the house, or of the watch, at the engine's own moment."""
    view, now = engine.view, engine.now
    house = view.house
    if subject in house.place:
        known = _of_place(engine, subject, now)
    elif subject in house.cooler:
        known = _of_cooler(view, subject, now)
    elif subject == WATCH:
        known = _of_watch(view, now)
    else:
        known = _of_probe(view, subject, now)
    accounts = (
        account
        for _, detector in engine.registry.about.get(subject, ())
        for account in detector.explain(now)
    )
    judged = [_judged(engine, subject, account) for account in accounts]
    if subject == WATCH:
        parts = engine.self_monitoring.explain(now)
        judged += [_judged(engine, subject, account) for account in parts]
    judged.sort(key=lambda one: ORDER.index(one.hand))
    return Explanation(
        subject=subject, name=house.name_of(subject), at=now, known=tuple(known),
        judged=tuple(judged),
    )  # fmt: skip


def _judged(engine: Engine, subject: str, account: Account) -> Judged:
    alarm = engine.alarm_manager.alarms.get((subject, account.condition))
    if alarm is None or alarm.state is State.NORMAL:
        waits = account.delay is not None or any(one.key == "runs-out" for one in account.lacks)
        return Judged(account, "waits" if waits else "quiet")
    house = engine.view.house
    by = None if alarm.by is None else house.called(alarm.by)
    hand = HANDS[alarm.state]
    if hand == "rings" and any(one.word == "unsure" for one in account.seen):
        hand = "listed"
    return Judged(account, hand, alarm.raised, by, _until(alarm))


def _until(alarm: Alarm) -> float | None:
    return alarm.until if alarm.state is State.SHELVED else alarm.in_hand_until


# What is known of a place.


def _of_place(engine: Engine, place: str, now: float) -> Iterator[Because]:
    view = engine.view
    unjudged = why_not_judged(view, place, now)
    if unjudged is not None:
        yield Because("unjudged", word=unjudged)
    entry, batch = view.house.place[place], view.batch(place, now)
    if entry.brews:
        yield from _product(view, place, now)
    else:
        yield from _surroundings(view, place, now)
    if batch is not None:
        yield from _plan(batch, now)
    elif entry.band is not None:
        yield Because("band", *entry.band, wanted=entry.delay)
    yield from _held(view, place, batch, now)
    yield from _cooling(engine, place)


def _product(view: HouseView, place: str, now: float) -> Iterator[Because]:
    """What is believed, from which probes, and what is not believed and why."""
    known, judged = view.places[place], view.place_judged(place, now)
    good = [one.probe.id for one in known.products if one.good(now)]
    if known.value is not None:
        yield Because("product", known.value, since=known.at, name=", ".join(good))
    elif (by_hand := view.checked(known.place, now)) is not None:
        yield Because("by-hand", by_hand[0], since=by_hand[1])
    elif judged and known.products:
        yield Because("no-product", known.product, since=known.last_good)
    for one in known.products:
        yield from _doubts(view, one.probe.id)


def _surroundings(view: HouseView, place: str, now: float) -> Iterator[Because]:
    probes = [one for m in MEASURES for one in view.hanging(place, m)]
    for one in probes:
        if one.good(now):
            yield Because("product", one.value, since=one.heard, name=one.probe.id)
            return
    for one in probes:
        yield from _doubts(view, one.probe.id)


def _doubts(view: HouseView, probe: str) -> Iterator[Because]:
    known = view.probe_states[probe]
    for why in sorted(known.suspect):
        unit = UNITS.get(known.probe.measures, "°C")
        yield Because("doubted", known.value, unit=unit, since=known.heard, name=probe, word=why)


def _plan(batch: Batch, now: float) -> Iterator[Because]:
    planned, stage = batch.plan.at(now), batch.plan.standing(now).stage
    title = stage.title or {"en": stage.id}
    yield Because("plan", planned, name=batch.title or batch.name, title=title)
    low, high = planned - stage.tolerance.below, planned + stage.tolerance.above
    yield Because("tolerance", low, high, wanted=stage.delay)
    low, high = planned - stage.limit.below, planned + stage.limit.above
    yield Because("limit", low, high, wanted=stage.limit_delay)
    yield Because("never", *batch.course.never)


def _held(view: HouseView, place: str, batch: Batch | None, now: float) -> Iterator[Because]:
    """Masks, the settling of a stage, a let-run."""
    known = view.entry_log.of(place)
    for mask in known.masks:
        if mask.start <= now < mask.end:
            yield Because("mask", since=mask.start, until=mask.end, word=mask.why)
    settled = 0.0 if batch is None else batch.settled_at(batch.plan.standing(now))
    if settled > now:
        yield Because("settling", until=settled)
    run = known.let_run
    if run is not None and run.start <= now < run.until:
        yield Because("let-run", run.more, run.base, until=run.until)


def _cooling(engine: Engine, place: str) -> Iterator[Because]:
    cooler = engine.view.entry_log.cooler_of(place)
    if cooler is None:
        return
    name, fails = engine.view.house.name_of(cooler), False
    for condition in sorted(COOLING_FAILS):
        alarm = engine.alarm_manager.alarms.get((cooler, condition))
        if alarm is not None and alarm.active:
            fails = True
            yield Because("cooler-fails", since=alarm.since, name=name, word=condition)
    if not fails:
        yield Because("cooler", name=name)


# What is known of a cooler, and of a probe.


def _of_cooler(view: HouseView, subject: str, now: float) -> Iterator[Because]:
    cooler = CoolerView(view, subject)
    if not view.in_service(subject):
        yield Because("unjudged", word="out-of-service")
    runs = cooler.runs(now)
    yield Because("runs-unknown" if runs is None else "runs" if runs else "rests")
    power, kept = view.measured(subject, now, "power"), cooler.makes(now)
    if power is not None:
        yield Because("draws", power, cooler.entry.rated_watts, "W")
    if kept is not None:
        yield Because("keeps", kept)
    if cooler.entry.band is not None:
        yield Because("band", *cooler.entry.band)
    called = cooler.called_by(now)
    yield Because("uncalled") if called is None else Because("called", word=called)
    for probe in view.house.probes_of(subject):
        yield from _doubts(view, probe.id)
    names = [view.house.name_of(p) for p in view.served(subject) if view.place_judged(p, now)]
    if names:
        yield Because("serves", name=", ".join(names))


def _of_probe(view: HouseView, subject: str, now: float) -> Iterator[Because]:
    known = view.probe_states[subject]
    yield Because("hangs-on", name=view.house.name_of(known.probe.of), word=known.probe.measures)
    if known.heard is None:
        yield Because("no-value")
    elif known.probe.measures not in SIGNALS:
        unit = UNITS.get(known.probe.measures, "°C")
        yield Because("heard", known.value, unit=unit, since=known.heard, wanted=known.probe.every)
    yield from _doubts(view, subject)


# What is known of the watch itself.


def _of_watch(view: HouseView, now: float) -> Iterator[Because]:
    probes = view.probe_states.values()
    answer = sum(one.fresh(now) for one in probes)
    yield Because("probes-answer", float(answer), float(len(probes)), unit="")
    if now < view.blind < FAR_FUTURE:
        yield Because("watch-back", until=view.blind)
