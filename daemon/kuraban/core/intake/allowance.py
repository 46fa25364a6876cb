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
| words that a sender was cut to his share | 1 | 1 a minute |
| refusals in all, error codes apart | 2,000 | 14 a minute, 20,000 a day |

What is refused beyond that is counted with the next refusal of the same kind.
"""

from __future__ import annotations

from collections import Counter

import msgspec

from kuraban.core.facts import Logged, Reading, Refusal
from kuraban.core.units import DAY, MINUTE

Fact = Reading | Refusal | Logged
LONGEST = 320
"""Characters of a reason, so that a count can follow it."""
TOO_MANY = (
    "more readings than a probe may send: 50000 at once and 2 a second are taken, of each message "
    "the newest; send less often"
)
TOO_MANY_ENTRIES = (
    "more entries than people make: 500 at once and 500 a day are taken of a topic, and four times "
    "as many in all; look at who sends them"
)


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
        self._cuts = Buckets(1, 1 / MINUTE)
        self._all = Buckets(2_000, 20_000 / DAY)
        self._beyond: dict[tuple[str, str], Refusal] = {}
        """What was refused since the last refusal that was let through, by probe and kind."""

    def dry_until(self, probe: str, at: float) -> float:
        """Until when no reading of a probe can be taken."""
        return self._readings.next(probe, at)

    def admit(self, found: list[Fact], topic: str, at: float) -> list[Fact]:
        """What becomes facts of what one message said."""
        if len(found) == 1:
            only = found[0]
            if type(only) is Reading and self._readings.take(only.probe, 1, at):
                return found
        told = Counter(fact.probe for fact in found if isinstance(fact, Reading))
        taken: list[Fact] = []
        gone: set[int] = set()
        for probe, wanted in told.items():
            given = self._readings.take(probe, wanted, at)
            if given < wanted:
                gone |= _oldest(found, probe, wanted - given)
                beyond = Refusal(topic, at, TOO_MANY, "", probe, count=wanted - given)
                taken += self.cut(topic, beyond, at)
        for place, fact in enumerate(found):
            if isinstance(fact, Logged) and not self._may_enter(topic, at):
                taken += self.cut(topic, Refusal(topic, at, TOO_MANY_ENTRIES, fact.id), at)
            elif isinstance(fact, Refusal):
                taken += self.refuse(fact, at)
            elif place not in gone:
                taken.append(fact)
        return taken

    def _may_enter(self, topic: str, at: float) -> bool:
        return bool(self._topics.take(topic, 1, at) and self._entries.take("", 1, at))

    def refuse(self, refusal: Refusal, at: float) -> list[Refusal]:
        """The refusal with all that were held back before it, or nothing: it is held back too."""
        return self._told((refusal.probe or "", "wild" if refusal.wild else ""), refusal, at)

    def cut(self, name: str, refusal: Refusal, at: float) -> list[Refusal]:
        """The same for what is refused because its sender, of this name, is beyond his share."""
        return self._told((name, "cut"), refusal, at)

    def _told(self, key: tuple[str, str], refusal: Refusal, at: float) -> list[Refusal]:
        held = self._beyond.pop(key, None)
        count = refusal.count + (held.count if held is not None else 0)
        if not self._may(key, at):
            self._beyond[key] = msgspec.structs.replace(refusal, count=count)
            return []
        return [_counting(refusal, count)]

    def _may(self, key: tuple[str, str], at: float) -> bool:
        name, kind = key
        if kind == "wild":
            return bool(self._wild.take(name, 1, at))
        bucket = self._cuts if kind == "cut" else self._refusals
        return bool(bucket.take(name, 1, at) and self._all.take("", 1, at))

    def overdue(self, at: float) -> list[Refusal]:
        """What was held back and can be told now, though nothing like it comes any more."""
        if not self._beyond:
            return []
        due = [key for key in self._beyond if self._may(key, at)]
        found = [self._beyond.pop(key) for key in due]
        return [msgspec.structs.replace(_counting(one, one.count), at=at) for one in found]


def _counting(refusal: Refusal, count: int) -> Refusal:
    if count == refusal.count == 1:
        return refusal
    reason = refusal.reason
    if count > refusal.count or "more refused" not in reason:
        reason = f"{reason[:LONGEST]} (and {count - 1} more since the last)"
    return msgspec.structs.replace(refusal, reason=reason, count=count)


def _oldest(found: list[Fact], probe: str, count: int) -> set[int]:
    """The places of so many readings of a probe, the oldest ones."""
    told = [(f.at, n) for n, f in enumerate(found) if isinstance(f, Reading) and f.probe == probe]
    return {place for _, place in sorted(told)[:count]}
