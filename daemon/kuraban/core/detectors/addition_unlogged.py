"""`addition-unlogged`: the product fell as only an addition makes it, and nobody logged one.

It is recognised while the course has a filling stage to come: at least 1.5 K within 90 min, to a
level near where that stage begins, and not at the temperature of the air. Then the product is held
for three hours and the crew is asked; after that it is judged as it stands.
"""

from __future__ import annotations

from kuraban.core.course import FAR_FUTURE
from kuraban.core.entries import INGREDIENTS
from kuraban.core.house_view import Detector, HouseView
from kuraban.core.units import HOUR, MINUTE

LOOK = 5 * MINUTE
SPAN = 90 * MINUTE
FALL = 1.5
NEAR = 3.0
HELD = 3 * HOUR
AWAY_FROM_AIR = 1.0


class AdditionUnlogged(Detector):
    __slots__ = ("done_since", "since")

    conditions = ("addition-unlogged",)

    def __init__(self, view: HouseView, subject: str) -> None:
        super().__init__(view, subject)
        self.since: float | None = None
        self.done_since = 0.0

    def look(self, now: float) -> float:
        view = self.view
        batch = view.batch(self.subject, now)
        if batch is None or not view.in_service(self.subject):
            self.since = None
            self.clear(now)
            return FAR_FUTURE
        subject_state = view.entry_log.subject_state(self.subject)
        standing = batch.plan.standing(now)
        logged = (
            subject_state.last_work is not None and subject_state.last_work[1] >= now - 2 * SPAN
        )
        if self.since is not None:
            if view.masked(self.subject, now) is None:
                subject_state.mask("addition-seen", self.since - SPAN, self.since + HELD)
            if logged or standing.span.start >= self.since - SPAN or now - self.since >= HELD:
                self.since, self.done_since = None, now
                self.clear(now)
            return now + LOOK
        following = standing.span.stage + 1
        if following >= len(batch.course.stages):
            return min(standing.span.end, now + 2 * HOUR)
        if logged or standing.stage.ends != "crew":
            return now + LOOK
        if view.masked(self.subject, now) is not None:
            return now + LOOK
        landing = batch.course.stages[following].points[0][1]
        fallen = self._fallen(now)
        if fallen is None or abs(fallen[1] - landing) > NEAR or fallen[0] < FALL:
            return now + LOOK
        if self._reads_air(fallen[1], now) or fallen[1] > fallen[2] - FALL:
            return now + LOOK
        self.since = now
        subject_state.mask("addition-seen", now - SPAN, now + HELD)
        stage = batch.course.stages[following].id
        other = self._logged_elsewhere(now)
        swapped = () if other is None else (f"swapped={view.house.name_of(other)}",)
        self.found("addition-unlogged", True, now, value=fallen[1], planned=fallen[2], since=now,
                   evidence=(f"step={fallen[0]:.1f}", f"stage={stage}", *swapped))  # fmt: skip
        return now + LOOK

    def _logged_elsewhere(self, now: float) -> str | None:
        """Another tank in which an addition or a stage was logged and no step is seen."""
        for place, subject_state in self.view.entry_log.subject_states.items():
            if (
                place == self.subject
                or subject_state.last_work is None
                or subject_state.batch is None
            ):
                continue
            what, at = subject_state.last_work
            added = what == "stage" or what in INGREDIENTS
            if not added or not now - HELD <= at <= now:
                continue
            times, values = self.view.places[place].series.since(at - HOUR, now)
            if len(times) > 10 and max(values) - min(values) < FALL / 2:
                return place
        return None

    def _fallen(self, now: float) -> tuple[float, float, float] | None:
        """(fall, level now, level before) of the last 90 min, on medians against outliers."""
        series = self.view.places[self.subject].series
        times, values = series.since(max(now - SPAN - 30 * MINUTE, self.done_since), now)
        early = [v for t, v in zip(times, values, strict=True) if t <= now - SPAN]
        late = [v for t, v in zip(times, values, strict=True) if t > now - 10 * MINUTE]
        if len(late) < 3 or len(early) < 3:
            early = list(values[: max(len(values) // 4, 3)])
        if len(late) < 3 or len(early) < 3:
            return None
        before, level = sorted(early)[len(early) // 2], sorted(late)[len(late) // 2]
        return before - level, level, before

    def _reads_air(self, level: float, now: float) -> bool:
        air = self.view.air_of(self.view.house.place[self.subject], now)
        return air is not None and abs(level - air) < AWAY_FROM_AIR
