"""`disagrees`: two probes in one product that differ although the mash was stirred.

Before a stir a difference is layering: the crew is told to stir (finding `layering`, which is a
notice and no alarm). Only a difference that is still there after a stir has evened the mash is a
fault of a probe.
"""

from __future__ import annotations

from kuraban.core.detectors.base import Detector, Remark, Tell
from kuraban.core.house_view import HouseView
from kuraban.core.plan.entry_reducer import STIR
from kuraban.core.planned_curve import FAR_FUTURE
from kuraban.core.units import HOUR, MINUTE
from kuraban.core.views.explanation import Account, Because

LOOK = 10 * MINUTE
APART = {"koji-bed": 2.0}
APART_ELSE = 0.5
LAYERED = 0.7
LAYERED_FOR = 30 * MINUTE


class Disagrees(Detector):
    """Of the second and further product probes of a place, against the first."""

    conditions = ("disagrees",)

    def __init__(self, view: HouseView, tell: Tell, subject: str, twin: str) -> None:
        super().__init__(view, tell, subject)
        self.twin = twin
        self.since: float | None = None
        self.told = False

    def look(self, now: float) -> float:
        view = self.view
        one, two = view.probe_states[self.subject], view.probe_states[self.twin]
        place = one.probe.of
        if not view.probe_judged(self.subject, now) or not view.place_judged(place, now):
            self.since, self.told = None, False
            self.clear(now)
            return FAR_FUTURE
        a, b = one.known(now), two.known(now)
        if a is None or b is None:
            return now + LOOK
        kind = view.places[place].place.kind
        if abs(a - b) <= self._allowed(kind):
            self.since, self.told = None, False
            self.clear(now)
            return now + LOOK
        if self.since is None:
            self.since = now
        stirred = view.entry_log.of(place).last_stir
        if self._stirred_since(stirred, now):
            self.found("disagrees", True, now, value=a, since=self.since,
                       evidence=(f"twin={b:.1f}",))  # fmt: skip
        elif self._layered(a, b, kind, now, stirred):
            self.told = True
            self.tell(Remark(place, "layering", abs(a - b), now))
        return now + LOOK

    def _layered(self, a: float, b: float, kind: str, now: float, stirred: float | None) -> bool:
        if self.told or kind == "koji-bed" or abs(a - b) < LAYERED or self.since is None:
            return False
        if stirred is not None and now - stirred < 1 * HOUR:
            return False
        return now - self.since >= LAYERED_FOR

    def _allowed(self, kind: str) -> float:
        """K by which they may differ; once they did, less."""
        return APART.get(kind, APART_ELSE) * (0.6 if self.since is not None else 1.0)

    def _stirred_since(self, stirred: float | None, now: float) -> bool:
        """They differed before a stir, and still do although it has evened the mash."""
        if stirred is None or self.since is None:
            return False
        return self.since < stirred + STIR <= now - LOOK

    def explain(self, now: float) -> tuple[Account, ...]:
        view = self.view
        one, two = view.probe_states[self.subject], view.probe_states[self.twin]
        place = one.probe.of
        if not view.probe_judged(self.subject, now) or not view.place_judged(place, now):
            return ()
        a, b, why = one.known(now), two.known(now), None
        seen: tuple[Because, ...] = ()
        allowed = self._allowed(view.places[place].place.kind)
        if a is None or b is None:
            why = Because("not-known")
        elif abs(a - b) <= allowed:
            why = Because("agree", abs(a - b), allowed, "K", name=self.twin)
        elif not self._stirred_since(view.entry_log.of(place).last_stir, now):
            why = Because("unstirred", abs(a - b), unit="K", since=self.since, name=self.twin)
        else:
            seen = (Because("differs", abs(a - b), unit="K", since=self.since, name=self.twin),)
        ends = (Because("over-agree", edge=allowed, unit="K", name=self.twin),)
        return (self.account("disagrees", seen=seen, lacks=(why,), ends=ends),)
