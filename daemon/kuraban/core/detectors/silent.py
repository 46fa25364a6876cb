"""`silent`: a probe that does not answer, told from its own rhythm.

While so many probes fell silent together that the power or the network is the likelier reason,
each alone is held back; `dark` decides within minutes.

What somebody set out of service is no measure either, whatever it says: the air, most often.

Once it is told nothing changes that by itself: a reading lets it look, and so does an entry. Nor
does anything while nobody watches; then the watch's coming back lets it look.
"""

from __future__ import annotations

from kuraban.core.detectors.base import ProbeDetector
from kuraban.core.planned_curve import FAR_FUTURE
from kuraban.core.units import MINUTE
from kuraban.core.views.explanation import Account, Because

LOOK_AGAIN = 1 * MINUTE


class Silent(ProbeDetector):
    conditions = ("silent",)
    reasons = ("silent", "out-of-service")
    judged_since: float | None = None

    def look(self, now: float) -> float:
        view = self.view
        probe_state = view.probe_states[self.subject]
        self.against("out-of-service", not view.in_service(self.subject), now)
        if not view.probe_judged(self.subject, now):
            self.judged_since = None
            self.against("silent", False, now)
            self.clear(now)
            return now + 10 * MINUTE
        if self.judged_since is None:
            self.judged_since = now
        last = self.judged_since if probe_state.heard is None else probe_state.heard
        allowed = probe_state.silent_after
        if probe_state.heard is not None and probe_state.heard + allowed > now:
            self.against("silent", False, now)
            self.found("silent", False, now)
            return probe_state.heard + allowed
        due = max(last, self.judged_since) + allowed
        if due > now:
            return due
        self.against("silent", True, now)
        if self._away(now) and not view.stands(self.subject, "silent"):
            return FAR_FUTURE if view.blind == FAR_FUTURE else now + LOOK_AGAIN
        self.found("silent", True, now, since=last)
        return FAR_FUTURE

    def _away(self, now: float) -> bool:
        """Silence means nothing yet."""
        return self.view.dusk or now < self.view.blind

    def explain(self, now: float) -> tuple[Account, ...]:
        if not self.view.probe_judged(self.subject, now) or self.judged_since is None:
            return ()
        known = self.view.probe_states[self.subject]
        allowed, why = known.probe.silent_after, None
        due = max(known.heard or 0.0, self.judged_since) + allowed
        if known.heard is not None and known.heard + allowed > now:
            why = Because("answers", since=known.heard, wanted=allowed)
        elif due > now:
            why = Because("runs-out", until=due, lasted=allowed - (due - now), wanted=allowed)
        elif self._away(now):
            why = Because("dusk")
        seen = () if why is not None else (Because("no-value", since=known.heard),)
        ends = (Because("over-answers"),)
        return (self.account("silent", seen=seen, lacks=(why,), ends=ends),)
