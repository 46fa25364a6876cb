"""`displaced`: a probe that reads the air around its place instead of the product.

A mash moves a few tenths of a degree an hour, a koji bed a degree or two (six without heat); a
probe in air is at the air's temperature within five to ten minutes, one that slides out of the mash
within an hour or two. A step, or in a tank a slope, that no product can make puts the probe in
doubt: its value counts for nothing until it is understood, so that it can be told neither as warm
nor as cold. At the air's temperature, or most of the way there after a quarter of an hour, it is
displaced. Without a probe in the air a step of two degrees is. A step that goes elsewhere and stays
half an hour is the product after all; one that still moves as no mash can is not.

Work that was logged explains what it can do and no more: a stir evens out layers, by a degree at
most, and an addition takes a mash down to where it lands (`core.plan.filling`).

A course that falls or rises as fast itself, as of a hot starter or a heating, explains a value that
goes along with it.

Above 45 °C in a tank, unless its course goes there, or more than five degrees within ten minutes,
is never product; the tank was pressed or is being washed. A warm cask beside the probe of a starter
may show ten. Steps, slopes and times are common practice.
"""

from __future__ import annotations

from array import array
from bisect import bisect_left, bisect_right

from kuraban.core.detectors.base import Disturbed, ProbeDetector, Tell, within_a_step
from kuraban.core.house_view import HouseView
from kuraban.core.plan.filling import explains
from kuraban.core.plan.plan_view import SubjectView
from kuraban.core.plan.subject_state import PROBE_OUT_LONGEST, STIR_SEEN, STIRS
from kuraban.core.planned_curve import FAR_FUTURE
from kuraban.core.probes.belief import Understood
from kuraban.core.probes.probe_view import ProbeView
from kuraban.core.units import HOUR, MINUTE
from kuraban.core.views.explanation import Account, Because

STEP = {"koji-bed": 2.0, "starter": 1.2}
STEP_ELSE = 0.8
STEP_WITHOUT_AIR = 2.0
LOOK_BACK = 11 * MINUTE
SLOPE_BACK = 22 * MINUTE
SLOPES = frozenset({"tank"})
SLOPE = 1.15
"""K within `SLOPE_BACK` that no mash in a tank can make: 3.1 K an hour, where a jacket at full
takes 0.9 from it and hot water in the jacket gives it 3 at most (common practice)."""
STILL_MOVES = 0.35
"""K within `LOOK_BACK` that a value in doubt may move and still be settling."""
STIR_DOES = 1.2
"""K by which a stir may move the reading, by the layers that there were (common practice: 1)."""
AT_AIR = 0.7
MOST_OF_THE_WAY = 0.6
DECIDE = 15 * MINUTE
AT_AIR_FOR = 3 * MINUTE
ACCEPT = 30 * MINUTE
BACK_FOR = 15 * MINUTE
SETTLES = 10 * MINUTE
WORK_KNOWN = 8 * HOUR
WORK_SEEN = 10 * MINUTE
NEVER_STEP = {"starter": 10.0}
NEVER_STEP_ELSE = 5.0
NEVER_ABOVE = 45.0


