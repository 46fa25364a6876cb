"""`unwatched`: nothing good is left by which a place could be judged.

After 20 min for a koji bed, 1 h for a starter, 2 h for the rest. A check by hand thermometer
counts as product for a while. A place that has no product probe at all is not watched, which is
listed and rings nobody.
"""

from __future__ import annotations

from kuraban.core.detectors.base import Detector, Tell
from kuraban.core.house_view import HouseView
from kuraban.core.planned_curve import FAR_FUTURE
from kuraban.core.probes.belief import Lapsed
from kuraban.core.units import HOUR, MINUTE
from kuraban.core.views.explanation import Account, Because

LOOK = 5 * MINUTE
UNWATCHED_AFTER = {"koji-bed": 20 * MINUTE, "starter": 1 * HOUR}
UNWATCHED_ELSE = 2 * HOUR


class Unwatched(Detector):
    conditions = ("unwatched",)

    def __init__(self, view: HouseView, tell: Tell, subject: str) -> None:
        super().__init__(view, tell, subject)
        self.judged_since: float | None = None
        self.heard: float | None = None
        """When a place that is judged by what surrounds it was heard of last."""

    def look(self, now: float) -> float:
        view = self.view
        if not view.place_judged(self.subject, now) or not self._could_be_watched():
            self.judged_since = None
            self.clear(now)
            return FAR_FUTURE
        if self.judged_since is None:
            self.judged_since = now
        self._hear(now)
        if self._measured(now):
            self.clear(now)
            return max((self._last_good() or now) + self._allowed(), now + MINUTE)
        last = self._last(self.judged_since)
        due = self._due(last, now)
        if due > now:
            return min(due, now + LOOK)
        if not (self._away(now) or view.stands(self.subject, "unwatched")):
            product = view.places[self.subject].product
            self.found("unwatched", True, now, value=product, since=last)
        return FAR_FUTURE if view.blind == FAR_FUTURE else now + MINUTE  # till somebody watches

    def _could_be_watched(self) -> bool:
        known = self.view.places[self.subject]
        if known.place.brews:
            return bool(known.products)
        return bool(self.view.house.probes_of(self.subject, "product", "air", "supply"))

    def _hear(self, now: float) -> None:
        """Notice what grew old, and what was heard of a place that its surroundings tell of."""
        view, known = self.view, self.view.places[self.subject]
        if known.lapsed(now):
            self.tell(Lapsed(self.subject, now))
        if not (known.place.brews or self._product(now)):
            heard = (
                view.probe_states[probe.id].heard
                for probe in view.house.probes_of(self.subject, "product", "air", "supply")
            )
            self.heard = max((at for at in heard if at is not None), default=self.heard)

    def _measured(self, now: float) -> bool:
        if self._product(now):
            return True
        brews = self.view.places[self.subject].place.brews
        return not brews and self.view.measured(self.subject, now, "air", "supply") is not None

    def _product(self, now: float) -> bool:
        products = self.view.places[self.subject].products
        return bool(products) and self.view.product(self.subject, now) is not None

    def _last(self, judged_since: float) -> float:
        """The latest of anything good, of a check by hand, and of the begin of the judging."""
        check = self.view.entry_log.of(self.subject).check
        by_hand = 0.0 if check is None else check[0]
        return max(self._last_good() or 0.0, judged_since, by_hand)

    def _due(self, last: float, now: float) -> float:
        return max(last + self._allowed(), self.view.masked(self.subject, now) or 0.0)

    def _away(self, now: float) -> bool:
        """Silence means nothing yet."""
        return self.view.dusk or now < self.view.blind

    def _last_good(self) -> float | None:
        """When something good was last known of the place."""
        last = self.view.places[self.subject].last_good
        known = [at for at in (last, self.heard) if at is not None]
        return max(known, default=None)

    def _allowed(self) -> float:
        return UNWATCHED_AFTER.get(self.view.places[self.subject].place.kind, UNWATCHED_ELSE)

    def explain(self, now: float) -> tuple[Account, ...]:
        if not self.view.place_judged(self.subject, now) or not self._could_be_watched():
            return ()
        last = self._last(now if self.judged_since is None else self.judged_since)
        due, why = self._due(last, now), None
        if self._measured(now):
            why = Because("measured", since=last, wanted=self._allowed())
        elif due > now:
            why = Because("runs-out", until=due, lasted=now - last, wanted=due - last)
        elif self._away(now):
            why = Because("dusk")
        seen = () if why is not None else (Because("no-value", since=last),)
        ends = (Because("over-measured"),)
        return (self.account("unwatched", seen=seen, lacks=(why,), ends=ends),)
