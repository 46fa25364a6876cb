"""`not-cooling`, `not-heating`: it runs, yet no heat moves.

Three depths of evidence. Its own water or air, or the air of the room that it keeps: while it runs,
that is beyond where it ever turned before (`cooler_habit`) and comes no nearer; before its habit is
known, it has run for half an hour, is out of band and comes no nearer. Warm rice in a tank, or
anything else poured in, is a load that takes it beyond its habit, so that only its band counts
then; a door or a washing is over and coming nearer before it is told. Or supply and return differ
by nothing while a valve is open. And where it has no probe at all, the places it serves: most of
them turning the same way, away from their plans, at once, and none the other way; or most of them
beyond where their saw-tooth went before, by a little each, for long enough that it is no chance
(`change`).
"""

from __future__ import annotations

from collections.abc import Sequence

from kuraban.core.detectors.base import CoolerDetector, Tell
from kuraban.core.equipment.cooler_habit import Ran
from kuraban.core.forecast.drift import CLEAR, Drift, Swing, drift_of, swing_in
from kuraban.core.house_view import HouseView
from kuraban.core.plan.subject_state import Batch
from kuraban.core.units import HOUR, MINUTE
from kuraban.core.views.explanation import Account, Because, evidence
from kuraban.trade.shared_change_detection import AT_LEAST, Shared, shared_step

LOOK = 2 * MINUTE
RAN = 30 * MINUTE
NEARER = 0.3
WELL_OFF = 0.5
"""K beyond the band: a hard-worked cooler may stand at its edge."""
NO_DIFFERENCE = 0.3
FLOWS = 5 * MINUTE
"""So long a valve must be open before supply and return of a pipe are those of moving water."""
BEYOND_FOR = 15 * MINUTE
BEYOND_THAW = 35 * MINUTE
"""The same where a thaw may look like a run: it takes 20 to 30 min (common practice)."""
BEYOND_ONCE = 45 * MINUTE
"""The same while its habit was seen but once, or it was never seen to turn."""
COMES = 0.15
"""K within `BEYOND_FOR` by which it comes nearer, so that it cools after all."""
LEVEL = 0.05
"""K within a third of that, up to which one that was never seen to turn may just be turning."""
LOADS = frozenset({"water-koji", "rice", "addition", "addition-seen", "cask"})
LOADED = 2 * HOUR
"""So long after its mask something poured into a tank is a load."""
TOGETHER, SHARE, LOOKS = 3, 0.6, 3
"""Places that must turn together, at least, as a share, and at looks in a row."""
SERVED_LEVEL = 0.1
SWING_KNOWN = 2 * HOUR
SERVED_LOOK = 10 * MINUTE
SERVED_SLOPE = 0.05
"""K an hour against the plan, the slowest warm-up of an uncooled mash."""
OVER = 15 * MINUTE

Served = tuple[str, Batch, Swing]
"""A served place, what runs there, and where its differences stand and went."""


