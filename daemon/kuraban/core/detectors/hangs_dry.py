"""A probe that hangs above the mash: it measures air, and is no measure of the product.

The height of the mash changes threefold from the first addition to the third, so a probe hung right
for the third hangs dry at the first. Where a probe's `dry_below` says at how many litres its tip is
under the surface, and the additions logged say how much is in, it is believed only once it is wet.
Nothing rings for it; it is listed. Where litres are unknown it is believed.
"""

from __future__ import annotations

from kuraban.core.detectors.base import ProbeDetector, Tell
from kuraban.core.house_view import HouseView
from kuraban.core.plan.fill_level import litres_in
from kuraban.core.planned_curve import FAR_FUTURE
from kuraban.core.units import MINUTE

SETTLES = 15 * MINUTE
"""From when it is under the surface until it is at its temperature (common practice)."""


class HangsDry(ProbeDetector):
    reasons = ("hangs-dry",)

    def __init__(self, view: HouseView, tell: Tell, subject: str) -> None:
        super().__init__(view, tell, subject)
        self.wet_since: float | None = None

    def look(self, now: float) -> float:
        if self._dry(now):
            self.wet_since = None
            self.against("hangs-dry", True, now)
            return FAR_FUTURE
        if "hangs-dry" not in self.view.probe_states[self.subject].suspect:
            return FAR_FUTURE
        self.wet_since = now if self.wet_since is None else self.wet_since
        if now < self.wet_since + SETTLES:
            return self.wet_since + SETTLES
        self.wet_since = None
        self.against("hangs-dry", False, now)
        return FAR_FUTURE

    def _dry(self, now: float) -> bool:
        probe = self.view.house.probe[self.subject]
        if probe.dry_below is None or self.view.batch(probe.of, now) is None:
            return False
        litres = litres_in(self.view.entry_log, probe.of, now)
        return litres is not None and litres < probe.dry_below
