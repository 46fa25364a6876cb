"""Who must have heard of what, and by when."""

from __future__ import annotations

from bisect import bisect
from collections.abc import Callable, Iterator
from itertools import pairwise

import msgspec

from kuraban.core import entries as e
from kuraban.core.effects import Step
from kuraban.core.facts import Logged, Reading
from kuraban.core.units import HOUR, MINUTE
from tests.simulation import model
from tests.simulation.brewery import AFTER, OF, OUTSIDE, PLANNED, STORE
from tests.simulation.season import Season
from tests.simulation.told import SLOWEST, Told, at, heard_of, off_times, thing

Wrong = Iterator[tuple[str, str]]
GATHERED = 5 * MINUTE
"""So long a ring waits for others where they come thick."""


def somebody_is_reached(season: Season, told: Told) -> Wrong:
    """Of what rings at any hour, as the model says, whoever's phone is dead."""
    off = off_times(season)
    spoken = heard_of(season, told)
    steps = list(_as_told(season, told))
    heard = [(when, who, {thing(one) for one in alarms}) for when, who, alarms, _ in spoken]
    set_unseen = _set_unseen(season, off)
    for ring in model.rings(season.house, steps, _beyond(season, told)):
        what = ring.subject, ring.side
        people = model.everyone(season.house, ring.role)
        told_of = [(when, who) for when, who, things in heard
                   if what in things and when >= ring.known - 1]  # fmt: skip
        who, times = {one for _, one in told_of}, [when for when, _ in told_of]
        due = model.later(ring.start + model.REACHED_WITHIN, ring.start, off, model.REACHED_WITHIN)
        if season.end - ring.start < GATHERED + SLOWEST:
            continue
        due = min(due, season.end)
        alive = {p for p in people if season.phones.of[p].well_from_to(ring.start - 330, due)}
        if alive and ring.end > due and not any(when <= due for when in times):
            yield (
                "nobody reached",
                (
                    f"{ring.subject} {ring.side} rings since {at(ring.start)}, nobody had it by"
                    f" {at(due)} though {sorted(alive)} could"
                ),
            )
        stepped = any(event.do == "clock" for event in season.script.events)
        first = None if stepped else model.first_of(season.house, ring.role, ring.start)
        if (
            first in alive
            and ring.end > due
            and first not in {one for when, one in told_of if when <= due}
        ):
            yield (
                "not the first",
                f"{ring.subject} {ring.side} rings since {at(ring.start)}, and {first}, who was"
                f" on duty, had not heard by {at(due)}",
            )
        rungs = model.QUICK if ring.quick else model.SLOW
        rest = model.ALL_WITHIN + (rungs if set_unseen else 0.0)
        due = model.later(ring.start + rungs + model.ALL_WITHIN, ring.start, off, rest)
        alive = {p for p in people if season.phones.of[p].well_from_to(ring.start - 330, due)}
        if ring.end > due and due < season.end - MINUTE and alive - who:
            yield (
                "ladder",
                (
                    f"{ring.subject} {ring.side} rings since {at(ring.start)} unanswered, and"
                    f" {sorted(alive - who)} had not heard by {at(due)}"
                ),
            )


def _as_told(season: Season, told: Told) -> Iterator[Step]:
    """Each step when it was told: what the code of today sees otherwise in the hours before it
    began is told as it begins, under the moment at which it saw it."""
    for step in told.steps:
        moment = season.truly(step.at)
        if step.at in told.late:
            latest = season.truly(told.late[step.at])
            ready = (life.ready for life in season.lives if life.ready is not None)
            moment = next((one for one in ready if one >= latest), moment)
        yield msgspec.structs.replace(step, at=moment)


def _set_unseen(season: Season, off: list[tuple[float, float]]) -> bool:
    """Whether the clock was set while nobody watched: for how long nobody did, nobody knows then,
    and a ladder goes on from the rung on which it stood."""
    sets = [
        season.began + hours * HOUR
        for event in season.script.events
        if event.do == "clock"
        for hours in (event.at, min(event.at + event.lasts, season.script.hours))
    ]
    return any(start < one < end for start, end in off for one in sets)


def _beyond(season: Season, told: Told) -> Callable[[str, str, float], bool]:
    """Whether a place is, for its delay, and stays beyond its tolerance, or its limit, truly, and
    its probe says so and is believed: of what nobody measures people hear just that.

    A tank or bed without a batch has no plan that it could be beyond, however warm it is; of one
    that was let run, or whose plan somebody drew anew, nobody knows here what it is; one that is
    out of service, as an earlier journal may have left it, is not judged.
    """
    heard: dict[str, list[float]] = {place: [] for place in PLANNED}
    for fact in told.facts:
        if isinstance(fact, Reading) and fact.probe in OF and not fact.late:
            heard[OF[fact.probe]].append(fact.received)
    served: dict[str, list[tuple[float, bool]]] = {}
    for fact in told.facts:
        if isinstance(fact, Logged) and isinstance(fact.entry, (e.OutOfService, e.InService)):
            back = isinstance(fact.entry, e.InService)
            served.setdefault(fact.subject, []).append((season.truly(fact.received), back))
    begun: dict[str, float] = {STORE: season.began}
    ended: dict[str, float] = {}
    for one in season.answers.pressed:
        if one.link is not None and one.link.act == "let-run":
            ended[one.link.subject] = 0.0
    for event in season.script.events:
        if event.do == "entry" and event.entry["entry"] in ("aim", "let-run"):
            ended[event.where] = 0.0
        elif event.do == "entry" and event.entry["entry"] == "batch-start":
            begun.setdefault(event.where, season.began + event.at * HOUR)
        elif event.do == "entry" and event.entry["entry"] == "batch-end":
            ended.setdefault(event.where, season.began + event.at * HOUR)

    unmeasured: dict[str, list[tuple[float, bool]]] = {}
    for step in told.steps:
        ends = step.step in ("raised", "returned", "normal")
        if ends and step.condition in ("unwatched", "displaced"):
            raised, place = step.step == "raised", OF.get(step.subject, step.subject)
            unmeasured.setdefault(place, []).append((season.truly(step.at), raised))

    def holds(place: str, condition: str, moment: float) -> bool:
        far, _, side = condition.rpartition("-")
        if place not in PLANNED or side not in ("warm", "cold") or (far and place == STORE):
            return False
        if not begun.get(place, 9e99) <= moment < ended.get(place, 9e99):
            return False
        if [back for at, back in served.get(place, ()) if at <= moment][-1:] == [False]:
            return False
        # Heard before the delay began, as it did, and ever since.
        spans = [moment - minutes * MINUTE for minutes in (76, 60, 44, 22, 0)]
        if any(bisect(heard[place], one) == bisect(heard[place], two)
               for one, two in pairwise(spans)):  # fmt: skip
            return False
        if [raised for at, raised in unmeasured.get(place, ()) if at <= moment][-1:] == [True]:
            return False
        sign = 1 if side == "warm" else -1
        beyond = OUTSIDE[place] * (2 if far else 1) + 0.1
        delay = 0.0 if far else AFTER[place] / MINUTE + 6
        around = [moment + one * MINUTE for one in (min(-delay, -40), -40, -20, 0, 20, 40)]
        warm = [season.warmth.at(place, (one - season.began) / HOUR) for one in around]
        return all(sign * (one - PLANNED[place]) > beyond for one in warm)

    return holds
