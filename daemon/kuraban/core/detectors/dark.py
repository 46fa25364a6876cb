"""`dark`: more than half of all probes fell silent together, by power or network.

They must have fallen silent within three minutes of each other and have stayed so for a quarter of
an hour. While that is being decided, and while it stands, `silent` and `unwatched` are held back:
it explains them. On return one message says from when to when.
"""

from __future__ import annotations

from kuraban.core.detectors.base import Detector, Dusk, Tell
from kuraban.core.house_view import HouseView
from kuraban.core.planned_curve import FAR_FUTURE
from kuraban.core.probes.probe_view import ProbeView
from kuraban.core.site import WATCH
from kuraban.core.units import HOUR, MINUTE
from kuraban.core.views.explanation import Account, Because

TOGETHER = 3 * MINUTE
STAYS = 15 * MINUTE
LOOK = 1 * MINUTE
LEAST = 3
SEEN_WITHIN = 2 * HOUR
QUIET = 3 * MINUTE
"""So long, and three of its intervals, without a word a probe counts as silent here."""
BACK_FOR = 5 * MINUTE


class Dark(Detector):
    conditions = ("dark",)

    def __init__(self, view: HouseView, tell: Tell, subject: str = WATCH) -> None:
        super().__init__(view, tell, subject)
        self.since: float | None = None
        self.members: tuple[str, ...] = ()

    def look(self, now: float) -> float:
        if self.since is not None:
            self._back(now)
            return now + LOOK
        if now < self.view.blind:
            return now + LOOK
        together = self._fell_together(now)
        self._dusk(bool(together))
        if together and now - max(last for last, _ in together) >= STAYS:
            self.since = min(last for last, _ in together)
            self.members = tuple(probe for _, probe in together)
            self.found("dark", True, now, since=self.since, value=float(len(together)))
        return now + LOOK

    def _dusk(self, falls: bool) -> None:
        if falls != self.view.dusk:
            self.tell(Dusk(falls))

    def _fell_together(self, now: float) -> list[tuple[float, str]]:
        """(last reading, probe) of those that fell silent together, if they are more than half."""
        overdue = self._overdue(now)
        if len(overdue) < LEAST:
            return []
        alive = self._alive(now)
        latest = overdue[-1][0]
        slowest = max(probe_state.probe.every for probe_state in alive)
        together = [pair for pair in overdue if pair[0] >= latest - max(TOGETHER, slowest)]
        return together if 2 * len(together) > len(alive) else []

    def _overdue(self, now: float) -> list[tuple[float, str]]:
        """(last reading, probe) of those that are silent, but not for long; the latest last."""
        seen, found = now - SEEN_WITHIN, []
        for known in self.view.probe_states.values():
            heard = known.heard
            if heard is None or now - heard <= QUIET or heard <= seen:
                continue
            if now - heard > 3 * known.probe.every:
                found.append((heard, known.probe.id))
        return sorted(found)

    def _alive(self, now: float) -> list[ProbeView]:
        """Those that were heard within the last hours."""
        seen, probe_states = now - SEEN_WITHIN, self.view.probe_states.values()
        return [one for one in probe_states if one.heard is not None and one.heard > seen]

    def _answering(self, now: float) -> int:
        """How many of those that fell silent are heard again."""
        known = self.view.probe_states
        here = [known[p] for p in self.members if p in known and known[p].fresh(now)]
        return sum(now - (one.heard or 0.0) < BACK_FOR for one in here)

    def _back(self, now: float) -> None:
        if 2 * self._answering(now) > len(self.members):
            since, self.since, self.members = self.since, None, ()
            self._dusk(False)
            self.found("dark", False, now, since=since)

    def explain(self, now: float) -> tuple[Account, ...]:
        if self.since is not None:
            fell, back = float(len(self.members)), float(self._answering(now))
            seen = Because("fell-together", fell, unit="", since=self.since)
            over = Because("over-most-answer", back, fell, unit="")
            return (self.account("dark", seen=(seen,), ends=(over,)),)
        if now < self.view.blind:
            until = self.view.blind if self.view.blind < FAR_FUTURE else None
            return (self.account("dark", lacks=(Because("watch-back", until=until),)),)
        together = self._fell_together(now)
        if not together:
            silent, alive = float(len(self._overdue(now))), float(len(self._alive(now)))
            few = Because("few-silent", silent, alive, unit="", wanted=TOGETHER)
            return (self.account("dark", lacks=(few,)),)
        first, latest = together[0][0], together[-1][0]
        seen = Because("fell-together", float(len(together)), unit="", since=first)
        out = Because("runs-out", until=latest + STAYS, lasted=now - latest, wanted=STAYS)
        return (self.account("dark", seen=(seen,), lacks=(out,)),)
