"""`clock-wrong`: most probes say that it is later than the watch believes.

One board ahead of its time is that board's fault. When most of those that send a time are more than
five minutes ahead, the watch's own clock is the likelier one, and theirs is believed.
"""

from __future__ import annotations

from kuraban.core.facts import Reading
from kuraban.core.site import WATCH
from kuraban.core.units import MINUTE
from kuraban.core.world import Detector, World

AHEAD = 5 * MINUTE
LOOK = 1 * MINUTE
RECENT = 15 * MINUTE
LEAST = 3


class Clocks(Detector):
    conditions = ("clock-wrong",)

    def __init__(self, world: World, subject: str = WATCH) -> None:
        super().__init__(world, subject)
        self.ahead: dict[str, tuple[float, float]] = {}
        """Of each probe that sends its time: when it was heard, and how far it is ahead."""

    def hear(self, reading: Reading) -> None:
        if reading.sent is not None:
            self.ahead[reading.probe] = (reading.received, reading.sent - reading.received)
        elif reading.at != reading.received:
            self.ahead[reading.probe] = (reading.received, reading.at - reading.received)

    def unhear(self, probe: str, before: tuple[float, float] | None) -> None:
        """The reading was none: it is not kept, so nothing may rest on it."""
        self.ahead.pop(probe, None)
        if before is not None:
            self.ahead[probe] = before

    def shift(self) -> float:
        """Seconds by which the probes' time is believed to be later than the watch's, or 0."""
        far = [by for _, by in self.ahead.values() if by > AHEAD]
        if len(far) >= LEAST and 2 * len(far) > len(self.ahead):
            return sorted(far)[len(far) // 2]
        return 0.0

    def look(self, now: float) -> float:
        for probe in [p for p, (heard, _) in self.ahead.items() if now - heard >= RECENT]:
            del self.ahead[probe]
        shift = self.shift()
        self.found("clock-wrong", shift > 0, now, value=round(shift / MINUTE) if shift else None)
        return now + LOOK
