"""`dark`: more than half of all probes fell silent together, by power or network.

They must have fallen silent within three minutes of each other and have stayed so for a quarter of
an hour. While that is being decided, and while it stands, `silent` and `unwatched` are held back:
it explains them. On return one message says from when to when.
"""

from __future__ import annotations

from kuraban.core.detectors.base import Detector, Dusk, Tell
from kuraban.core.house_view import HouseView
from kuraban.core.site import WATCH
from kuraban.core.units import HOUR, MINUTE

TOGETHER = 3 * MINUTE
STAYS = 15 * MINUTE
LOOK = 1 * MINUTE
LEAST = 3
SEEN_WITHIN = 2 * HOUR
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
        seen, probe_states = now - SEEN_WITHIN, self.view.probe_states.values()
        overdue = sorted(
            (probe_state.heard, probe_state.probe.id)
            for probe_state in probe_states
            if probe_state.heard is not None
            and now - probe_state.heard > 3 * MINUTE
            and probe_state.heard > seen
            and now - probe_state.heard > 3 * probe_state.probe.every
        )
        if len(overdue) < LEAST:
            return []
        alive = [
            probe_state
            for probe_state in probe_states
            if probe_state.heard is not None and probe_state.heard > seen
        ]
        latest = overdue[-1][0]
        slowest = max(probe_state.probe.every for probe_state in alive)
        together = [pair for pair in overdue if pair[0] >= latest - max(TOGETHER, slowest)]
        return together if 2 * len(together) > len(alive) else []

    def _back(self, now: float) -> None:
        probe_states = self.view.probe_states
        here = [p for p in self.members if p in probe_states and probe_states[p].fresh(now)]
        answering = [p for p in here if now - (probe_states[p].heard or 0.0) < BACK_FOR]
        if 2 * len(answering) > len(self.members):
            since, self.since, self.members = self.since, None, ()
            self._dusk(False)
            self.found("dark", False, now, since=since)
