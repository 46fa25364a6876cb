"""`warming`: called for, and what the cooler delivers is above its band for its delay. One that is
known to stand still rests or is stopped, which is told as that.

`freezing`: the water that it delivers is near freezing and carries no brine.

Brine is taken for granted where the band reaches below zero. Near freezing is 0.3 °C, common
practice: chilled-water plates freeze up from there.
"""

from __future__ import annotations

from kuraban.core.detectors.base import CoolerDetector, Rule, Tell
from kuraban.core.detectors.time_outside import TimeOutside
from kuraban.core.house_view import HouseView
from kuraban.core.units import MINUTE
from kuraban.core.views.explanation import Account, Because

LOOK = 1 * MINUTE
NEAR_FREEZING = 0.3
FREEZING_FOR = 10 * MINUTE
DEADBAND, ICE_DEADBAND = 0.3, 0.2
OVER_FOR = 5 * MINUTE


class SupplyBand(CoolerDetector):
    __slots__ = ("ice", "warm")

    conditions = ("warming", "freezing")

    def __init__(self, view: HouseView, tell: Tell, subject: str) -> None:
        super().__init__(view, tell, subject)
        self.warm, self.ice = TimeOutside(), TimeOutside()

    def look(self, now: float) -> float:
        value, band = self.cooler.makes(now), self.cooler.entry.band
        if not self.cooler.judged(now) or band is None or self.cooler.entry.heats:
            self.warm.reset()
            self.ice.reset()
            self.clear(now)
            return now + 10 * MINUTE
        if value is None:
            return now + LOOK
        self._warming(value, band, now)
        self._freezing(value, band, now)
        return now + LOOK

    def _warming(self, value: float, band: tuple[float, float], now: float) -> None:
        above, delay = value > band[1], self.cooler.entry.delay
        called = self._called(now) if above else None
        self.warm.note(now, above and called is not None, value <= band[1] - DEADBAND, delay)
        if self.warm.holds:
            if self.warm.returned(OVER_FOR):
                self.warm.fall_back()
                self.found("warming", False, now, value=value)
        elif self._due(self.warm, delay, now):
            self.warm.holds = True
            why = (f"supply={value:.1f}", *(() if called is None else (called,)))
            self.found("warming", True, now, value=value, planned=band[1], since=self.warm.since,
                       evidence=why)  # fmt: skip

    def _freezing(self, value: float, band: tuple[float, float], now: float) -> None:
        if not self._may_freeze(band):
            return
        thawed = value >= NEAR_FREEZING + ICE_DEADBAND
        self.ice.note(now, value < NEAR_FREEZING, thawed, FREEZING_FOR)
        if self.ice.holds:
            if self.ice.returned(OVER_FOR):
                self.ice.fall_back()
                self.found("freezing", False, now, value=value)
        elif self._due(self.ice, FREEZING_FOR, now):
            self.ice.holds = True
            self.found("freezing", True, now, value=value, since=self.ice.since,
                       evidence=(f"supply={value:.1f}",))  # fmt: skip

    def _due(self, clock: TimeOutside, delay: float, now: float) -> bool:
        reached = clock.reaches(delay)
        return reached is not None and reached <= now

    def _called(self, now: float) -> str | None:
        """Why it is called for, unless it is known to stand still."""
        return self.cooler.called_by(now) if self.cooler.runs(now) is not False else None

    def _may_freeze(self, band: tuple[float, float]) -> bool:
        entry = self.cooler.entry
        return entry.kind == "chilled-water" and not entry.brine and band[0] >= 0

    def explain(self, now: float) -> tuple[Account, ...]:
        value, band = self.cooler.makes(now), self.cooler.entry.band
        if not self.cooler.judged(now) or band is None or self.cooler.entry.heats:
            return ()
        rule = Rule(True, band[1], band[1] - DEADBAND, self.cooler.entry.delay, OVER_FOR)
        warm = self.by_clock("warming", self.warm, rule, value, now)
        if value is not None and value > band[1] and self._called(now) is None:
            rests = self.cooler.runs(now) is False
            warm = warm._replace(lacks=(Because("rests" if rests else "uncalled"),))
        if not self._may_freeze(band):
            return (warm,)
        inner = NEAR_FREEZING + ICE_DEADBAND
        rule = Rule(False, NEAR_FREEZING, inner, FREEZING_FOR, OVER_FOR)
        return warm, self.by_clock("freezing", self.ice, rule, value, now)
