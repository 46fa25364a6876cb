"""How much of what is sent becomes facts, so that no sender fills the journal or the memory.

Each limit is a bucket: so much at once, and so much a second in the long run. They lie far above
what a brewery sends; whoever goes beyond them is a fault or an attack, and is cut to his share with
one refusal that says so. All of it happens before anything is a fact: a replay of the journal meets
no limit.

| of | at once | in the long run |
|---|---|---|
| readings of a probe | 50,000 (five weeks by the minute) | 2 a second |
| entries on one topic | 500 | 500 a day |
| entries on all topics | 2,000 | 2,000 a day |
| refusals of a probe, and of all unknown topics | 100 | 1 a minute |
| bus error codes of a probe, which `wild` counts | 600 | 1 a second |
| refusals in all, error codes apart | 2,000 | 14 a minute, 20,000 a day |

What is refused beyond that is counted with the next refusal of the same kind.
"""

from __future__ import annotations

from collections.abc import Sequence

from kuraban.core.facts import Logged, Reading, Refusal
from kuraban.core.units import DAY, MINUTE

Fact = Reading | Refusal | Logged


class Buckets:
    """One bucket for each name: `most` at once, `rate` a second in the long run."""

    def __init__(self, most: float, rate: float, more: float = 0.0) -> None:
        self._most, self._rate = most, rate
        self._first = most + more
        self._held: dict[str, tuple[float, float]] = {}
        """What is left in each, and as of when."""

    def take(self, name: str, wanted: int, at: float) -> int:
        """As much of what is wanted as there is; whole numbers."""
        left, since = self._held.get(name, (self._first, at))
        if left < self._most:
            left = min(self._most, left + max(0.0, at - since) * self._rate)
        given = min(wanted, int(left))
        self._held[name] = left - given, at
        return given

    def next(self, name: str, at: float) -> float:
        """When there is one in it again."""
        left, since = self._held.get(name, (self._first, at))
        return at if left >= 1 else since + (1 - left) / self._rate


class Allowance:
    """What may become facts. `away` is for how long, seconds, nobody watched before."""

    def __init__(self, away: float = 0.0) -> None:
        self._readings = Buckets(50_000, 2.0, more=2.0 * away)
        self._topics = Buckets(500, 500 / DAY)
        self._entries = Buckets(2_000, 2_000 / DAY)
        self._refusals = Buckets(100, 1 / MINUTE)
        self._wild = Buckets(600, 1.0)
        self._all = Buckets(2_000, 20_000 / DAY)
        self._beyond: dict[tuple[str, bool], Refusal] = {}
        """What was refused since the last refusal that was let through, by probe and kind."""

    def dry_until(self, probe: str, at: float) -> float:
        """Until when no reading of a probe can be taken."""
        return self._readings.next(probe, at)

    def admit(self, found: Sequence[Fact], at: float) -> Sequence[Fact]:
        """What of one message becomes facts; of a probe's readings the newest."""
        if len(found) == 1:
            (only,) = found
            if type(only) is Reading and self._readings.take(only.probe, 1, at):
                return found
        if all(type(fact) is Reading for fact in found):
            readings, others = [*found], []
        else:
            readings = [fact for fact in found if isinstance(fact, Reading)]
            others = [fact for fact in found if not isinstance(fact, Reading)]
        return readings
