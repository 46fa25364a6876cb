"""`warm`, `cold`, `far-warm`, `far-cold`: the product against the plan in force.

Beyond the tolerance for the stage's delay it is warm or cold; beyond the limit for the limit's
delay, or beyond what the course never allows, it is far. A mask, and the time in which a stage
settles, hold all but `never`; the time outside runs on beneath. While nothing good measures the
product, the alarms keep their last state. Nothing is told on a value that is older than the probe's
own rhythm: where a mask ends or a delay is reached meanwhile, the next value decides.
"""

from __future__ import annotations

import math
from array import array
from typing import NamedTuple

from kuraban.core.detectors.base import Detector, Rule, Tell
from kuraban.core.detectors.time_outside import ABOUT, TimeOutside
from kuraban.core.forecast.drift import undisturbed_since
from kuraban.core.forecast.threshold_crossing import passed_at
from kuraban.core.house_view import HouseView
from kuraban.core.plan.subject_state import STIRS, Batch, LetRun
from kuraban.core.planned_curve import FAR_FUTURE, Stage
from kuraban.core.probes.probe_view import PlaceView
from kuraban.core.rota import head_start
from kuraban.core.units import HOUR, MINUTE
from kuraban.core.views.explanation import Account, Because
from kuraban.trade.robust import median

LONGEST_OFF = 15 * MINUTE
RHYTHMS = 2.2
"""A value counts for so many of its probe's intervals."""
EVENS_OUT = 2.5 * HOUR
"""So long after a stir its layers may still be evening out."""
BEFORE_STIR = 10 * MINUTE
LOOK_AGAIN = 5 * MINUTE
LONGEST_DECAY = 30 * MINUTE
"""Time constant with which the layers of a tank even out, at most (common practice)."""


def deadband(tolerance: float) -> float:
    """How far inside the tolerance a value must come to have returned, K (common practice)."""
    return max(0.1, 0.2 * tolerance)


def off_delay(delay: float) -> float:
    return min(delay / 4, LONGEST_OFF)


class Side:
    """One side of the plan: its names, its sign, its clocks."""

    __slots__ = ("beyond", "far", "far_name", "limit", "name", "near", "sign", "tolerance")

    def __init__(self, name: str, sign: float) -> None:
        self.name, self.far_name, self.sign = name, f"far-{name}", sign
        self.near, self.far = TimeOutside(), TimeOutside()
        self.beyond = False
        """Past what the course never allows."""
        self.tolerance = self.limit = FAR_FUTURE
        """K from the plan, as judged last."""

    @property
    def rests(self) -> bool:
        return self.near.rests and self.far.rests and not self.beyond

    def reset(self) -> None:
        self.near.reset()
        self.far.reset()
        self.beyond = False


class Bounds(NamedTuple):
    """One side at one moment: how far the product is beyond its plan, or beyond where it was let
    run, K the wrong way up, and what is allowed for how long."""

    beyond: float
    tolerance: float
    delay: float
    limit: float


