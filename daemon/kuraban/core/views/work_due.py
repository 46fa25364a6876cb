"""The work due in a house: additions and works on the koji, pressing, stir rounds, checks by hand,
coolers to look at, what somebody promised, and duty; what of it is late, and who did it.

A stage is due when its course expects it, as the plan stands; a check by hand where no probe tells
of a product and the last check has run out. Times are the watch's own, Unix seconds.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import timedelta
from itertools import pairwise
from typing import Literal

from kuraban.core import entries as e
from kuraban.core import rota
from kuraban.core.alarm_conditions import CONDITIONS, MAINTENANCE
from kuraban.core.facts import Logged
from kuraban.core.planned_curve import Stage
from kuraban.core.site import House, check_counts
from kuraban.core.units import DAY, HOUR, at_clock, brewery_day
from kuraban.core.views.snapshot import BatchNow, PlaceNow, Ring, Snapshot, Text

AHEAD = 14
"""Brewery days that are looked at, this one included."""
LATE_AFTER = HOUR
"""What is not done so long after its time is late (common practice)."""

Kind = Literal["stage", "press", "round", "check", "cooler", "promise", "duty"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Work:
    """One work. `key` stays as long as it is the same work, though its time moves.

    `subject` is a place, cooler or probe, the role of a duty, "" for a round; `person` whose alone
    it is; `left` how many tanks of a round are not stirred, and of how many; `caution` a `caution.`
    key of the catalogue, "" where nobody can be hurt by it.
    """

    key: str
    kind: Kind
    subject: str
    at: float
    until: float | None = None
    stage: Text | None = None
    condition: str | None = None
    person: str | None = None
    left: tuple[int, int] | None = None
    done: float | None = None
    by: tuple[str, ...] = ()
    caution: str = ""

    def late(self, now: float) -> bool:
        return self.done is None and self.until is None and now - self.at > LATE_AFTER


def works_due(snapshot: Snapshot, house: House, entries: Sequence[Logged]) -> tuple[Work, ...]:
    """Everything due in the days ahead, and what of today's is done, by its time.

    `entries` are those that count since the brewery day before this one turned; `house` has the
    swaps that are known.
    """
    found = [*_rounds(snapshot, house, entries), *_alarms(snapshot), *_duty(snapshot, house)]
    for place in snapshot.places:
        if place.batch is not None:
            found += _stages(snapshot, house, place, place.batch, entries)
            found += _check(snapshot, place, entries)
    until = snapshot.day_turned + AHEAD * DAY
    return tuple(sorted((one for one in found if one.at < until), key=lambda one: one.at))


def concerns(work: Work, person: str, house: House) -> bool:
    """Whether a work is one person's: their own duty and promises, coolers for maintenance, and
    the brewing for everybody whose only role is not that."""
    if work.person is not None:
        known = house.person_called(work.person)
        return known is not None and known.id == person
    roles = {duty.role for duty in house.rota if duty.person == person}
    roles |= {shift.role for shift in house.shifts if shift.person == person}
    return MAINTENANCE in roles if work.kind == "cooler" else roles != {MAINTENANCE}


def _stages(
    snapshot: Snapshot, house: House, place: PlaceNow, batch: BatchNow, entries: Sequence[Logged]
) -> Iterator[Work]:
    """The stages that the crew begins, those of today that it has begun, and the pressing."""

    def key(stage: str) -> str:
        return f"{place.id}/{batch.since:.0f}/{stage}"

    stages = _stages_of(house, batch)
    for one in batch.ahead:
        if one.due is not None:
            hot = one.id in stages and stages[one.id].scalds
            yield Work(
                key=key(one.id), kind="stage", subject=place.id, at=one.due, stage=one.title,
                caution="hot" if hot else _caution(place),
            )  # fmt: skip
    for logged in entries:
        mark = logged.entry
        if logged.subject != place.id or not isinstance(mark, e.StageMark):
            continue
        if logged.at >= max(snapshot.day_turned, batch.since):
            known = stages.get(mark.stage)
            title = {"en": mark.stage} if known is None else known.title or {"en": mark.stage}
            yield Work(
                key=key(mark.stage), kind="stage", subject=place.id, at=logged.at, stage=title,
                done=logged.at, by=_makers([logged]),
            )  # fmt: skip
    if place.kind == "tank" and place.is_mash and batch.ends is not None:
        yield Work(key=key("press"), kind="press", subject=place.id, at=batch.ends, caution="press")


def _stages_of(house: House, batch: BatchNow) -> dict[str, Stage]:
    course = house.course.get(batch.course)
    return {} if course is None else {stage.id: stage for stage in course.stages}


def cautions(place: PlaceNow, house: House) -> tuple[str, ...]:
    """What hurts people at the works that can be logged for a place now, `caution.` keys; that of
    the mash itself stands on its page anyway."""
    batch, found = place.batch, []
    if batch is not None:
        stages = _stages_of(house, batch)
        near = (batch.stage, *(one.id for one in batch.ahead[:2]))
        found += ["hot"] if any(one in stages and stages[one].scalds for one in near) else []
        found += ["spirit"] if place.last_work and place.last_work[0] == "alcohol" else []
    if place.kind == "tank" and not place.is_mash:
        found.append("tank")
    return (*found, "muro") if place.kind == "koji-bed" else tuple(found)


def _caution(place: PlaceNow) -> str:
    if place.kind == "koji-bed":
        return "muro"
    return "stir" if place.is_mash else "tank"


def _rounds(snapshot: Snapshot, house: House, entries: Sequence[Logged]) -> Iterator[Work]:
    """Every stir round from this morning on, with the tanks that were stirred in it."""
    mashes = [place for place in snapshot.places if place.is_mash]
    for begins, ends in pairwise(_begins(snapshot, house)):
        tanks = {one.id for one in mashes if one.batch is not None and one.batch.since <= begins}
        if not tanks:
            continue
        stirs = [
            one
            for one in entries
            if isinstance(one.entry, e.Stir) and one.subject in tanks and begins <= one.at < ends
        ]
        left = len(tanks) - len({one.subject for one in stirs})
        yield Work(
            key=f"round/{begins:.0f}", kind="round", subject="", at=begins,
            left=(left, len(tanks)), done=None if left else max(one.at for one in stirs),
            by=_makers(stirs), caution="stir",
        )  # fmt: skip


def _begins(snapshot: Snapshot, house: House) -> list[float]:
    site, zone = house.site, house.zone
    first = brewery_day(snapshot.at, site.day_starts, zone)
    clocks = site.rounds or (site.day_starts, site.evening)
    days = (first + timedelta(days=number) for number in range(AHEAD + 1))
    every = sorted(at_clock(day, clock, zone) for day in days for clock in clocks)
    return [at for at in every if at >= snapshot.day_turned]


def _check(snapshot: Snapshot, place: PlaceNow, entries: Sequence[Logged]) -> Iterator[Work]:
    """A product of which no probe tells, from when the last check by hand has run out."""
    if any(one.value is not None and not one.out and not one.trouble for one in place.probes):
        return
    made = [one for one in entries if one.subject == place.id and isinstance(one.entry, e.Check)]
    since = [one.since for one in snapshot.rings_of(place.id) if one.since is not None]
    at = min(since, default=snapshot.day_turned)
    if made:
        at = made[-1].at + check_counts(place.kind)
    yield Work(
        key=f"{place.id}/check/{at:.0f}", kind="check", subject=place.id, at=at,
        caution=_caution(place),
    )  # fmt: skip


def _alarms(snapshot: Snapshot) -> Iterator[Work]:
    """What somebody has in hand, by when they promised; and coolers that nobody has."""
    for ring in snapshot.rings:
        cooler = snapshot.cooler(ring.subject)
        promised = ring.state == "acknowledged"
        if promised or (cooler is not None and ring.open):
            begun = ring.raised or ring.since or snapshot.at
            caution = "" if cooler is None else "heater" if cooler.heats else "electric"
            yield Work(
                key=f"{ring.id}/{begun:.0f}", kind="promise" if promised else "cooler",
                subject=ring.subject, at=(ring.until if promised else None) or begun,
                condition=ring.condition, person=ring.by if promised else None,
                caution=caution or _over_mash(ring),
            )  # fmt: skip


def _over_mash(ring: Ring) -> str:
    return "stir" if CONDITIONS[ring.condition].side and ring.place is not None else ""


def _duty(snapshot: Snapshot, house: House) -> Iterator[Work]:
    today = brewery_day(snapshot.at, house.site.day_starts, house.zone)
    for turn in rota.turns(house, today - timedelta(days=1), AHEAD + 1):
        if turn.end > snapshot.day_turned:
            yield Work(
                key=f"duty/{turn.role}/{turn.person}/{turn.start:.0f}", kind="duty",
                subject=turn.role, person=turn.person, at=turn.start, until=turn.end,
            )  # fmt: skip


def _makers(entries: Sequence[Logged]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(one.by for one in entries if one.by is not None))
