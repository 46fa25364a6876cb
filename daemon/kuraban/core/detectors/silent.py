"""`silent`: a probe that does not answer, told from its own rhythm.

While so many probes fell silent together that the power or the network is the likelier reason,
each alone is held back; `dark` decides within minutes.
"""

from __future__ import annotations

from kuraban.core.house_view import Detector
from kuraban.core.units import MINUTE

LOOK_AGAIN = 1 * MINUTE


class Silent(Detector):
    conditions = ("silent",)
    judged_since: float | None = None

    def look(self, now: float) -> float:
        view = self.view
        probe_state = view.probe_states[self.subject]
        if not view.probe_judged(self.subject, now):
            self.judged_since = None
            probe_state.suspect.discard("silent")
            self.clear(now)
            return now + 10 * MINUTE
        if self.judged_since is None:
            self.judged_since = now
        last = self.judged_since if probe_state.heard is None else probe_state.heard
        allowed = probe_state.probe.silent_after
        if probe_state.heard is not None and probe_state.heard + allowed > now:
            probe_state.suspect.discard("silent")
            self.found("silent", False, now)
            return probe_state.heard + allowed
        due = max(last, self.judged_since) + allowed
        if due > now:
            return due
        if "silent" not in probe_state.suspect:
            probe_state.suspect.add("silent")
            of = probe_state.probe.of
            if probe_state.probe.measures == "product" and of in view.places:
                view.places[of].refresh(now)
        if (view.dusk or now < view.blind) and not view.stands(self.subject, "silent"):
            return now + LOOK_AGAIN
        self.found("silent", True, now, since=last)
        return now + LOOK_AGAIN
