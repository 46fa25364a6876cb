"""`overcooling`: a valve that stays open, or a fast fall, while the product is below its plan.

On/off cooling undershoots a little by itself; so the product must be below by most of its tolerance
and still be falling. Figures are common practice.
"""

from __future__ import annotations

from itertools import pairwise
from typing import NamedTuple

from kuraban.core.detectors.base import Detector, Tell
from kuraban.core.house_view import HouseView
from kuraban.core.plan.subject_state import Batch
from kuraban.core.planned_curve import FAR_FUTURE
from kuraban.core.units import HOUR, MINUTE
from kuraban.core.views.explanation import Account, Because

LOOK = 2 * MINUTE
OPEN_FOR = 15 * MINUTE
DEEP_FOR = 10 * MINUTE
"""A stir may dip as deep, and comes back at once."""
SHARE_NEAR = 0.5
SHARE_OPEN = 0.8
SHARE_FAST = 0.9
FAST = 0.8
"""K an hour against the plan."""
STEADY = 0.14
"""K in each quarter of an hour."""
STILL = 0.06
"""K in the last ten minutes: what fell, and lies still again, was something poured in."""
MOST_AT_ONCE = 0.5
"""Share of the fall that one quarter of an hour may bring; a step brings nearly all."""
OVER = 10 * MINUTE


class Seen(NamedTuple):
    """K below the plan, K an hour of fall against it, and whether either makes it."""

    below: float
    fall: float
    by_valve: bool
    by_speed: bool


