"""What an entry would do by which a tank could go wrong unseen (`core.fates.entry_authority`)."""

from __future__ import annotations

from collections.abc import Callable

from kuraban.core import entries as e
from kuraban.core.alarm_conditions import BREWER, CONDITIONS
from kuraban.core.facts import Logged
from kuraban.core.fates.entry_authority import Touch, brewers
from kuraban.core.house_view import HouseView
from kuraban.core.plan.entry_log import PLACES
from kuraban.core.plan.subject_state import Batch
from kuraban.core.units import HOUR

LONG_SHELF = 4 * HOUR
"""As long as a hand check counts for a mash: who shelves for longer may be asleep when it ends."""
FAR_FROM_COURSE = 3.0
"""K from the course's own degrees at which a plan or an aim is another course (common practice)."""


def touch_of(logged: Logged, view: HouseView, now: float) -> Touch:
    """What an entry would do if it counted now."""
    if not isinstance(logged.entry, (e.TakeBack, e.Amend)):
        return _made(logged, view, now)
    foreseen = view.entry_log.foresee(logged)
    if foreseen is None:
        return Touch.NOTHING
    old, after = foreseen
    if isinstance(old.entry, PLACES):
        return Touch.UNDOES_START
    if after is None:
        return _undone(old, view, now)
    if isinstance(old.entry, e.StageMark):
        return _restaged(old, view, now)
    return _made(after, view, now)


def _made(logged: Logged, view: HouseView, now: float) -> Touch:
    weigh = WEIGHED.get(type(logged.entry))
    return Touch.NOTHING if weigh is None else weigh(logged, view, now)


def _undone(old: Logged, view: HouseView, now: float) -> Touch:
    """What it does to let an entry count no more."""
    match old.entry:
        case e.InService():
            return _out_of_service(old, view, now)
        case e.StageMark():
            return _restaged(old, view, now)
        case e.DutySwap():
            return _duty_swap(old, view, now)
        case _:
            return Touch.NOTHING


def _batch(logged: Logged, view: HouseView, now: float) -> Batch | None:
    return view.batch(logged.subject, now) if logged.subject in view.places else None


def _out_of_service(logged: Logged, view: HouseView, now: float) -> Touch:
    if logged.subject in view.house.probe:
        return _probe_removed(logged.subject, view, now)
    return Touch.NOTHING if _batch(logged, view, now) is None else Touch.OUT_OF_SERVICE


def _batch_end(logged: Logged, view: HouseView, now: float) -> Touch:
    batch, entry = _batch(logged, view, now), logged.entry
    if batch is None or (isinstance(entry, e.Press) and entry.rest):
        return Touch.NOTHING
    if batch.plan.standing(now).span.stage == len(batch.course.stages) - 1:
        return Touch.NOTHING
    return Touch.ENDS_EARLY


def _stage(logged: Logged, view: HouseView, now: float) -> Touch:
    entry, batch = logged.entry, _batch(logged, view, now)
    assert isinstance(entry, e.StageMark)
    index = None if batch is None else batch.course.index(entry.stage)
    if batch is None or index is None or index == batch.plan.standing(now).span.stage + 1:
        return Touch.NOTHING
    return Touch.STAGE_OUT_OF_TURN


def _restaged(old: Logged, view: HouseView, now: float) -> Touch:
    """The newest stage may be put right by whoever sees the slip."""
    batch = _batch(old, view, now)
    marks = [one for one in view.entry_log.about(old.subject) if isinstance(one.entry, e.StageMark)]
    if batch is None or not marks or marks[-1].key == old.key or old.at < batch.since:
        return Touch.NOTHING
    return Touch.STAGE_OUT_OF_TURN


def _shelve(logged: Logged, view: HouseView, now: float) -> Touch:
    entry, condition = logged.entry, None
    assert isinstance(entry, e.Shelve)
    if _batch(logged, view, now) is not None:
        condition = CONDITIONS.get(entry.condition)
    wakes = condition is not None and condition.urgency == "wake"
    return Touch.LONG_SHELF if wakes and entry.for_ > LONG_SHELF else Touch.NOTHING


