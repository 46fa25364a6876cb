"""`warm`, `cold` of a place with a band: a room, a cold store, a water tank; a tank of sake
too, but while a batch runs there, whose course says what is right."""

from __future__ import annotations

from kuraban.core.detectors.base import Detector, Rule, Tell
from kuraban.core.detectors.product_band import off_delay
from kuraban.core.detectors.time_outside import TimeOutside
from kuraban.core.house_view import HouseView
from kuraban.core.planned_curve import FAR_FUTURE
from kuraban.core.units import MINUTE
from kuraban.core.views.explanation import Account

DEADBAND = 0.3
MEASURES = ("product", "air", "supply")


class BandedPlace(Detector):
    conditions = ("warm", "cold")

    def __init__(self, view: HouseView, tell: Tell, subject: str) -> None:
        super().__init__(view, tell, subject)
        self.clocks = {"warm": TimeOutside(), "cold": TimeOutside()}

    def listens(self) -> tuple[str, ...]:
        return tuple(p.id for p in self.view.house.probes_of(self.subject, *self._measures()))

    def _measures(self) -> tuple[str, ...]:
        """A place that brews is judged by what is in it, never by the air around."""
        return ("product",) if self.view.house.place[self.subject].brews else MEASURES

    def look(self, now: float) -> float:
        view = self.view
        place = view.house.place[self.subject]
        if place.band is None or not view.in_service(self.subject):
            return self._rest(now)
        if view.batch(self.subject, now) is not None:
            if any(clock.holds for clock in self.clocks.values()):
                self._rest(now)
            return FAR_FUTURE
        value = view.measured(self.subject, now, *self._measures())
        if value is None:
            return FAR_FUTURE
        low, high = place.band
        again = FAR_FUTURE
        for name, room in (("warm", high - value), ("cold", value - low)):
            planned = high if name == "warm" else low
            again = min(again, self._judge(name, room, value, planned, now))
        return again

    def _rest(self, now: float) -> float:
        for clock in self.clocks.values():
            clock.reset()
        self.clear(now)
        return FAR_FUTURE

    def _judge(self, name: str, room: float, value: float, edge: float, now: float) -> float:
        clock, delay = self.clocks[name], self.view.house.place[self.subject].delay
        clock.note(now, room < 0, room >= DEADBAND, delay)
        if clock.holds:
            if clock.returned(off_delay(delay)):
                clock.fall_back()
                self.found(name, False, now, value=value, planned=edge)
            elif clock.inside_since is not None:
                return now + MINUTE
            else:
                self.found(name, True, now, value=value, planned=edge, since=clock.since,
                           worse=-room)  # fmt: skip
            return FAR_FUTURE
        reached = clock.reaches(delay)
        if reached is None:
            return FAR_FUTURE
        if reached > now:
            return reached
        clock.holds = True
        self.found(name, True, now, value=value, planned=edge, since=clock.since, worse=-room)
        return FAR_FUTURE

    def explain(self, now: float) -> tuple[Account, ...]:
        view, place = self.view, self.view.house.place[self.subject]
        brewing = view.batch(self.subject, now) is not None
        if place.band is None or brewing or not view.in_service(self.subject):
            return ()
        value, (low, high) = view.measured(self.subject, now, *self._measures()), place.band
        off = off_delay(place.delay)
        warm = Rule(True, high, high - DEADBAND, place.delay, off)
        cold = Rule(False, low, low + DEADBAND, place.delay, off)
        return tuple(
            self.by_clock(name, self.clocks[name], rule, value, now)
            for name, rule in (("warm", warm), ("cold", cold))
        )
