"""`addition-unlogged`: the product fell as only an addition makes it, and nobody logged one.

It is recognised while the course has a filling stage to come, one that begins at least 1.5 K below
the end of the present one: at least 1.5 K within 90 min, to a
level near where that stage begins, and not at the temperature of the air, unless that stage is due
and begins about there; and by so much more than the course itself falls. Then the product is held
for three hours and the crew is asked; after that it is judged as it stands.
"""

from __future__ import annotations

from typing import NamedTuple

from kuraban.core.detectors.base import Detector, Disturbed, Tell, at_the_end
from kuraban.core.entries import INGREDIENTS
from kuraban.core.house_view import HouseView
from kuraban.core.plan.filling import AT_AIR_NEAR, NEAR, due, landing, logged_lately
from kuraban.core.plan.subject_state import STIR_SEEN, Batch
from kuraban.core.planned_curve import FAR_FUTURE
from kuraban.core.units import HOUR, MINUTE
from kuraban.core.views.explanation import Account, Because

LOOK = 5 * MINUTE
SPAN = 90 * MINUTE
SLOW = 35 * MINUTE
"""The last three readings of a probe that speaks every ten minutes."""
FALL = 1.5
HELD = 3 * HOUR
AWAY_FROM_AIR = 1.0


class Fall(NamedTuple):
    """By how much the product fell, to where, and from where."""

    by: float
    level: float
    before: float


class AdditionUnlogged(Detector):
    __slots__ = ("done_since", "since")

    conditions = ("addition-unlogged",)

    def __init__(self, view: HouseView, tell: Tell, subject: str) -> None:
        super().__init__(view, tell, subject)
        self.since: float | None = None
        self.done_since = 0.0

    def look(self, now: float) -> float:
        view = self.view
        batch = view.batch(self.subject, now)
        if batch is None or not view.in_service(self.subject):
            self.since = None
            self.clear(now)
            return FAR_FUTURE
        standing = batch.plan.standing(now)
        logged = logged_lately(view.entry_log.of(self.subject), now, 2 * SPAN)
        if self.since is not None:
            if view.masked(self.subject, now) is None:
                self._mask(self.since)
            if logged or standing.span.start >= self.since - SPAN or now - self.since >= HELD:
                self.since, self.done_since = None, now
                self.clear(now)
            return now + LOOK
        following = standing.span.stage + 1
        if following >= len(batch.course.stages):
            return at_the_end(standing.span.end, now, 2 * HOUR)
        fallen = self._seen(batch, now)
        if isinstance(fallen, Because):
            return now + LOOK
        self.since = now
        self._mask(now)
        stage = batch.course.stages[following].id
        other = self._logged_elsewhere(now)
        swapped = () if other is None else (f"swapped={view.house.name_of(other)}",)
        evidence = (f"step={fallen.by:.1f}", f"stage={stage}", *swapped)
        self.found("addition-unlogged", True, now, value=fallen.level, planned=fallen.before,
                   since=now, evidence=evidence)  # fmt: skip
        return now + LOOK

    def _seen(self, batch: Batch, now: float) -> Fall | Because:
        """The fall that only an addition makes, or what speaks against there being one."""
        known, lands = self.view.entry_log.of(self.subject), landing(batch, now)
        if logged_lately(known, now, 2 * SPAN):
            what, at = known.last_work or ("", None)
            return Because("is-logged", since=at, word=what)
        ends_at = batch.plan.standing(now).stage.points[-1][1]
        if lands is None or ends_at - lands < FALL:
            return Because("no-filling")
        masks = [m for m in known.masks if m.start <= now < m.end and m.why != STIR_SEEN]
        if masks:
            return Because("held", until=max(mask.end for mask in masks))
        fallen = self._fallen(now)
        if fallen is None:
            return Because("not-known")
        least = FALL + max(batch.plan.at(now - SPAN) - batch.plan.at(now), 0.0)
        if fallen.by < least:
            return Because("not-fallen", fallen.by, least, "K")
        if abs(fallen.level - lands) > NEAR:
            return Because("lands-elsewhere", fallen.level, lands)
        awaited = due(batch, now) and abs(fallen.level - lands) <= AT_AIR_NEAR
        if self._reads_air(fallen.level, now) and not awaited:
            return Because("is-air", fallen.level)
        return fallen

    def explain(self, now: float) -> tuple[Account, ...]:
        batch = self.view.batch(self.subject, now)
        if batch is None or not self.view.in_service(self.subject):
            return ()
        last = batch.plan.standing(now).span.stage + 1 >= len(batch.course.stages)
        ends = () if self.since is None else (Because("over-logged", until=self.since + HELD),)
        seen = None
        if self.since is None:
            seen = Because("no-filling") if last else self._seen(batch, now)
        lacks = seen if isinstance(seen, Because) else None
        return (self.account("addition-unlogged", lacks=(lacks,), ends=ends),)

    def _mask(self, seen: float) -> None:
        """Hold the product as if the addition had been logged when it was seen."""
        self.tell(Disturbed(self.subject, "addition-seen", seen - SPAN, seen + HELD))

    def _logged_elsewhere(self, now: float) -> str | None:
        """Another tank in which an addition or a stage was logged and no step is seen."""
        for name, place in self.view.places.items():
            known = self.view.entry_log.of(name)
            if name == self.subject or known.last_work is None or known.batch is None:
                continue
            what, at = known.last_work
            added = what == "stage" or what in INGREDIENTS
            if not added or not now - HELD <= at <= now:
                continue
            times, values = place.series.since(at - HOUR, now)
            if len(times) > 10 and max(values) - min(values) < FALL / 2:
                return name
        return None

    def _fallen(self, now: float) -> Fall | None:
        """That of the last 90 min, on medians against outliers."""
        series = self.view.places[self.subject].series
        times, values = series.since(max(now - SPAN - 30 * MINUTE, self.done_since), now)
        early = [v for t, v in zip(times, values, strict=True) if t <= now - SPAN]
        late = [v for t, v in zip(times, values, strict=True) if t > now - 10 * MINUTE]
        if len(late) < 3 <= len(values) and times[-3] > now - SLOW:
            late = list(values[-3:])
        if len(late) < 3 or len(early) < 3:
            early = list(values[: max(len(values) // 4, 3)])
        if len(late) < 3 or len(early) < 3:
            return None
        before, level = sorted(early)[len(early) // 2], sorted(late)[len(late) // 2]
        return Fall(before - level, level, before)

    def _reads_air(self, level: float, now: float) -> bool:
        air = self.view.air_of(self.view.house.place[self.subject], now)
        return air is not None and abs(level - air) < AWAY_FROM_AIR
