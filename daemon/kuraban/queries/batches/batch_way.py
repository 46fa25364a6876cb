"""The way of a batch: which starters and koji lots went into it, where it stood, where it went.

Additions that name the lot, merges and pressings join one batch to another; walked both ways from
one of them that is everything that has to do with it. What stands in a tank after a pressing has
the batch's own name or another, as its batch-start says.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from kuraban.core import entries as e
from kuraban.core.facts import Logged
from kuraban.core.site import House
from kuraban.core.units import DAY
from kuraban.core.views.batch_way import Heating, Joint, Stood, Way
from kuraban.queries.batches.batch_history import BatchHistory, Stay
from kuraban.store.history import History
from kuraban.trade.warmth import held, warmth

FILLED_WITHIN = 2 * DAY
"""After a pressing, the batch that begins in its tank is what was pressed."""
HOT = 55.0
"""°C from which on a stage is a heating."""


def way_of(history: History, known: BatchHistory, house: House, batch: str, now: float) -> Way:
    """`known` has caught up with `history`; nothing is known of a batch that never was."""
    stays = [stay for stays in known.stays.values() for stay in stays]
    joints = sorted(set(_joints(_counting(history), stays)))
    names = _upstream(joints, batch) | _downstream(joints, batch)
    of_it = sorted((one for one in stays if one.batch.name in names), key=lambda one: one.start)
    return Way(
        tuple(one for one in joints if one.source in names and one.into in names),
        tuple(stood_of(history, house, one, now) for one in of_it),
    )


def _counting(history: History) -> list[Logged]:
    """Additions, merges and pressings as they count."""
    latest = {told.logged.key: told for _, told in history.outcomes_after(0)}
    found = [told.as_it_counts for told in latest.values() if told.counts]
    return [one for one in found if isinstance(one.entry, (e.Addition, e.Merge, e.Press))]


def _joints(entries: list[Logged], stays: Sequence[Stay]) -> Iterator[Joint]:
    for logged in entries:
        entry, at = logged.entry, logged.at
        here = _in(stays, logged.subject, at)
        match entry:
            case e.Addition(batch=str() as lot) if here is not None:
                yield Joint(at, lot, here, "added", logged.subject)
            case e.Merge(into=goal):
                there = _in(stays, goal, at)
                if here is not None and there is not None and here != there:
                    yield Joint(at, here, there, "merged", goal)
            case e.Press(to=goals) if here is not None:
                for goal in goals:
                    yield Joint(at, here, _pressed(stays, goal, at) or here, "pressed", goal)


def _in(stays: Sequence[Stay], place: str, at: float) -> str | None:
    """The batch in a place just before a moment, or that began at it."""
    inside = [one for one in stays if one.place == place and one.start <= at]
    last = max(inside, key=lambda one: one.start, default=None)
    return None if last is None or (last.end is not None and last.end < at) else last.batch.name


def _pressed(stays: Sequence[Stay], place: str, at: float) -> str | None:
    begun = [one for one in stays if one.place == place and at <= one.start <= at + FILLED_WITHIN]
    first = min(begun, key=lambda one: one.start, default=None)
    return _in(stays, place, at) if first is None else first.batch.name


def _upstream(joints: Sequence[Joint], batch: str) -> set[str]:
    found = {batch}
    while more := {one.source for one in joints if one.into in found} - found:
        found |= more
    return found


def _downstream(joints: Sequence[Joint], batch: str) -> set[str]:
    found = {batch}
    while more := {one.into for one in joints if one.source in found} - found:
        found |= more
    return found


def stood_of(history: History, house: House, stay: Stay, now: float) -> Stood:
    """A stay, of pressed sake with its warmth and its heatings."""
    end, name = stay.ended(now), stay.batch.name
    plain = Stood(name, stay.place, stay.start, end)
    if house.place[stay.place].kind != "tank" or stay.batch.course.day_one is not None:
        return plain
    read = _read(history, house, stay.place, stay.start, now if end is None else end)
    if len(read) < 2:
        return plain
    times, celsius = [at for at, _ in read], [value for _, value in read]
    return plain._replace(warmth=warmth(times, celsius), heatings=tuple(_heatings(stay, read)))


def _read(
    history: History, house: House, place: str, start: float, end: float
) -> list[tuple[float, float]]:
    """What the place's first product probe told, its offset added."""
    for probe in house.probes_of(place, "product"):
        read = [(at, value + probe.offset) for at, value in history.readings(probe.id, start, end)]
        if read:
            return read
    return []


def _heatings(stay: Stay, read: list[tuple[float, float]]) -> Iterator[Heating]:
    for span in stay.batch.plan.spans:
        stage = stay.batch.course.stages[span.stage]
        highest = max(celsius for _, celsius in stage.points)
        during = [one for one in read if span.start <= one[0] < span.end]
        if highest >= HOT and len(during) > 1 and stage.points[0][1] < HOT:
            least = highest - stage.tolerance.below
            reached = held([at for at, _ in during], [value for _, value in during], least)
            yield Heating(span.start, least, reached)
