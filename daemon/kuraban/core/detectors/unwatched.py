"""`unwatched`: nothing good is left by which a place could be judged.

After 20 min for a koji bed, 1 h for a starter, 2 h for the rest. A check by hand thermometer
counts as product for a while. A place that has no product probe at all is not watched, which is
listed and rings nobody.
"""

from __future__ import annotations

from kuraban.core.course import FAR_FUTURE
from kuraban.core.senses import UNWATCHED_AFTER, UNWATCHED_ELSE
from kuraban.core.units import MINUTE
from kuraban.core.world import Detector

LOOK = 5 * MINUTE


class Unwatched(Detector):
    conditions = ("unwatched",)
    judged_since: float | None = None

    def look(self, now: float) -> float:
        world = self.world
        sense = world.places[self.subject]
        if not world.place_judged(self.subject, now) or not self._could_be_watched():
            self.judged_since = None
            self.clear(now)
            return FAR_FUTURE
        if self.judged_since is None:
            self.judged_since = now
        if self._measured(now):
            self.clear(now)
            return max((sense.last_good or now) + self._allowed(), now + MINUTE)
        last = max(sense.last_good or 0.0, self.judged_since)
        book = world.ledger.books.get(self.subject)
        if book is not None and book.check is not None:
            last = max(last, book.check[0])
        due = last + self._allowed()
        masked = world.masked(self.subject, now)
        if masked is not None:
            due = max(due, masked)
        if due > now:
            return min(due, now + LOOK)
        away = world.dusk or now < world.blind
        if not (away or world.stands(self.subject, "unwatched")):
            self.found("unwatched", True, now, value=sense.product, since=last)
        return now + MINUTE

    def _could_be_watched(self) -> bool:
        sense = self.world.places[self.subject]
        if sense.place.brews:
            return bool(sense.products)
        return bool(self.world.house.probes_of(self.subject, "product", "air", "supply"))

    def _measured(self, now: float) -> bool:
        world, sense = self.world, self.world.places[self.subject]
        if sense.products:
            sense.refresh(now)
            if world.product(self.subject, now) is not None:
                return True
        if sense.place.brews:
            return False
        heard = (
            world.senses[probe.id].heard
            for probe in world.house.probes_of(self.subject, "product", "air", "supply")
        )
        sense.last_good = max((at for at in heard if at is not None), default=sense.last_good)
        return world.measured(self.subject, now, "air", "supply") is not None

    def _allowed(self) -> float:
        return UNWATCHED_AFTER.get(self.world.places[self.subject].place.kind, UNWATCHED_ELSE)
