"""`warming`: called for, and what the cooler delivers is above its band for its delay. One that is
known to stand still rests or is stopped, which is told as that.

`freezing`: the water that it delivers is near freezing and carries no brine.

Brine is taken for granted where the band reaches below zero. Near freezing is 0.3 °C, common
practice: chilled-water plates freeze up from there.
"""

from __future__ import annotations

from kuraban.core.detectors.base import CoolerDetector, Tell
from kuraban.core.detectors.time_outside import TimeOutside
from kuraban.core.house_view import HouseView
from kuraban.core.units import MINUTE

LOOK = 1 * MINUTE
NEAR_FREEZING = 0.3
FREEZING_FOR = 10 * MINUTE
DEADBAND = 0.3


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
        called = (
            self.cooler.called_by(now) if above and self.cooler.runs(now) is not False else None
        )
        self.warm.note(now, above and called is not None, value <= band[1] - DEADBAND, delay)
        if self.warm.holds:
            if self.warm.returned(5 * MINUTE):
                self.warm.fall_back()
                self.found("warming", False, now, value=value)
        elif self._due(self.warm, delay, now):
            self.warm.holds = True
            why = (f"supply={value:.1f}", *(() if called is None else (called,)))
            self.found("warming", True, now, value=value, planned=band[1], since=self.warm.since,
                       evidence=why)  # fmt: skip

    def _freezing(self, value: float, band: tuple[float, float], now: float) -> None:
        if self.cooler.entry.kind != "chilled-water" or self.cooler.entry.brine or band[0] < 0:
            return
        self.ice.note(now, value < NEAR_FREEZING, value >= NEAR_FREEZING + 0.2, FREEZING_FOR)
        if self.ice.holds:
            if self.ice.returned(5 * MINUTE):
                self.ice.fall_back()
                self.found("freezing", False, now, value=value)
        elif self._due(self.ice, FREEZING_FOR, now):
            self.ice.holds = True
            self.found("freezing", True, now, value=value, since=self.ice.since,
                       evidence=(f"supply={value:.1f}",))  # fmt: skip

    def _due(self, clock: TimeOutside, delay: float, now: float) -> bool:
        reached = clock.reaches(delay)
        return reached is not None and reached <= now
