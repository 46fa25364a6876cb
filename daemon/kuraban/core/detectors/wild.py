"""`wild`: bus error codes and jumps that nothing real makes.

Bad values are dropped and the rest is judged on. The probe is told about when five came within
half an hour, and is no measure any more while more than half of ten minutes is bad.
"""

from __future__ import annotations

from kuraban.core.course import FAR_FUTURE
from kuraban.core.units import MINUTE
from kuraban.core.world import Detector

SPAN, MANY = 30 * MINUTE, 5
SHORT = 10 * MINUTE


class Wild(Detector):
    __slots__ = ()

    conditions = ("wild",)

    def look(self, now: float) -> float:
        sense = self.world.senses[self.subject]
        if not self.world.probe_judged(self.subject, now):
            sense.suspect.discard("wild")
            self.clear(now)
            return FAR_FUTURE
        recent = [at for at in sense.bad if at > now - SPAN]
        last = [at for at in recent if at > now - SHORT]
        good = len(sense.series.since(now - SHORT, now)[0])
        mostly = len(last) >= 3 and len(last) > good
        (sense.suspect.add if mostly else sense.suspect.discard)("wild")
        holds = mostly or len(recent) >= MANY
        if not holds and self.world.stands(self.subject, "wild") and recent:
            holds = True
        self.found("wild", holds, now, evidence=(f"jumps={len(recent)}",),
                   since=recent[0] if recent else None)  # fmt: skip
        sense.leapt = False
        return now + MINUTE if recent else FAR_FUTURE
