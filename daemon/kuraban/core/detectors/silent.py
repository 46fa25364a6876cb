"""`silent`: a probe that does not answer, told from its own rhythm.

While so many probes fell silent together that the power or the network is the likelier reason,
each alone is held back; `dark` decides within minutes.
"""

from __future__ import annotations

from kuraban.core.units import MINUTE
from kuraban.core.world import Detector

LOOK_AGAIN = 1 * MINUTE


class Silent(Detector):
    conditions = ("silent",)
    judged_since: float | None = None

    def look(self, now: float) -> float:
        world = self.world
        sense = world.senses[self.subject]
        if not world.probe_judged(self.subject, now):
            self.judged_since = None
            sense.suspect.discard("silent")
            self.clear(now)
            return now + 10 * MINUTE
        if self.judged_since is None:
            self.judged_since = now
        last = self.judged_since if sense.heard is None else sense.heard
        allowed = sense.probe.silent_after
        if sense.heard is not None and sense.heard + allowed > now:
            sense.suspect.discard("silent")
            self.found("silent", False, now)
            return sense.heard + allowed
        due = max(last, self.judged_since) + allowed
        if due > now:
            return due
        if "silent" not in sense.suspect:
            sense.suspect.add("silent")
            of = sense.probe.of
            if sense.probe.measures == "product" and of in world.places:
                world.places[of].refresh(now)
        if (world.dusk or now < world.blind) and not world.stands(self.subject, "silent"):
            return now + LOOK_AGAIN
        self.found("silent", True, now, since=last)
        return now + LOOK_AGAIN