class Displaced(ProbeDetector):
    __slots__ = (
        "at_air_since", "back_since", "before_mask", "done_out", "doubt", "held", "judged",
        "kind", "least", "logged_out", "most", "out_since", "probe_state", "step",
        "subject_state", "times", "values", "version",
    )  # fmt: skip

    conditions = ("displaced",)
    reasons = ("step", "displaced", "out")

    def __init__(self, view: HouseView, tell: Tell, subject: str) -> None:
        super().__init__(view, tell, subject)
        self.kind = view.house.place[view.house.probe[subject].of].kind
        self.step = STEP.get(self.kind, STEP_ELSE)
        self.times, self.values = array("d"), array("d")
        self.least = self.most = 0.0
        """What it said within the look-back; what lies between is no step from any of that."""
        self.before_mask: tuple[float, float] | None = None
        self.at_air_since: float | None = None
        self.back_since: float | None = None
        self.out_since: float | None = None
        self.done_out: float | None = None
        """The logged taking-out that is over, by its own end or by a word."""
        self.doubt: float | None = None
        """Since when a step that no mash can make waits to be understood."""
        self.held: float | None = None
        """The value from before that step, or from before it was out."""
        self.judged = False
        self.logged_out: float | None = None
        self.probe_state: ProbeView = view.probe_states[subject]
        self.subject_state: SubjectView = view.entry_log.of(self.probe_state.probe.of)
        self.version = -1

    def settle(self) -> None:
        probe_state = self.view.probe_states[self.subject]
        if probe_state is not self.probe_state:
            self.doubt = self.held = None
        self.probe_state, self.version, self.least, self.most = probe_state, -1, 0.0, 0.0

    def _consult(self, now: float) -> None:
        """What the books say of the probe and its place, asked anew when they change."""
        entry_log = self.view.entry_log
        self.version = entry_log.version
        self.subject_state = entry_log.of(self.probe_state.probe.of)
        self.judged = self.view.probe_judged(self.subject, now)
        self.logged_out = entry_log.of(self.subject).probe_out

    def listens(self) -> tuple[str, ...]:
        return (self.subject,)

    def look(self, now: float) -> float:
        view = self.view
        probe_state = self.probe_state
        if self.version != view.entry_log.version:
            self._consult(now)
        if not self.judged:
            self._forget(now)
            return FAR_FUTURE
        value, at = probe_state.value, probe_state.heard
        if value is None or at is None or now - at > probe_state.silent_after:
            return FAR_FUTURE
        if self.logged_out is not None and self.logged_out != self.done_out:
            return self._taken_out(self.logged_out, now)
        if probe_state.suspect and "out" in probe_state.suspect:
            return self._put_back(now)
        if self.out_since is not None:
            return self._out(value, now)
        if self.doubt is not None and self.held is not None:
            return self._doubt(value, self.held, self.doubt, now)
        return self._calm(value, at, now)

    def _forget(self, now: float) -> None:
        self.doubt = self.held = None
        if self.probe_state.suspect:
            for why in self.reasons:
                self.against(why, False, now)
        del self.times[:], self.values[:]
        self.before_mask = self.out_since = self.back_since = None
        self.clear(now)

    def _calm(self, value: float, at: float, now: float) -> float:
        times, values = self.times, self.values
        back = SLOPE_BACK if self.kind in SLOPES else LOOK_BACK
        while times and times[0] < at - back:
            del times[0], values[0]
        if self.subject_state.masks and self.subject_state.masked(now) is not None:
            return self._worked(value, at, now)
        if self.before_mask is not None:
            self._after_work(value, now)
        if self.least < value < self.most and value < NEVER_ABOVE:
            times.append(at)
            values.append(value)
            return FAR_FUTURE
        reference = self._moved_from(value, at)
        times.append(at)
        values.append(value)
        self.least, self.most = within_a_step(values, self.step)
        moved = reference is not None and not self._goes_along(value, reference, at)
        if not moved and (value < NEVER_ABOVE or not self._washed(value, now)):
            return FAR_FUTURE
        held = value if reference is None else reference
        self._hold(held, now)
        return self._doubt(value, held, now, now)

    def _moved_from(self, value: float, at: float) -> float | None:
        """From where it moved as no product can, as a step or as a slope; None if it did not."""
        times, values = self.times, self.values
        if not times:
            return None
        recent = bisect_left(times, at - LOOK_BACK)
        lately = values[recent] if recent < len(values) else value
        if abs(value - lately) >= self.step:
            return lately
        slid = self.kind in SLOPES and abs(value - values[0]) >= SLOPE
        return values[0] if slid else None

    def _worked(self, value: float, at: float, now: float) -> float:
        """Somebody works at the product: only what the work cannot do speaks against the probe."""
        if self.before_mask is None:
            self.before_mask = (self.times[-1], self.values[-1]) if self.times else (at, value)
        self.times.append(at)
        self.values.append(value)
        before = self.before_mask[1]
        if self._beyond_work(value, before, now) or self._air_explains(value, before, now):
            self._hold(before, now)
        return FAR_FUTURE

    def _after_work(self, value: float, now: float) -> None:
        """The work is over: what it did is the product now, what it could not do is not."""
        assert self.before_mask is not None
        at, before = self.before_mask
        self.before_mask, self.least, self.most = None, 0.0, 0.0
        known = now - at < WORK_KNOWN and (
            self._air_explains(value, before, now)
            or (self._stirred(now) and abs(value - before) > STIR_DOES)
        )
        del self.times[:], self.values[:]
        if known:
            self.times.append(at)
            self.values.append(before)

    def _beyond_work(self, value: float, before: float, now: float) -> bool:
        """A stir alone is under way, and the reading moved further than a stir can move it."""
        stirred = self.kind in SLOPES and self._stirred(now)
        return stirred and abs(value - before) > STIR_DOES and not self._added(value, before, now)

    def _stirred(self, now: float) -> bool:
        """Of the work that is under way, or was within the hour, all is stirring."""
        masks = [m for m in self.subject_state.masks if m.start <= now < m.end + WORK_SEEN]
        return bool(masks) and all(mask.why in STIRS for mask in masks)

    def _added(self, value: float, held: float, now: float) -> bool:
        """Something poured in explains the value."""
        batch = self.view.batch(self.probe_state.probe.of, now)
        air = self._air(now)
        at_air = air is not None and abs(value - air) <= AT_AIR
        return explains(batch, self.subject_state, value, held, at_air, now)

    def _hold(self, held: float, now: float) -> None:
        """Do not believe the probe until the step is understood."""
        self.doubt, self.held = now, held
        self.at_air_since = None
        self.against("step", True, now)

    def _air_explains(self, value: float, reference: float, now: float) -> bool:
        """After a mask only a value at the air's temperature speaks against the work done."""
        air = self._air(now)
        if air is None or self._as_planned(value, now) or self._added(value, reference, now):
            return False
        return abs(value - air) <= AT_AIR and abs(reference - air) > 2 * AT_AIR

    def _as_planned(self, value: float, now: float) -> bool:
        """A value within the tolerance of the plan may be the product, wherever the air stands."""
        batch = self.view.batch(self.view.house.probe[self.subject].of, now)
        if batch is None:
            return False
        sides = batch.plan.standing(now).stage.tolerance
        return -sides.below <= value - batch.plan.at(now) <= sides.above

    def _goes_along(self, value: float, reference: float, at: float) -> bool:
        """The plan moves that way, half as far, and allows a value to have gone so far."""
        batch = self.view.batch(self.probe_state.probe.of, at)
        if batch is None:
            return False
        planned, moved = batch.plan.at(at), value - reference
        way = 1.0 if moved > 0 else -1.0
        sides = batch.plan.standing(at).stage.tolerance
        goes = way * (planned - batch.plan.at(at - SLOPE_BACK))
        ahead = way * (value - planned)
        return goes >= abs(moved) / 2 and ahead <= (sides.above if way > 0 else sides.below)

    def _washed(self, value: float, now: float) -> bool:
        """Hotter than what is in a tank can be: than every mash, and than its course allows."""
        if value < NEVER_ABOVE:
            return False
        batch = self.view.batch(self.probe_state.probe.of, now)
        return batch is None or value > batch.course.never[1]

    def _air(self, now: float) -> float | None:
        place = self.view.house.place[self.view.house.probe[self.subject].of]
        return self.view.air_of(place, now)

    def _doubt(self, value: float, held: float, since: float, now: float) -> float:
        moved, waited = value - held, now - since
        if abs(moved) < 0.5 * self.step and not self._washed(value, now):
            return self._accept(now)
        self._note(value)
        if self.view.masked(self.probe_state.probe.of, now) is not None:
            doubted = self._air_explains(value, held, now) or self._beyond_work(value, held, now)
            if not doubted:
                return self._accept(now)
            if not self._beyond_work(value, held, now):
                return FAR_FUTURE
        self.before_mask = None
        air = self._air(now)
        if self._as_planned(value, now) or self._added(value, held, now):
            return self._accept(now) if waited >= ACCEPT else FAR_FUTURE
        if self._reads_air(value, held, air, now):
            return self._displace(value, air, now)
        never = NEVER_STEP.get(self.kind, NEVER_STEP_ELSE)
        if waited >= 8 * MINUTE and (abs(moved) >= never or self._washed(value, now)):
            return self._displace(value, air, now)
        if waited >= DECIDE:
            if air is None and abs(moved) >= STEP_WITHOUT_AIR and not self._addition():
                return self._displace(value, air, now)
            if air is not None and self._share(value, held, air) >= MOST_OF_THE_WAY:
                return self._displace(value, air, now)
        if waited >= ACCEPT and not self._still_moves(value, held):
            return self._accept(now)
        return FAR_FUTURE

    def _note(self, value: float) -> None:
        """What a probe in doubt says goes on in the look-back."""
        at = self.probe_state.heard
        if at is not None and (not self.times or at > self.times[-1]):
            self.times.append(at)
            self.values.append(value)
            gone = bisect_right(self.times, at - SLOPE_BACK)
            del self.times[:gone], self.values[:gone]

    def _still_moves(self, value: float, held: float) -> bool:
        """It goes on away from what it was, faster than a mash can."""
        if self.kind not in SLOPES:
            return False
        old = self.values[bisect_right(self.times, self.times[-1] - LOOK_BACK)]
        return (value - old) * (1 if value > held else -1) > STILL_MOVES

    def _share(self, value: float, held: float, air: float) -> float:
        """How much of the way from the product to the air the value has gone."""
        return (value - held) / (air - held) if abs(air - held) > AT_AIR else 0.0

    def _reads_air(self, value: float, held: float, air: float | None, now: float) -> bool:
        near = air is not None and abs(value - air) <= AT_AIR
        if air is None or not near or self._share(value, held, air) < 0.5:
            self.at_air_since = None
            return False
        if self._as_planned(value, now):
            return False
        if self.at_air_since is None:
            self.at_air_since = now
        return now - self.at_air_since >= AT_AIR_FOR

    def _addition(self) -> bool:
        return self.view.stands(self.view.house.probe[self.subject].of, "addition-unlogged")

    def _accept(self, now: float) -> float:
        """The step was the product's: believe the probe again, the time since then counted. In a
        tank it was a stir that nobody logged, as far as a stir reaches."""
        value, held, since = self.probe_state.value, self.held, self.doubt
        moved = 0.0 if value is None or held is None else abs(value - held)
        stirred = self.kind in SLOPES and 0.5 * self.step <= moved <= STIR_DOES
        if since is not None and stirred:
            self.tell(Disturbed(self.probe_state.probe.of, STIR_SEEN, since, now))
        self.doubt = self.held = None
        del self.times[:], self.values[:]
        self.tell(Understood(self.subject, now))
        return FAR_FUTURE

    def _displace(self, value: float, air: float | None, now: float) -> float:
        held, since = self.held, self.doubt
        self.doubt = None
        self.against("displaced", True, now)
        self.against("step", False, now)
        self.against("out", False, now)
        self.out_since, self.back_since = now, None
        evidence = [] if air is None else [f"air={air:.1f}"]
        if held is not None:
            evidence.append(f"was={held:.1f}")
        if self._washed(value, now):
            evidence.append("washed")
        self.found("displaced", True, now, value=value, planned=held, since=since,
                   evidence=tuple(evidence))  # fmt: skip
        return FAR_FUTURE

    def _out(self, value: float, now: float) -> float:
        """Displaced: back when it left the air towards the product for a quarter of an hour."""
        air, held = self._air(now), self.held
        if held is None:
            back = air is None or abs(value - air) > 2 * AT_AIR
        elif air is None or abs(held - air) <= 2 * AT_AIR:
            back = abs(value - held) <= max(1.0, self.step)
        else:
            share = self._share(value, held, air)
            beyond = share < 0 and abs(value - held) >= NEVER_STEP_ELSE
            back = share < 1 - MOST_OF_THE_WAY and not beyond
        if self._washed(value, now) or not (back or (held and self._added(value, held, now))):
            self.back_since = None
            return FAR_FUTURE
        if self.back_since is None:
            self.back_since = now
        if now - self.back_since < BACK_FOR:
            return FAR_FUTURE
        self.out_since = None
        self.against("displaced", False, now)
        self.against("out", False, now)
        self.found("displaced", False, now, value=value)
        return self._accept(now)

    def _put_back(self, now: float) -> float:
        """Logged as put back: believed once the filter holds nothing of the air any more."""
        self.back_since = now if self.back_since is None else self.back_since
        if now - self.back_since < SETTLES:
            return FAR_FUTURE
        self.against("out", False, now)
        self.back_since = None
        if self.out_since is not None:
            self.out_since = None
            self.against("displaced", False, now)
            self.clear(now)
        return self._accept(now)

    def _taken_out(self, since: float, now: float) -> float:
        """Logged as taken out: no measure until it is put back, believable, or an hour passed."""
        probe_state = self.probe_state
        if self.out_since is None and "out" not in probe_state.suspect:
            before = bisect_right(self.times, since)
            self.held = self.values[before - 1] if before else probe_state.value
            self.doubt = self.back_since = None
            self.against("out", True, now)
            self.against("step", False, now)
        value, held = probe_state.value, self.held
        near = value is not None and held is not None and abs(value - held) <= self.step
        if near and now - since >= 5 * MINUTE:
            self.back_since = now if self.back_since is None else self.back_since
            believed = now - self.back_since >= BACK_FOR
        else:
            self.back_since, believed = None, False
        if not believed and now - since < PROBE_OUT_LONGEST:
            return FAR_FUTURE
        self.done_out = since
        if not near and value is not None:
            self.doubt = since
            return self._displace(value, self._air(now), now)
        self.against("out", False, now)
        return self._accept(now)

    # Why it is told as out, or is not.

    def explain(self, now: float) -> tuple[Account, ...]:
        if not self.view.probe_judged(self.subject, now):
            return ()
        air, held = self._air(now), self.held
        seen = (
            *(() if air is None else (Because("room-air", air),)),
            *(() if held is None else (Because("before", held),)),
        )
        back = self.back_since
        ends = (Because("over-since", since=back, wanted=BACK_FOR),)
        return (self.account("displaced", seen=seen, lacks=(self._why(now),), ends=ends),)

    def _why(self, now: float) -> Because | None:
        """What keeps it from being told as out, by where it stands in being understood."""
        known = self.probe_state
        if known.value is None or not known.fresh(now):
            return Because("no-value", since=known.heard)
        if self.out_since is not None:
            return None
        if self.logged_out is not None and self.logged_out != self.done_out:
            until = self.logged_out + PROBE_OUT_LONGEST
            return Because("taken-out", since=self.logged_out, until=until)
        if "out" in known.suspect:
            return Because("put-back", since=self.back_since, wanted=SETTLES)
        if self.doubt is not None and self.held is not None:
            moved = known.value - self.held
            return Because("in-doubt", moved, unit="K", since=self.doubt, wanted=ACCEPT)
        return Because("no-step", edge=self.step, unit="K", wanted=LOOK_BACK)
