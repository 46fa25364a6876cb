"""`wild`: bus error codes and jumps that nothing real makes.

Bad values are dropped and the rest is judged on. The probe is told about when five came within
half an hour, and is no measure any more while more than half of ten minutes is bad.
"""

from __future__ import annotations

from kuraban.core.course import FAR_FUTURE
from kuraban.core.detectors.base import ProbeDetector
from kuraban.core.units import MINUTE

SPAN, MANY = 30 * MINUTE, 5
SHORT = 10 * MINUTE


class Wild(ProbeDetector):
    __slots__ = ()

    conditions = ("wild",)
    reasons = ("wild",)

    def look(self, now: float) -> float:
        probe_state = self.view.probe_states[self.subject]
        if not self.view.probe_judged(self.subject, now):
            self.against("wild", False, now)
            self.clear(now)
            return FAR_FUTURE
        recent = [at for at in probe_state.bad if at > now - SPAN]
        last = [at for at in recent if at > now - SHORT]
        good = len(probe_state.series.since(now - SHORT, now)[0])
        mostly = len(last) >= 3 and len(last) > good
        self.against("wild", mostly, now)
        holds = mostly or len(recent) >= MANY
        if not holds and self.view.stands(self.subject, "wild") and recent:
            holds = True
        self.found("wild", holds, now, evidence=(f"jumps={len(recent)}",),
                   since=recent[0] if recent else None)  # fmt: skip
        return now + MINUTE if recent else FAR_FUTURE