class Overcooling(Detector):
    __slots__ = ("deep_since", "fine_since", "open_since", "place", "valves")

    conditions = ("overcooling",)

    def __init__(self, view: HouseView, tell: Tell, subject: str) -> None:
        super().__init__(view, tell, subject)
        self.open_since: float | None = None
        self.deep_since: float | None = None
        self.fine_since: float | None = None
        self.settle()

    def settle(self) -> None:
        self.place = self.view.places[self.subject]
        self.valves = self.view.hanging(self.subject, "valve")

    def look(self, now: float) -> float:
        view = self.view
        batch = view.batch(self.subject, now)
        if batch is None or not view.in_service(self.subject):
            self.open_since = None
            self.clear(now)
            return FAR_FUTURE
        if not view.signalled(self.valves, now):
            self.open_since = None
        elif self.open_since is None:
            self.open_since = now
        known = view.product_of(self.place, now)
        if known is None:
            return now + LOOK
        planned = batch.plan.at(known[1])
        below = planned - known[0]
        standing = batch.plan.standing(now)
        tolerance = standing.stage.tolerance.below
        if below < SHARE_NEAR * tolerance and not view.stands(self.subject, "overcooling"):
            self.deep_since = None
            return now + (LOOK if below > 0 else 2 * LOOK)
        masked = view.masked(self.subject, now) is not None
        if masked or now < batch.settled_at(standing):
            return now + LOOK
        deep = self.open_since is not None and below > SHARE_OPEN * tolerance
        if not deep:
            self.deep_since = None
        elif self.deep_since is None:
            self.deep_since = now
        seen = self._seen(batch, below, now)
        self._say(seen.by_valve, seen.by_speed, below, tolerance, known[0], planned, now)
        return now + LOOK

    def _seen(self, batch: Batch, below: float, now: float) -> Seen:
        fall, stage = self._fall(batch.plan.slope(now), now), batch.plan.standing(now).stage
        by_valve = (
            self.deep_since is not None
            and self.open_since is not None
            and now - self.deep_since >= DEEP_FOR
            and now - self.open_since >= OPEN_FOR
            and fall > 0
        )
        fast = fall >= FAST and self._steadily(now, 3 if below > stage.limit.below else 4)
        shut = self.view.signalled(self.valves, now) is False
        deep = below > (1.0 if shut else SHARE_FAST) * stage.tolerance.below
        return Seen(below, fall, by_valve, deep and fast)

    def explain(self, now: float) -> tuple[Account, ...]:
        view = self.view
        batch, known = view.batch(self.subject, now), view.product_of(self.place, now)
        if batch is None or not view.in_service(self.subject):
            return ()
        if known is None:
            return (self.account("overcooling", lacks=(Because("no-value"),)),)
        standing, below = batch.plan.standing(now), batch.plan.at(known[1]) - known[0]
        quiet = max(view.masked(self.subject, now) or now, batch.settled_at(standing))
        why = self._why(batch, below, quiet, now)
        seen = () if self.open_since is None else (Because("valve-open", since=self.open_since),)
        over = Because("over-near", -below, -SHARE_NEAR * standing.stage.tolerance.below, "K")
        ends = (over, Because("over-shut")) if seen else (over,)
        return (self.account("overcooling", seen=seen, lacks=(why,), ends=ends),)

    def _why(self, batch: Batch, below: float, quiet: float, now: float) -> Because | None:
        """What speaks against its being cooled too far."""
        tolerance = batch.plan.standing(now).stage.tolerance.below
        if below < SHARE_NEAR * tolerance:
            return Because("not-deep", -below, -SHARE_NEAR * tolerance, "K")
        if quiet > now:
            return Because("held", until=quiet)
        seen = self._seen(batch, below, now)
        if seen.by_valve or seen.by_speed:
            return None
        if self.open_since is None:
            return Because("too-slow", -seen.fall, -FAST, "K/h")
        if self.deep_since is None:
            return Because("not-deep", -below, -SHARE_OPEN * tolerance, "K")
        due = max(self.deep_since + DEEP_FOR, self.open_since + OPEN_FOR)
        if due > now:
            return Because("runs-out", until=due, lasted=OPEN_FOR - (due - now), wanted=OPEN_FOR)
        return Because("not-falling", -seen.fall, unit="K/h")

    def _say(
        self, by_valve: bool, by_speed: bool, below: float, tolerance: float, value: float,
        planned: float, now: float,
    ) -> None:  # fmt: skip
        if by_valve or by_speed:
            self.fine_since = None
            evidence = ("valve_open",) if self.open_since is not None else ("falls_fast",)
            self.found("overcooling", True, now, value=value, planned=planned, worse=below,
                       evidence=evidence)  # fmt: skip
            return
        if not self.view.stands(self.subject, "overcooling"):
            return
        if self.open_since is None or below < 0.5 * tolerance:
            self.fine_since = now if self.fine_since is None else self.fine_since
            if now - self.fine_since >= OVER:
                self.found("overcooling", False, now, value=value, planned=planned)
        else:
            self.fine_since = None

    def _steadily(self, now: float, quarters: int) -> bool:
        """It falls, and fell in each of the last quarters of an hour: a ramp, no step or dip."""
        times, values = self.place.series.since(now - 70 * MINUTE, now)
        levels = []
        for minutes in (10, *range(0, 15 * quarters + 1, 15)):
            start = now - (minutes + 5) * MINUTE
            end = start + 5 * MINUTE
            part = [v for t, v in zip(times, values, strict=True) if start < t <= end]
            if not part:
                return False
            levels.append(sorted(part)[len(part) // 2])
        lately, *levels = levels
        if lately - levels[0] < STILL:
            return False
        falls = [earlier - later for later, earlier in pairwise(levels)]
        return min(falls) >= STEADY and max(falls) <= MOST_AT_ONCE * sum(falls)

    def _fall(self, plan_slope: float, now: float) -> float:
        """K an hour by which the product falls faster than its plan, over the last half hour."""
        times, values = self.place.series.since(now - 30 * MINUTE, now)
        if len(times) < 6 or times[-1] - times[0] < 15 * MINUTE:
            return 0.0
        third = len(times) // 3
        early = sorted(values[:third])[third // 2]
        late = sorted(values[-third:])[third // 2]
        apart = (times[-1] - times[0]) * 2 / 3 / HOUR
        return (early - late) / apart + plan_slope