def _let_run(logged: Logged, view: HouseView, now: float) -> Touch:
    batch = _batch(logged, view, now)
    if batch is None:
        return Touch.NOTHING
    lowest, highest = let_run_to(logged, batch)
    least, most = allowed(batch, logged.at)
    return Touch.LETS_RUN_FAR if lowest < least or highest > most else Touch.NOTHING


def let_run_to(logged: Logged, batch: Batch) -> tuple[float, float]:
    """Between which degrees a let-run lets the product of a batch be."""
    entry = logged.entry
    assert isinstance(entry, e.LetRun)
    base = batch.plan.at(logged.at) if logged.seen is None else logged.seen
    return base - entry.more, base + entry.more


def allowed(batch: Batch, at: float) -> tuple[float, float]:
    """The limits of a stage about the plan, and no further than the course ever allows."""
    planned, limit = batch.plan.at(at), batch.plan.standing(at).stage.limit
    lowest, highest = batch.course.never
    return max(planned - limit.below, lowest), min(planned + limit.above, highest)


def _plan(logged: Logged, view: HouseView, now: float) -> Touch:
    entry, batch = logged.entry, _batch(logged, view, now)
    assert isinstance(entry, (e.Aim, e.Plan))
    if batch is None:
        return Touch.NOTHING
    points = ((entry.by, entry.celsius),) if isinstance(entry, e.Aim) else entry.points
    far = any(far_from_course(batch, at, celsius) for at, celsius in points if at > logged.at)
    return Touch.PLANS_FAR if far else Touch.NOTHING


def far_from_course(batch: Batch, at: float, celsius: float) -> bool:
    """Whether degrees at a time are no longer this course."""
    lowest, highest = batch.course.never
    apart = abs(celsius - batch.plan.first(at))
    return apart > FAR_FROM_COURSE or not lowest <= celsius <= highest


def _probe_removed(probe: str, view: HouseView, now: float) -> Touch:
    """Whether nothing would tell the product of a batch any more."""
    place = view.house.probe[probe].of
    return Touch.LAST_PROBE if _telling(place, view, now) == {probe} else Touch.NOTHING


def _probe_out(logged: Logged, view: HouseView, now: float) -> Touch:
    """Everybody may take a probe out for its hour; whoever says so again meanwhile prolongs it."""
    probe = view.house.probe.get(logged.subject)
    place = logged.subject if probe is None else probe.of
    told = view.house.probes_of(place, "product") if probe is None else (probe,)
    states = (view.entry_log.subject_states.get(one.id) for one in told)
    out = any(state is not None and state.probe_out is not None for state in states)
    return Touch.LAST_PROBE if out and _telling(place, view, now) == set() else Touch.NOTHING


def _telling(place: str, view: HouseView, now: float) -> set[str] | None:
    """The probes that tell the product of a batch now; None where none runs, or somebody measured
    it by hand not long ago."""
    if place not in view.places or view.batch(place, now) is None:
        return None
    if view.checked(view.house.place[place], now) is not None:
        return None
    products = view.places[place].products
    return {one.probe.id for one in products if one.good(now) and view.in_service(one.probe.id)}


def _duty_swap(logged: Logged, view: HouseView, now: float) -> Touch:
    entry = logged.entry
    assert isinstance(entry, e.DutySwap)
    theirs = entry.role in (None, BREWER) and brewers(view.house) & {entry.from_, entry.to}
    return Touch.BREWERS_DUTY if theirs else Touch.NOTHING


WEIGHED: dict[type, Callable[[Logged, HouseView, float], Touch]] = {
    e.OutOfService: _out_of_service,
    e.BatchEnd: _batch_end,
    e.Press: _batch_end,
    e.StageMark: _stage,
    e.Shelve: _shelve,
    e.LetRun: _let_run,
    e.Aim: _plan,
    e.Plan: _plan,
    e.ProbeOut: _probe_out,
    e.DutySwap: _duty_swap,
}
