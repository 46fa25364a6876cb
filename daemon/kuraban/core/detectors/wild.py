"""`wild`: bus error codes and jumps that nothing real makes.

Bad values are dropped and the rest is judged on. The probe is told about when five came within
half an hour, and is no measure any more while more than half of ten minutes is bad.
"""

from __future__ import annotations

from kuraban.core.detectors.base import ProbeDetector
from kuraban.core.planned_curve import FAR_FUTURE
from kuraban.core.units import MINUTE
from kuraban.core.views.explanation import Account, Because

SPAN, MANY = 30 * MINUTE, 5
SHORT = 10 * MINUTE


class Wild(ProbeDetector):
    __slots__ = ()

    conditions = ("wild",)
    reasons = ("wild",)

    def look(self, now: float) -> float:
        if not self.view.probe_judged(self.subject, now):
            self.against("wild", False, now)
            self.clear(now)
            return FAR_FUTURE
        recent, mostly = self._bad(now)
        self.against("wild", mostly, now)
        holds = mostly or len(recent) >= MANY
        if not holds and self.view.stands(self.subject, "wild") and recent:
            holds = True
        self.found("wild", holds, now, evidence=(f"jumps={len(recent)}",),
                   since=recent[0] if recent else None)  # fmt: skip
        return now + MINUTE if recent else FAR_FUTURE

    def _bad(self, now: float) -> tuple[list[float], bool]:
        """When bad values came within the half hour, and whether most of the last are bad."""
        probe_state = self.view.probe_states[self.subject]
        recent = [at for at in probe_state.bad if at > now - SPAN]
        last = [at for at in recent if at > now - SHORT]
        good = len(probe_state.series.since(now - SHORT, now)[0])
        return recent, len(last) >= 3 and len(last) > good

    def explain(self, now: float) -> tuple[Account, ...]:
        if not self.view.probe_judged(self.subject, now):
            return ()
        recent, mostly = self._bad(now)
        many = mostly or len(recent) >= MANY
        jumps = Because("jumps", len(recent), MANY, "")
        seen, lacks = ((jumps,), ()) if many else ((), (jumps,))
        ends = (Because("over-jumps", wanted=SPAN),)
        return (self.account("wild", seen=seen, lacks=lacks, ends=ends),)