class NotCooling(CoolerDetector):
    def __init__(self, view: HouseView, tell: Tell, subject: str) -> None:
        super().__init__(view, tell, subject)
        self.name = "not-heating" if self.cooler.entry.heats else "not-cooling"
        self.conditions = (self.name,)
        self.ran_since: float | None = None
        self.beyond_since: float | None = None
        """Since when what it keeps is beyond its habit."""
        self.by_habit = False
        """Told by what it keeps, while nobody knows whether it runs."""
        self.fine_since: float | None = None
        self.served_looked = 0.0
        self.served_seen = 0
        self.shared = Shared()

    def look(self, now: float) -> float:
        if not self.cooler.judged(now):
            self.ran_since = self.beyond_since = None
            self.shared = Shared()
            self.clear(now)
            return now + 10 * MINUTE
        ran = self.cooler.stands(now)
        self._beyond(ran)
        if ran.runs is None:
            self._unseen(ran)
            return now + LOOK
        if not ran.runs:
            self.ran_since = None
        elif self.ran_since is None:
            self.ran_since = now
        why = self._evidence(ran)
        if why:
            self.fine_since = None
            self.found(self.name, True, now, since=self.ran_since, value=self.cooler.makes(now),
                       evidence=why)  # fmt: skip
        elif self.view.stands(self.subject, self.name):
            self._over(now)
        return now + LOOK

    def _beyond(self, ran: Ran) -> None:
        """Since when what it keeps is beyond where it ever turned, for all that it runs."""
        kept, habit = self.cooler.keeps_truly(ran), self.cooler.habit
        if ran.runs is False:
            self.beyond_since = None
        elif kept is not None and habit is not None:
            reach = habit.reach
            if reach is None or kept <= reach:
                self.beyond_since = None
            elif self.beyond_since is None:
                self.beyond_since = ran.at

    def _unseen(self, ran: Ran) -> None:
        """Nobody knows whether it runs: what it keeps tells, and the places that it serves."""
        known = self.cooler.habit is not None and self.cooler.habit.proven
        why = self._by_habit(ran, BEYOND_THAW) if known else ()
        if why:
            self.by_habit, self.fine_since = True, None
            self.found(self.name, True, ran.at, value=self.cooler.makes(ran.at), evidence=why)
        elif not self.by_habit:
            self._by_served(ran)
        elif self.beyond_since is None:
            self._over(ran.at)

    def _evidence(self, ran: Ran) -> tuple[str, ...]:
        wait = self._wait(ran)
        if self.ran_since is None or ran.at - self.ran_since < RAN:
            return self._by_habit(ran, wait)
        why = self._no_difference(ran) or self._by_habit(ran, wait)
        return why or self._own(ran) or self._places(ran.at)

    def _by_habit(self, ran: Ran, wait: float) -> tuple[str, ...]:
        """For so long what it keeps has been beyond where it ever turned, and comes no nearer."""
        if self.beyond_since is None or self._in_habit(ran, wait) is not None:
            return ()
        kept = self.cooler.makes(ran.at)
        return ("beyond_habit", *(() if kept is None else (f"supply={kept:.1f}",)))

    def _wait(self, ran: Ran) -> float:
        """s for which what it keeps must be beyond its habit."""
        by_draw = not self.view.hanging(self.subject, "running")
        thaws = self.cooler.entry.kind == "cold-room" and by_draw
        return BEYOND_THAW if thaws or ran.runs is None else BEYOND_FOR

    def _in_habit(self, ran: Ran, wait: float) -> Because | None:
        """What speaks for its habit; None where it has left it."""
        now, since, habit = ran.at, self.beyond_since, self.cooler.habit
        kept = self.cooler.keeps_truly(ran)
        if kept is None or habit is None:
            return Because("no-habit")
        sign = -1.0 if self.cooler.entry.heats else 1.0
        if since is None:
            reach = None if habit.reach is None else sign * habit.reach
            return Because("in-habit", sign * kept, reach)
        wait = wait if habit.proven and habit.turned else max(wait, BEYOND_ONCE)
        if now - since < wait:
            return Because("runs-out", until=since + wait, lasted=now - since, wanted=wait)
        if self._nearer(now, -COMES if habit.turned else LEVEL):
            return Because("comes-nearer", sign * kept)
        return Because("load") if self._loaded(now) else None

    def _nearer(self, now: float, turns: float) -> bool:
        """What it keeps comes nearer to where it should be, or has just turned: `turns` K."""
        rise = self.cooler.keeps_rise(now, BEYOND_FOR)
        if rise is None or rise <= -COMES:
            return True
        turned = self.cooler.keeps_rise(now, BEYOND_FOR / 3)
        return turned is not None and turned <= turns

    def _loaded(self, now: float) -> bool:
        """Something was poured into a tank that it serves, or nobody knows yet what was."""
        for one in self.view.calling(self.subject, now):
            known = self.view.entry_log.of(one.place)
            if any(
                mask.start <= now < mask.end + LOADED and mask.why in LOADS for mask in known.masks
            ):
                return True
            if one.batch is not None and now < one.batch.settled_at(one.batch.plan.standing(now)):
                return True
        return False

    def _own(self, ran: Ran) -> tuple[str, ...]:
        """What it delivers stays out of band although it has run for half an hour."""
        now, value = ran.at, self.cooler.makes(ran.at)
        if value is None or self.cooler.keeps_truly(ran) is None:
            return ()
        if not all(map(self._well_off, self._made(now))):
            return ()
        rise = self.cooler.rise(self.subject, now, RAN, "supply", "air")
        if rise is None:
            return ()
        wrong = rise if not self.cooler.entry.heats else -rise
        return (f"supply={value:.1f}",) if wrong > -NEARER else ()

    def _made(self, now: float) -> Sequence[float]:
        """What it delivered over the last half hour."""
        for probe in self.view.house.probes_of(self.subject, "supply", "air"):
            if self.view.probe_states[probe.id].good(now):
                return self.view.probe_states[probe.id].series.since(now - RAN, now)[1]
        return ()

    def _well_off(self, value: float) -> bool:
        band = self.cooler.entry.band
        if band is None:
            return False
        return value < band[0] - WELL_OFF if self.cooler.entry.heats else value > band[1] + WELL_OFF

    def _no_difference(self, ran: Ran) -> tuple[str, ...]:
        """Supply and return are alike while a valve is open and the water is not cold yet; what
        stood in a pipe is alike in both, and as warm as the cellar, until it has flowed."""
        view, now, habit = self.view, ran.at, self.cooler.habit
        if self.cooler.off_band(now) is not True:
            return ()
        if ran.pipe and ran.valve and habit and not habit.flows(now, True, FLOWS):
            return ()
        supply = view.measured(self.subject, now, "supply")
        back = view.measured(self.subject, now, "return")
        if supply is None or back is None:
            return ()
        if abs(back - supply) >= NO_DIFFERENCE or self.cooler.called_by(now) is None:
            return ()
        return (f"supply={supply:.1f}", f"return={back:.1f}")

    def _places(self, now: float) -> tuple[str, ...]:
        """No probe in its water or air: it runs, and what it keeps goes the wrong way; one tank of
        several that does so may have troubles of its own."""
        if self.cooler.makes(now) is not None:
            return ()
        sign = -1.0 if self.cooler.entry.heats else 1.0
        judged = wrong = 0
        for place in self.view.served(self.subject):
            judged += self.view.place_judged(place, now)
            valve = self.view.signal(place, now, "valve")
            if not self.view.place_judged(place, now) or not self.cooler.needs(place, valve, now):
                continue
            rise = self.cooler.rise(place, now, RAN, "product", "air")
            if rise is not None and sign * rise > NEARER:
                wrong += 1
        return ("served_rising",) if wrong and wrong >= min(2, judged) else ()

    def _by_served(self, ran: Ran) -> None:
        """A cooler without probes: the places that it serves tell, unless its water is cold."""
        now = ran.at
        if now - self.served_looked < SERVED_LOOK - 1:
            return
        self.served_looked = now
        if self.cooler.keeps_truly(ran) is not None and self.cooler.off_band(now) is False:
            self.served_seen, self.shared = 0, Shared()
            if self.view.stands(self.subject, self.name):
                self._over(now)
            return
        served, upward = self._swings(now), not self.cooler.entry.heats
        judged, turning, against = 0, 0, 0
        for drift in self._drifts(served, upward, now):
            judged += 1
            turning += self._turns(drift)
            against += (drift.high if upward else -drift.low) < 0
        enough = turning >= min(TOGETHER, judged) and turning >= SHARE * judged
        together = judged >= 2 and enough and not against
        self.served_seen = self.served_seen + 1 if together else 0
        swings = [swing for _, _, swing in served if swing.seen >= SWING_KNOWN]
        shared = self._shared(swings, upward)
        back = sum(_beyond(swing, upward) < -CLEAR for swing in swings)
        if self.served_seen >= LOOKS or shared:
            self.fine_since = None
            self.found(self.name, True, now, evidence=("served_rising",))
        elif (
            self.view.stands(self.subject, self.name)
            and turning * 2 < judged
            and back * 2 >= len(swings)
        ):
            self._over(now)

    def _shared(self, swings: list[Swing], upward: bool) -> bool:
        """Most places beyond their saw-tooth for long enough, and none plainly cooled."""
        beyond = [_beyond(swing, upward) for swing in swings]
        self.shared = shared_step(self.shared, beyond)
        most = len(beyond) >= AT_LEAST and sum(way > 0 for way in beyond) >= SHARE * len(beyond)
        cooled = any(swing.exceeded(not upward) for swing in swings)
        return most and not cooled and self.shared.signals

    def _swings(self, now: float) -> list[Served]:
        """Every served place of which something is known."""
        view = self.view
        found: list[Served] = []
        for place in view.served(self.subject):
            batch = view.batch(place, now)
            if batch is None or not view.in_service(place):
                continue
            swing = swing_in(view, place, batch, now)
            if swing is not None:
                found.append((place, batch, swing))
        return found

    def _drifts(self, served: list[Served], upward: bool, now: float) -> list[Drift]:
        """The drifts of all served places, if enough of them left their swing at all."""
        left = sum(swing.exceeded(upward) and swing.seen >= SWING_KNOWN for _, _, swing in served)
        if left < SHARE * len(served) and not self.view.stands(self.subject, self.name):
            return []
        drifts = (drift_of(self.view, place, batch, now) for place, batch, _ in served)
        return [drift for drift in drifts if drift is not None]

    def _turns(self, drift: Drift) -> bool:
        """A place that leaves its plan, beyond anything its saw-tooth did before."""
        sign = -1.0 if self.cooler.entry.heats else 1.0
        pace = drift.low if sign > 0 else -drift.high
        return (
            sign * drift.slope >= SERVED_SLOPE
            and pace >= SERVED_SLOPE / 2
            and sign * drift.level > SERVED_LEVEL
            and drift.swing.seen >= SWING_KNOWN
            and drift.swing.exceeded(sign > 0)
        )

    def explain(self, now: float) -> tuple[Account, ...]:
        if not self.cooler.judged(now):
            return ()
        ran = self.cooler.stands(now)
        ends = (Because("over-nearer", wanted=OVER),)
        if ran.runs is None:
            why = self._by_habit(ran, BEYOND_THAW)
            together = self.served_seen >= LOOKS or self.shared.signals
            lacks = None if why or together else Because("together", self.served_seen, LOOKS, "")
            return (self.account(self.name, seen=evidence(why), lacks=(lacks,), ends=ends),)
        why = self._evidence(ran)
        return (
            self.account(self.name, seen=evidence(why), lacks=self._lacks(ran, why), ends=ends),
        )

    def _lacks(self, ran: Ran, why: tuple[str, ...]) -> tuple[Because, ...]:
        """What speaks against its failing, where nothing speaks for it."""
        if why:
            return ()
        if not ran.runs:
            return (Because("not-running"),)
        habit = self._in_habit(ran, self._wait(ran))
        found = () if habit is None else (habit,)
        if self.ran_since is not None and ran.at - self.ran_since < RAN:
            return (*found, Because("ran-too-short", lasted=ran.at - self.ran_since, wanted=RAN))
        return found

    def _over(self, now: float) -> None:
        self.fine_since = now if self.fine_since is None else self.fine_since
        if now - self.fine_since >= OVER:
            self.fine_since, self.by_habit = None, False
            self.shared = Shared()
            self.found(self.name, False, now)


def _beyond(swing: Swing, upward: bool) -> float:
    """K beyond its plan and beyond where its saw-tooth went before, the wrong way upwards."""
    return swing.now - max(swing.most, 0.0) if upward else min(swing.least, 0.0) - swing.now
