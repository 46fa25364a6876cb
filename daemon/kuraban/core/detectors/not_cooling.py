"""`not-cooling`, `not-heating`: it runs, yet no heat moves.

Three depths of evidence. Its own water or air: it has run for half an hour, what it delivers is out
of band and comes no nearer; or supply and return differ by nothing while a valve is open. The room
or water that it keeps. And where it has no probe at all, the places it serves: most of them turning
the same way, away from their plans, at once, and none the other way; or most of them beyond where
their saw-tooth went before, by a little each, for long enough that it is no chance (`change`).
"""

from __future__ import annotations

from kuraban.core.detectors.base import CoolerDetector, Tell
from kuraban.core.forecast.drift import CLEAR, Drift, Swing, drift_along, points_of, swing_of
from kuraban.core.forecast.memory import Point
from kuraban.core.house_view import HouseView
from kuraban.core.units import HOUR, MINUTE
from kuraban.trade.change import AT_LEAST, Shared, shared_step

LOOK = 2 * MINUTE
RAN = 30 * MINUTE
NEARER = 0.3
WELL_OFF = 0.5
"""K beyond the band: a hard-worked cooler may stand at its edge."""
NO_DIFFERENCE = 0.3
TOGETHER, SHARE, LOOKS = 3, 0.6, 3
"""Places that must turn together, at least, as a share, and at looks in a row."""
SERVED_LEVEL = 0.1
SWING_KNOWN = 2 * HOUR
SERVED_LOOK = 10 * MINUTE
SERVED_SLOPE = 0.05
"""K an hour against the plan, the slowest warm-up of an uncooled mash."""
OVER = 15 * MINUTE

Served = tuple[list[Point], Swing, str]
"""The differences of a served place, where they stand and went, and its kind."""


class NotCooling(CoolerDetector):
    def __init__(self, view: HouseView, tell: Tell, subject: str) -> None:
        super().__init__(view, tell, subject)
        self.name = "not-heating" if self.cooler.entry.heats else "not-cooling"
        self.conditions = (self.name,)
        self.ran_since: float | None = None
        self.fine_since: float | None = None
        self.served_looked = 0.0
        self.served_seen = 0
        self.shared = Shared()

    def look(self, now: float) -> float:
        if not self.cooler.judged(now):
            self.ran_since, self.shared = None, Shared()
            self.clear(now)
            return now + 10 * MINUTE
        runs = self.cooler.runs(now)
        if runs is None:
            self._by_served(now)
            return now + SERVED_LOOK
        if not runs:
            self.ran_since = None
        elif self.ran_since is None:
            self.ran_since = now
        why = self._evidence(now)
        if why:
            self.fine_since = None
            self.found(self.name, True, now, since=self.ran_since, value=self.cooler.makes(now),
                       evidence=why)  # fmt: skip
        elif self.view.stands(self.subject, self.name):
            self._over(now)
        return now + LOOK

    def _evidence(self, now: float) -> tuple[str, ...]:
        if self.ran_since is None or now - self.ran_since < RAN:
            return ()
        return self._own(now) or self._no_difference(now) or self._places(now)

    def _own(self, now: float) -> tuple[str, ...]:
        """What it delivers stays out of band although it has run for half an hour."""
        value = self.cooler.makes(now)
        if value is None or not all(self._well_off(old) for old in self._made(now)):
            return ()
        rise = self.cooler.rise(self.subject, now, RAN, "supply", "air")
        if rise is None:
            return ()
        wrong = rise if not self.cooler.entry.heats else -rise
        return (f"supply={value:.1f}",) if wrong > -NEARER else ()

    def _made(self, now: float) -> list[float]:
        """What it delivered over the last half hour."""
        for probe in self.view.house.probes_of(self.subject, "supply", "air"):
            if self.view.probe_states[probe.id].good(now):
                return list(self.view.probe_states[probe.id].series.since(now - RAN, now)[1])
        return []

    def _well_off(self, value: float) -> bool:
        band = self.cooler.entry.band
        if band is None:
            return False
        return value < band[0] - WELL_OFF if self.cooler.entry.heats else value > band[1] + WELL_OFF

    def _no_difference(self, now: float) -> tuple[str, ...]:
        """Supply and return are alike while a valve is open and the water is not cold yet."""
        view = self.view
        supply = view.measured(self.subject, now, "supply")
        back = view.measured(self.subject, now, "return")
        if supply is None or back is None or self.cooler.off_band(now) is not True:
            return ()
        if abs(back - supply) >= NO_DIFFERENCE or self.cooler.called_by(now) is None:
            return ()
        return (f"supply={supply:.1f}", f"return={back:.1f}")

    def _places(self, now: float) -> tuple[str, ...]:
        """No probe in its water or air: it runs, and what it keeps goes the wrong way."""
        if self.cooler.makes(now) is not None:
            return ()
        sign = -1.0 if self.cooler.entry.heats else 1.0
        wrong = []
        for place in self.view.served(self.subject):
            valve = self.view.signal(place, now, "valve")
            if not self.view.place_judged(place, now) or not self.cooler.needs(place, valve, now):
                continue
            rise = self.cooler.rise(place, now, RAN, "product", "air")
            if rise is not None and sign * rise > NEARER:
                wrong.append(place)
        return ("served_rising",) if wrong else ()

    def _by_served(self, now: float) -> None:
        """A cooler without probes: the places that it serves tell."""
        if now - self.served_looked < SERVED_LOOK - 1:
            return
        self.served_looked = now
        sign = -1.0 if self.cooler.entry.heats else 1.0
        served = self._swings(now)
        judged, turning, against = 0, 0, 0
        for drift in self._drifts(served, sign > 0, now):
            judged += 1
            turning += self._turns(drift)
            against += (drift.high if sign > 0 else -drift.low) < 0
        enough = turning >= min(TOGETHER, judged) and turning >= SHARE * judged
        together = judged >= 2 and enough and not against
        self.served_seen = self.served_seen + 1 if together else 0
        swings = [swing for _, swing, _ in served if swing.seen >= SWING_KNOWN]
        shared = self._shared(swings, sign > 0)
        back = sum(_beyond(swing, sign > 0) < -CLEAR for swing in swings)
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
            points = points_of(view, place, batch, now)
            swing = swing_of(points, now)
            if swing is not None:
                found.append((points, swing, view.house.place[place].kind))
        return found

    def _drifts(self, served: list[Served], upward: bool, now: float) -> list[Drift]:
        """The drifts of all served places, if enough of them left their swing at all."""
        left = sum(swing.exceeded(upward) and swing.seen >= SWING_KNOWN for _, swing, _ in served)
        if left < SHARE * len(served) and not self.view.stands(self.subject, self.name):
            return []
        drifts = (drift_along(points, swing, kind, now) for points, swing, kind in served)
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

    def _over(self, now: float) -> None:
        self.fine_since = now if self.fine_since is None else self.fine_since
        if now - self.fine_since >= OVER:
            self.fine_since = None
            self.shared = Shared()
            self.found(self.name, False, now)


def _beyond(swing: Swing, upward: bool) -> float:
    """K beyond its plan and beyond where its saw-tooth went before, the wrong way upwards."""
    return swing.now - max(swing.most, 0.0) if upward else min(swing.least, 0.0) - swing.now