class ProductBand(Detector):
    __slots__ = (
        "calm", "let_run", "place", "revised", "settled", "sides", "stage", "version",
    )  # fmt: skip

    conditions = ("warm", "cold", "far-warm", "far-cold")

    def __init__(self, view: HouseView, tell: Tell, subject: str) -> None:
        super().__init__(view, tell, subject)
        self.sides = (Side("warm", 1.0), Side("cold", -1.0))
        self.calm = array("d")
        """While the books do not change, and until the first of these, a value changes nothing that
        is well inside. The others: the start of a straight piece of the plan, its degrees there and
        degrees a second; from where to where about it, and between which degrees at all, is well
        inside. One array, since this is read at every reading. Empty while a clock runs."""
        self.version = -1
        self.stage: Stage | None = None
        self.settled = 0.0
        self.let_run: LetRun | None = None
        self.place: PlaceView = view.places[subject]
        self.revised = self.place.revised
        """The state of the record when it was looked back on last."""

    def settle(self) -> None:
        place = self.view.places[self.subject]
        if place is not self.place:
            self.revised = place.revised
        self.place = place

    def listens(self) -> tuple[str, ...]:
        return tuple(p.id for p in self.view.house.probes_of(self.subject, "product"))

    def look(self, now: float) -> float:
        view, place = self.view, self.place
        value, at = place.value, place.centre
        if value is not None and at is not None:
            known: tuple[float, float] | None = (value, at)
            if self.calm and self._well_inside(value, at if at < now else now, now):
                return FAR_FUTURE
        else:
            known = view.checked(place.place, now)
        batch = view.batch(self.subject, now)
        if batch is None or not view.in_service(self.subject):
            self._rest(now)
            return FAR_FUTURE
        if known is None:
            return FAR_FUTURE
        value, at = known
        at = min(at, now)
        stage = self._enter(batch, now)
        planned = batch.plan.at(at)
        run = self._running(now)
        if run is not self.let_run:
            self._judge_anew(run, now)
        quiet = self._quiet_until(now)
        again = FAR_FUTURE if run is None else run.until
        for side in self.sides:
            again = min(again, self._judge(side, stage, value, planned, at, now, quiet, run, batch))
        self.revised = place.revised
        self._calm(run, stage, batch, at)
        return again

    def _calm(self, run: LetRun | None, stage: Stage, batch: Batch, at: float) -> None:
        """Whether all clocks rest, so that values well inside need no further look."""
        del self.calm[:]
        if run is None and all(side.rests for side in self.sides):
            self.version = self.view.entry_log.version
            until, celsius, slope = batch.plan.line(at)
            sides = stage.tolerance
            least, most = deadband(sides.below) - sides.below, sides.above - deadband(sides.above)
            self.calm.extend((until, at, celsius, slope, least, most, *batch.course.never))

    def _well_inside(self, value: float, at: float, now: float) -> bool:
        if not self.calm or self.version != self.view.entry_log.version:
            return False
        until, start, celsius, slope, least, most, lowest, highest = self.calm
        apart = value - celsius - slope * (at - start)
        return start <= at and now < until and least < apart < most and lowest < value < highest

    def _judge_anew(self, run: LetRun | None, now: float) -> None:
        """A let-run begins: what stands is over. It ends: what stands is judged by the plan."""
        self.let_run = run
        for side in self.sides:
            for clock, name in ((side.near, side.name), (side.far, side.far_name)):
                clock.reset()
                if run is None:
                    clock.holds = self.view.stands(self.subject, name)
                else:
                    self.found(name, False, now)

    def _rest(self, now: float) -> None:
        """No batch: what it said is over; what a band says is another's (`banded_place`)."""
        banded = self.view.house.place[self.subject].band is not None
        if self.stage is None and banded and self.view.in_service(self.subject):
            return
        self.stage = None
        for side in self.sides:
            side.reset()
        self.clear(now)

    def _enter(self, batch: Batch, now: float) -> Stage:
        """The stage now; in a new one the judging starts anew."""
        standing = batch.plan.standing(now)
        self.settled = batch.settled_at(standing)
        if standing.stage is not self.stage:
            if self.stage is not None:
                for side in self.sides:
                    side.reset()
                self.clear(now)
            self.stage = standing.stage
        return standing.stage

    def _quiet_until(self, now: float) -> float:
        """When masks and settling end; the past if nothing holds the judging."""
        masked = self.view.masked(self.subject, now)
        quiet = now if masked is None else masked
        if quiet < self.settled:
            quiet = self.settled
            again = self.view.masked(self.subject, quiet)
            quiet = quiet if again is None else again
        return quiet

    def _judge(
        self,
        side: Side,
        stage: Stage,
        value: float,
        planned: float,
        at: float,
        now: float,
        quiet: float,
        run: LetRun | None,
        batch: Batch,
    ) -> float:
        beyond, tolerance, delay, limit = self._bounds(side, stage, value, planned, at, run)
        band = deadband(tolerance)
        near, far = side.near, side.far
        side.tolerance, side.limit = (FAR_FUTURE, FAR_FUTURE) if run else (tolerance, limit)
        near.note(at, beyond > tolerance, beyond <= tolerance - band, delay)
        far.note(at, beyond > limit, beyond <= limit - band, stage.limit_delay)
        if self.revised != self.place.revised and near.out and run is None:
            since = self._outside_since(batch, side.sign, tolerance, at)
            near.credit(since, at, delay)
            if far.out:
                since = self._outside_since(batch, side.sign, limit, at)
                far.credit(since, at, stage.limit_delay)
        elif near.to_look_back(delay) and run is None:
            near.looked = True
            passed = self._passed_at(batch, side.sign, tolerance, at - near.spent, delay)
            if passed is not None:
                near.credit(passed, at, delay)
        if run is None:
            self._not_before_the_stir(side, batch, at)
        never = batch.course.never[1] if side.sign > 0 else batch.course.never[0]
        past_never = side.sign * (value - never)
        side.beyond = past_never > 0 or (side.beyond and past_never > -0.1)
        again = self._far(side, value, planned, beyond, now, quiet, stage)
        return min(again, self._near(side, value, planned, beyond, now, quiet, delay))

    def _bounds(
        self, side: Side, stage: Stage, value: float, planned: float, at: float, run: LetRun | None
    ) -> Bounds:
        beyond, warm = side.sign * (value - planned), side.sign > 0
        tolerance = stage.tolerance.above if warm else stage.tolerance.below
        limit = stage.limit.above if warm else stage.limit.below
        delay = stage.delay
        if self.view.house.away:
            early = head_start(self.view.entry_log.manned, "brewer", at)
            delay = max(min(delay, stage.limit_delay), delay - early)
        if run is None:
            return Bounds(beyond, tolerance, delay, limit)
        return Bounds(side.sign * (value - run.base), run.more, stage.limit_delay, FAR_FUTURE)

    def _running(self, now: float) -> LetRun | None:
        """The let-run that is under way."""
        run = self.view.entry_log.of(self.subject).let_run
        return run if run is not None and run.start <= now < run.until else None

    def _far(
        self, side: Side, value: float, planned: float, beyond: float, now: float, quiet: float,
        stage: Stage,
    ) -> float:  # fmt: skip
        clock = side.far
        if side.beyond:
            if not clock.holds:
                clock.holds = True
                self.found(side.far_name, True, now, value=value, planned=planned,
                           since=clock.since, worse=beyond, evidence=("never",))  # fmt: skip
            return FAR_FUTURE
        return self._clocked(
            side, side.far_name, clock, value, planned, beyond, now, quiet, stage.limit_delay
        )

    def _near(
        self, side: Side, value: float, planned: float, beyond: float, now: float, quiet: float,
        delay: float,
    ) -> float:  # fmt: skip
        return self._clocked(side, side.name, side.near, value, planned, beyond, now, quiet, delay)

    def _clocked(
        self,
        side: Side,
        name: str,
        clock: TimeOutside,
        value: float,
        planned: float,
        beyond: float,
        now: float,
        quiet: float,
        delay: float,
    ) -> float:
        if clock.holds:
            if quiet > now:
                return quiet
            off = off_delay(delay)
            if clock.returned(off):
                clock.fall_back()
                self.found(name, False, now, value=value, planned=planned)
            elif clock.inside_since is not None:
                return now + MINUTE
            else:
                self.found(name, True, now, value=value, planned=planned, since=clock.since,
                           worse=beyond)  # fmt: skip
            return FAR_FUTURE
        reached = clock.reaches(delay)
        if reached is None:
            return FAR_FUTURE
        due = max(reached, quiet)
        if due > now:
            return due
        if self._stale(now):
            return FAR_FUTURE
        if self._comes_back(side, clock, beyond, now):
            return now + LOOK_AGAIN
        clock.holds = True
        self.found(name, True, now, value=value, planned=planned, since=clock.since, worse=beyond)
        return FAR_FUTURE

    def _stirs(self, now: float) -> list[float]:
        """When it was stirred, logged or seen, of late enough for layers that still even out."""
        masks = self.view.entry_log.of(self.subject).masks
        return [m.start for m in masks if m.why in STIRS and 0 <= now - m.start < EVENS_OUT]

    def _not_before_the_stir(self, side: Side, batch: Batch, now: float) -> None:
        """An exit that a stir made began with it, if the reading lay inside before."""
        clocks = [clock for clock in (side.near, side.far) if clock.out and not clock.holds]
        for stirred in self._stirs(now) if clocks else ():
            for clock in clocks:
                if clock.since is None or clock.since >= stirred:
                    continue
                apart = self._apart(batch, side, stirred - BEFORE_STIR, stirred - 1.0)
                edge = side.limit if clock is side.far else side.tolerance
                if apart and median(apart) <= edge:
                    clock.since, clock.spent = stirred, min(clock.spent, now - stirred)

    def _comes_back(self, side: Side, clock: TimeOutside, beyond: float, now: float) -> bool:
        """Whether it left with a stir, and no further than what that may have left by now."""
        batch, since = self.view.batch(self.subject, now), clock.since
        edge, left = side.limit if clock is side.far else side.tolerance, 0.0
        if batch is None or since is None or edge == FAR_FUTURE:
            return False
        for stirred in self._stirs(now):
            before = self._apart(batch, side, stirred - BEFORE_STIR, stirred - 1.0)
            after = self._apart(batch, side, stirred, stirred + BEFORE_STIR)
            if since >= stirred - BEFORE_STIR and before and after:
                step = max(after) - median(before)
                left = max(left, step * math.exp(-(now - stirred) / LONGEST_DECAY))
        return left > 0.0 and beyond - left <= edge

    def _apart(self, batch: Batch, side: Side, start: float, end: float) -> list[float]:
        """K from the plan towards a side."""
        times, values = self.place.series.since(start, end)
        return [
            side.sign * (value - batch.plan.at(at))
            for at, value in zip(times, values, strict=True)
        ]  # fmt: skip

    def _stale(self, now: float) -> bool:
        """Whether the next value is awaited; a check by hand stands for as long as it counts."""
        known = self.place
        if known.value is None or known.at is None:
            return False
        every = max(probe.probe.every for probe in known.products)
        return now - known.at > RHYTHMS * every

    # Why it rings or does not.

    def explain(self, now: float) -> tuple[Account, ...]:
        view, place = self.view, self.place
        batch, known = view.batch(self.subject, now), view.product_of(place, now)
        if batch is None or not view.in_service(self.subject):
            return ()
        if known is None:
            last = (Because("no-value", since=place.last_good),)
            return tuple(self.account(name, lacks=last) for name in self.conditions)
        at = min(known[1], now)
        found = [one for side in self.sides for one in self._told(side, batch, known[0], at, now)]
        return tuple(sorted(found, key=lambda one: self.conditions.index(one.condition)))

    def _told(
        self, side: Side, batch: Batch, value: float, at: float, now: float
    ) -> tuple[Account, Account]:
        """The two conditions of one side."""
        stage, planned, run = batch.plan.standing(now).stage, batch.plan.at(at), self._running(now)
        bounds = self._bounds(side, stage, value, planned, at, run)
        base = planned if run is None else run.base
        upward, band = side.sign > 0, deadband(bounds.tolerance)

        def told(name: str, clock: TimeOutside, beyond: float, delay: float) -> Account:
            edge, back = base + side.sign * beyond, base + side.sign * (beyond - band)
            rule = Rule(upward, edge, back, delay, off_delay(delay))
            account = self.by_clock(name, clock, rule, value, now, self._quiet_until(now))
            awaits = not account.stands and not clock.lacks(delay, Because("next-value"), now)
            stale = (Because("stale", since=self.place.at),) if awaits and self._stale(now) else ()
            left = awaits and self._comes_back(side, clock, side.sign * (value - planned), now)
            settles = (Because("evens-out"),) if left else ()
            return account._replace(lacks=stale or settles or account.lacks)

        near = told(side.name, side.near, bounds.tolerance, bounds.delay)
        if side.beyond:
            never = batch.course.never[upward]
            beyond = Because("is-above" if upward else "is-below", value, never)
            over = Because("over-below" if upward else "over-above", value, never)
            seen = (beyond, Because("evidence", word="never"))
            return near, self.account(side.far_name, seen=seen, ends=(over,))
        if run is not None:
            allowed = Because("let-run", run.more, run.base, until=run.until)
            return near, self.account(side.far_name, lacks=(allowed,))
        return near, told(side.far_name, side.far, bounds.limit, stage.limit_delay)

    def _passed_at(
        self, batch: Batch, sign: float, tolerance: float, since: float, delay: float
    ) -> float | None:
        """When the readings about an exit show that it truly was, None where they do not tell."""
        about = min(delay, ABOUT)
        begin = max(since - about, self.settled, undisturbed_since(self.view, self.subject, since))
        end = since + about / 2
        for stirred in self._stirs(end):
            if stirred > since:
                end = min(end, stirred)
            else:
                begin = max(begin, stirred)
        times, values = self.place.series.since(begin, end)
        apart = [
            sign * (value - batch.plan.at(at)) for at, value in zip(times, values, strict=True)
        ]
        return passed_at(times, apart, tolerance, since)

    def _outside_since(self, batch: Batch, sign: float, limit: float, at: float) -> float:
        """How far back the record shows the product outside without a break."""
        times, values = self.place.series.since(self.settled, at)
        since, gap = at, self.view.house.site.late_after
        for moment, value in zip(reversed(times), reversed(values), strict=True):
            if since - moment > gap or sign * (value - batch.plan.at(moment)) <= limit:
                break
            since = moment
        return since
