"""`clock-wrong`: most probes say that it is later than the watch believes.

One board ahead of its time is that board's fault. When most of those that send a time are more than
five minutes ahead, the watch's own clock is the likelier one, and theirs is believed.
"""

from __future__ import annotations

from array import array

from kuraban.core.facts import Reading
from kuraban.core.house_view import Detector, HouseView
from kuraban.core.site import WATCH
from kuraban.core.units import MINUTE

AHEAD = 5 * MINUTE
LOOK = 1 * MINUTE
RECENT = 15 * MINUTE
LEAST = 3
LONG_AGO = float("-inf")
NEVER = LONG_AGO, LONG_AGO


class ClockWrong(Detector):
    conditions = ("clock-wrong",)

    def __init__(self, view: HouseView, subject: str = WATCH) -> None:
        super().__init__(view, subject)
        self.rows: dict[str, int] = {}
        """Where each probe stands in the next two."""
        self.heard, self.ahead = array("d"), array("d")
        """When a probe that sends its time was heard, and how far it was ahead, s; LONG_AGO for
        both where that is long ago."""
        self.far = False
        """Whether any of them is far ahead; while none is, there is nothing to count."""
        self.looked = LONG_AGO

    def settle(self) -> None:
        known = {probe: (self.heard[row], self.ahead[row]) for probe, row in self.rows.items()}
        self.rows = {probe: row for row, probe in enumerate(self.view.probe_states)}
        rows = [known.get(probe, NEVER) for probe in self.rows]
        self.heard = array("d", [heard for heard, _ in rows])
        self.ahead = array("d", [ahead for _, ahead in rows])

    def hear(self, row: int, reading: Reading) -> tuple[float, float]:
        """Take the time that was sent with a reading; what was known of the probe before."""
        before = self.heard[row], self.ahead[row]
        sent = reading.at if reading.sent is None else reading.sent
        ahead = sent - reading.received
        self.heard[row], self.ahead[row] = reading.received, ahead
        if ahead > AHEAD and not self.far:
            self.far = True
            self._forget(self.looked)
        return before

    def unhear(self, row: int, before: tuple[float, float]) -> None:
        """The reading was none: it is not kept, so nothing may rest on it."""
        self.heard[row], self.ahead[row] = before

    def shift(self) -> float:
        """Seconds by which the probes' time is believed to be later than the watch's, or 0."""
        far = [by for by in self.ahead if by > AHEAD]
        if len(far) >= LEAST and 2 * len(far) > len(self.heard) - self.heard.count(LONG_AGO):
            return sorted(far)[len(far) // 2]
        return 0.0

    def look(self, now: float) -> float:
        self.looked = now
        if not self.far:
            return now + LOOK
        self._forget(now)
        self.far = max(self.ahead, default=LONG_AGO) > AHEAD
        shift = self.shift()
        self.found("clock-wrong", shift > 0, now, value=round(shift / MINUTE) if shift else None)
        return now + LOOK

    def _forget(self, now: float) -> None:
        """What was heard so long before that moment that it says nothing any more."""
        for row, heard in enumerate(self.heard):
            if now - heard >= RECENT:
                self.heard[row] = self.ahead[row] = LONG_AGO
