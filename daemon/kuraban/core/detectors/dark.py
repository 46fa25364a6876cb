"""`dark`: more than half of all probes fell silent together, by power or network.

They must have fallen silent within three minutes of each other and have stayed so for a quarter of
an hour. While that is being decided, and while it stands, `silent` and `unwatched` are held back:
it explains them. On return one message says from when to when.
"""

from __future__ import annotations

from kuraban.core.site import WATCH
from kuraban.core.units import HOUR, MINUTE
from kuraban.core.world import Detector, World

TOGETHER = 3 * MINUTE
STAYS = 15 * MINUTE
LOOK = 1 * MINUTE
LEAST = 3
SEEN_WITHIN = 2 * HOUR
BACK_FOR = 5 * MINUTE


class Dark(Detector):
    conditions = ("dark",)

    def __init__(self, world: World, subject: str = WATCH) -> None:
        super().__init__(world, subject)
        self.since: float | None = None
        self.members: tuple[str, ...] = ()

    def look(self, now: float) -> float:
        if self.since is not None:
            self._back(now)
            return now + LOOK
        if now < self.world.blind:
            return now + LOOK
        together = self._fell_together(now)
        self.world.dusk = bool(together)
        if together and now - max(last for last, _ in together) >= STAYS:
            self.since = min(last for last, _ in together)
            self.members = tuple(probe for _, probe in together)
            self.found("dark", True, now, since=self.since, value=float(len(together)))
        return now + LOOK

    def _fell_together(self, now: float) -> list[tuple[float, str]]:
        """(last reading, probe) of those that fell silent together, if they are more than half."""
        seen, senses = now - SEEN_WITHIN, self.world.senses.values()
        overdue = sorted(
            (sense.heard, sense.probe.id)
            for sense in senses
            if sense.heard is not None
            and now - sense.heard > 3 * MINUTE
            and sense.heard > seen
            and now - sense.heard > 3 * sense.probe.every
        )
        if len(overdue) < LEAST:
            return []
        alive = [sense for sense in senses if sense.heard is not None and sense.heard > seen]
        if 2 * len(overdue) <= len(alive):
            return []
        latest = overdue[-1][0]
        slowest = max(sense.probe.every for sense in alive)
        together = [pair for pair in overdue if pair[0] >= latest - max(TOGETHER, slowest)]
        return together if 2 * len(together) > len(alive) else []

    def _back(self, now: float) -> None:
        senses = self.world.senses
        here = [p for p in self.members if p in senses and senses[p].fresh(now)]
        answering = [p for p in here if now - (senses[p].heard or 0.0) < BACK_FOR]
        if 2 * len(answering) > len(self.members):
            since, self.since, self.members = self.since, None, ()
            self.world.dusk = False
            self.found("dark", False, now, since=since)
