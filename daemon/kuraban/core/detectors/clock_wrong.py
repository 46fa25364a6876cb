"""`clock-wrong`: the wall clock stepped, or most probes say that it is later than it is here.

One board ahead of its time is that board's fault. When most of all thermometers say that it is more
than five minutes later, the watch's own clock is the likelier one, and theirs is believed. Those
that do not answer count against it: after a start or a power cut a few boards that lost their clock
are heard first.

A step harms no judgement, since the watch goes by elapsed time. People are told of it all the same:
what they read by it, duty hours and the words of the day go by it, and only they know whether it is
right now. One of a minute or more is told once, and is over by itself before the ladder's second
rung. Clocks that are put right go to and fro, so within hours only a much larger one is told.
"""

from __future__ import annotations

from array import array
from datetime import datetime

from kuraban.core.detectors.base import Detector, Tell
from kuraban.core.facts import Reading
from kuraban.core.house_view import HouseView
from kuraban.core.site import TEMPERATURES, WATCH
from kuraban.core.units import HOUR, MINUTE
from kuraban.core.views.explanation import Account, Because

AHEAD = 5 * MINUTE
LOOK = 1 * MINUTE
RECENT = 15 * MINUTE
LEAST = 3
STEP = 1 * MINUTE
"""The shortest step that people are told of."""
HELD = 5 * MINUTE
AGAIN = 6 * HOUR
LARGER = 1.5
"""So many times as large as the one told last a step must be to be told within `AGAIN`."""
LONG_AGO = float("-inf")
NEVER = LONG_AGO, LONG_AGO


class ClockWrong(Detector):
    conditions = ("clock-wrong",)

    def __init__(self, view: HouseView, tell: Tell, subject: str = WATCH) -> None:
        super().__init__(view, tell, subject)
        self.rows: dict[str, int] = {}
        """Where each probe stands in the next two."""
        self.heard, self.ahead = array("d"), array("d")
        """When a probe that sends its time was heard, and how far it was ahead, s; LONG_AGO for
        both where that is long ago."""
        self.thermometers = 0
        self.far = False
        """Whether any of them is far ahead; while none is, there is nothing to count."""
        self.looked = LONG_AGO
        self.told, self.size = LONG_AGO, 0.0
        """When a step was told last, and how large it was, s."""
        self.until = LONG_AGO
        """Until when that is held to be news."""
        self.seen: tuple[str, ...] = ()

    def settle(self) -> None:
        known = {probe: (self.heard[row], self.ahead[row]) for probe, row in self.rows.items()}
        self.rows = {probe: row for row, probe in enumerate(self.view.probe_states)}
        probes = (one.probe for one in self.view.probe_states.values())
        self.thermometers = sum(probe.measures in TEMPERATURES for probe in probes)
        rows = [known.get(probe, NEVER) for probe in self.rows]
        self.heard = array("d", [heard for heard, _ in rows])
        self.ahead = array("d", [ahead for _, ahead in rows])

    def hear(self, row: int, reading: Reading) -> tuple[float, float]:
        """Take the time that was sent with a reading; what was known of the probe before."""
        known, by, received = self.heard, self.ahead, reading.received
        before = known[row], by[row]
        ahead = (reading.at if reading.sent is None else reading.sent) - received
        known[row], by[row] = received, ahead
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
        if len(far) >= LEAST and 2 * len(far) > self.thermometers:
            return sorted(far)[len(far) // 2]
        return 0.0

    def stepped(self, by: float, now: float) -> None:
        """The wall clock went `by` seconds forward just now."""
        if abs(by) < STEP or (now - self.told < AGAIN and abs(by) < LARGER * self.size):
            return
        self.told, self.size = now, abs(by)
        self.until = now + min([HELD, *self.view.house.site.ladder[1:2]])
        shows = datetime.fromtimestamp(now, self.view.house.zone)
        went = datetime.fromtimestamp(shows.timestamp() - by, self.view.house.site.zone)
        form = "%H:%M" if went.date() == shows.date() else "%Y-%m-%d %H:%M"
        self.clear(now)
        self.seen = (f"went={went:{form}}", f"shows={shows:{form}}")

    def look(self, now: float) -> float:
        self.looked = now
        shift = 0.0
        if self.far:
            self._forget(now)
            self.far = max(self.ahead, default=LONG_AGO) > AHEAD
            shift = self.shift()
        news = now < self.until
        self.found(
            "clock-wrong", news or shift > 0, now,
            value=round(shift / MINUTE) if shift else None, evidence=self.seen if news else (),
        )  # fmt: skip
        return min(now + LOOK, self.until) if news else now + LOOK

    def _forget(self, now: float) -> None:
        """What was heard so long before that moment that it says nothing any more."""
        for row, heard in enumerate(self.heard):
            if now - heard >= RECENT:
                self.heard[row] = self.ahead[row] = LONG_AGO

    def explain(self, now: float) -> tuple[Account, ...]:
        heard = zip(self.heard, self.ahead, strict=True)
        far = sum(now - at < RECENT and ahead > AHEAD for at, ahead in heard)
        boards = Because("boards-ahead" if far else "boards-agree", float(far),
                         float(self.thermometers), unit="", wanted=AHEAD)  # fmt: skip
        over = Because("over-clock", until=self.until if now < self.until else None)
        seen = (boards,) if far else ()
        if now < self.until:
            went, shows = (one.partition("=")[2] for one in self.seen)
            seen = (Because("clock-stepped", name=shows, word=went), *seen)
        return (self.account("clock-wrong", seen=seen, lacks=(boards,), ends=(over,)),)
