"""`humid`, `dry`: the air of a koji room against what the bed's stage wants.

Breweries think in wet-bulb depression: dry bulb less wet bulb, K. A stage names a band of it, or of
relative humidity. Where a room has several beds the stage of the later lot counts. A dried-out wick
reads as the dry bulb does, depression near nothing; that is no damp room and nothing is judged.

Humidity from a wick goes by the draught past it, still air where the site file says nothing. Where
there is no wick, the depression is that of printed tables (JIS Z 8806, a wick with a fan), by which
people read a course beside a hygrometer.
"""

from __future__ import annotations

from kuraban.core.detectors.base import Detector, Rule, Tell
from kuraban.core.detectors.time_outside import TimeOutside
from kuraban.core.house_view import HouseView
from kuraban.core.planned_curve import FAR_FUTURE, AirBand
from kuraban.core.site import House
from kuraban.core.units import MINUTE
from kuraban.core.views.explanation import Account, Because, Unit
from kuraban.errors import OutOfRange
from kuraban.trade.psychrometry import DRAUGHTS, depression, relative_humidity

LOOK = 2 * MINUTE
DELAY = 30 * MINUTE
DEADBAND = {"depression": 0.3, "humidity": 2.0}
DRY_WICK = 0.3
UNITS: dict[str, Unit] = {"depression": "K", "humidity": "%RH"}


def wick_of(house: House, *subjects: str | None) -> float:
    """The psychrometer coefficient, /K, of the first wick on these."""
    wicks = [one for of in subjects if of is not None for one in house.probes_of(of, "wet-bulb")]
    return DRAUGHTS[(wicks[0].draught if wicks else None) or "still"]


class KojiAir(Detector):
    conditions = ("humid", "dry")

    def __init__(self, view: HouseView, tell: Tell, subject: str) -> None:
        super().__init__(view, tell, subject)
        self.clocks = {"humid": TimeOutside(), "dry": TimeOutside()}

    def look(self, now: float) -> float:
        view = self.view
        batch = view.batch(self.subject, now)
        if batch is None or not view.in_service(self.subject):
            self._rest(now)
            return FAR_FUTURE
        band = batch.plan.standing(now).stage.air
        if band is None or self._earlier_lot(now):
            self._rest(now)
            return now + LOOK
        if view.masked(self.subject, now) is not None:
            return now + LOOK
        measure, (low, high), value = self._reading(band, now)
        if value is None:
            return now + LOOK
        damp, dry = value - low, high - value
        if measure == "humidity":
            damp, dry = high - value, value - low
        for name, room in (("humid", damp), ("dry", dry)):
            self._judge(name, room, measure, value, now)
        return now + LOOK

    def _rest(self, now: float) -> None:
        for clock in self.clocks.values():
            clock.reset()
        self.clear(now)

    def _earlier_lot(self, now: float) -> bool:
        """Whether another bed of the same room holds a later lot."""
        view = self.view
        mine, room = view.batch(self.subject, now), view.house.place[self.subject].room
        for place in view.house.places:
            if place.id != self.subject and place.kind == "koji-bed" and place.room == room:
                other = view.batch(place.id, now)
                if other is not None and mine is not None and other.since > mine.since:
                    return True
        return False

    def _reading(self, band: AirBand, now: float) -> tuple[str, tuple[float, float], float | None]:
        place = self.view.house.place[self.subject]
        found: dict[str, float | None] = {}
        for measure in ("air", "wet-bulb", "humidity"):
            value = None
            if place.room is not None:
                value = self.view.measured(place.room, now, measure)
            found[measure] = self.view.measured(place.id, now, measure) if value is None else value
        dry, wet, humidity = found["air"], found["wet-bulb"], found["humidity"]
        try:
            if band.wet_bulb_depression is not None:
                low_high = band.wet_bulb_depression
                if dry is not None and wet is not None and dry - wet >= DRY_WICK:
                    return "depression", low_high, dry - wet
                if dry is not None and humidity is not None:
                    return "depression", low_high, depression(dry, humidity)
                return "depression", low_high, None
            if humidity is None and dry is not None and wet is not None and dry - wet >= DRY_WICK:
                coefficient = wick_of(self.view.house, place.room, place.id)
                humidity = relative_humidity(dry, wet, coefficient)
        except OutOfRange:
            humidity = None
        return "humidity", band.humidity or (0.0, 100.0), humidity

    def _judge(self, name: str, room: float, measure: str, value: float, now: float) -> None:
        clock = self.clocks[name]
        clock.note(now, room < 0, room >= DEADBAND[measure], DELAY)
        if clock.holds and clock.returned(DELAY / 2):
            clock.fall_back()
            self.found(name, False, now, value=value)
        elif not clock.holds:
            reached = clock.reaches(DELAY)
            if reached is not None and reached <= now:
                clock.holds = True
                self.found(name, True, now, value=value, since=clock.since,
                           evidence=(f"{measure}={value:.1f}",))  # fmt: skip

    def explain(self, now: float) -> tuple[Account, ...]:
        view = self.view
        batch = view.batch(self.subject, now)
        if batch is None or not view.in_service(self.subject):
            return ()
        band, masked = batch.plan.standing(now).stage.air, view.masked(self.subject, now)
        if band is None or self._earlier_lot(now):
            why = Because("no-air-band" if band is None else "later-lot")
            return tuple(self.account(name, lacks=(why,)) for name in self.conditions)
        measure, (low, high), value = self._reading(band, now)
        back, unit, found = DEADBAND[measure], UNITS[measure], []
        for name in self.conditions:
            upward = (name == "humid") is (measure == "humidity")
            edge = high if upward else low
            inner = edge - back if upward else edge + back
            rule = Rule(upward, edge, inner, DELAY, DELAY / 2, unit)
            found.append(self.by_clock(name, self.clocks[name], rule, value, now, masked or 0.0))
        return tuple(found)
