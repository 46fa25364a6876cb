"""`unwatched`: nothing good is left by which a place could be judged.

After 20 min for a koji bed, 1 h for a starter, 2 h for the rest. A check by hand thermometer
counts as product for a while. A place that has no product probe at all is not watched, which is
listed and rings nobody.
"""

from __future__ import annotations

from kuraban.core.course import FAR_FUTURE
from kuraban.core.house_view import Detector
from kuraban.core.probes.probe_state import UNWATCHED_AFTER, UNWATCHED_ELSE
from kuraban.core.units import MINUTE

LOOK = 5 * MINUTE


class Unwatched(Detector):
    conditions = ("unwatched",)
    judged_since: float | None = None

    def look(self, now: float) -> float:
        view = self.view
        probe_state = view.places[self.subject]
        if not view.place_judged(self.subject, now) or not self._could_be_watched():
            self.judged_since = None
            self.clear(now)
            return FAR_FUTURE
        if self.judged_since is None:
            self.judged_since = now
        if self._measured(now):
            self.clear(now)
            return max((probe_state.last_good or now) + self._allowed(), now + MINUTE)
        last = max(probe_state.last_good or 0.0, self.judged_since)
        subject_state = view.entry_log.subject_states.get(self.subject)
        if subject_state is not None and subject_state.check is not None:
            last = max(last, subject_state.check[0])
        due = last + self._allowed()
        masked = view.masked(self.subject, now)
        if masked is not None:
            due = max(due, masked)
        if due > now:
            return min(due, now + LOOK)
        away = view.dusk or now < view.blind
        if not (away or view.stands(self.subject, "unwatched")):
            self.found("unwatched", True, now, value=probe_state.product, since=last)
        return now + MINUTE

    def _could_be_watched(self) -> bool:
        probe_state = self.view.places[self.subject]
        if probe_state.place.brews:
            return bool(probe_state.products)
        return bool(self.view.house.probes_of(self.subject, "product", "air", "supply"))

    def _measured(self, now: float) -> bool:
        view, probe_state = self.view, self.view.places[self.subject]
        if probe_state.products:
            probe_state.refresh(now)
            if view.product(self.subject, now) is not None:
                return True
        if probe_state.place.brews:
            return False
        heard = (
            view.probe_states[probe.id].heard
            for probe in view.house.probes_of(self.subject, "product", "air", "supply")
        )
        probe_state.last_good = max(
            (at for at in heard if at is not None), default=probe_state.last_good
        )
        return view.measured(self.subject, now, "air", "supply") is not None

    def _allowed(self) -> float:
        return UNWATCHED_AFTER.get(self.view.places[self.subject].place.kind, UNWATCHED_ELSE)
