"""How long something has been beyond a limit: the on-delay and off-delay of the standard.

An on-delay starts anew at every short return, so a saw-tooth that grazes the limit would hide a
true exit for ever. Here the time outside is spent and the time inside given back at the same pace:
a value that is outside most of the time gets there, one that is inside most of the time does not,
and one that stays outside gets there exactly at the delay.
"""

from __future__ import annotations

from kuraban.core.units import HOUR
from kuraban.core.views.explanation import Because, Delay, How

ABOUT = 1 * HOUR
"""Readings so long before an exit, and half as long after it, tell when it was; of a shorter delay,
as long as that: so that the exit is the same whatever the delay."""


class TimeOutside:
    """Time beyond one limit on one side."""

    __slots__ = ("holds", "how", "inside_since", "last", "looked", "out", "since", "spent")

    def __init__(self) -> None:
        self.reset()

    def reset(self) -> None:
        self.spent = 0.0
        self.last: float | None = None
        self.out = False
        self.since: float | None = None
        """When this exit began."""
        self.how: How = "seen"
        self.inside_since: float | None = None
        """Since when it has been inside by the deadband."""
        self.holds = False
        self.looked = False
        """Whether the readings about this exit have been asked when it truly was."""

    def note(self, at: float, out: bool, inside: bool, delay: float) -> None:
        """Take a value in: `out` beyond the limit, `inside` within it by the deadband."""
        last = self.last
        if inside and not (out or self.out or self.spent) and self.inside_since is not None:
            self.last = at if last is None or at > last else last
            return
        if last is not None and at > last:
            spent = self.spent + (at - last if self.out else last - at)
            self.spent = min(max(spent, 0.0), delay)
        if last is None or at >= last:
            self.last = at
        if out and not self.out and (self.since is None or self.spent == 0.0):
            self.since, self.looked, self.how = at, False, "seen"
        self.out = out
        if not inside:
            self.inside_since = None
        elif self.inside_since is None:
            self.inside_since = at

    def credit(self, since: float, at: float, delay: float) -> None:
        """The record shows that it has been outside from `since` on."""
        if self.since is None or since < self.since:
            self.how = "record"
        self.since = min(since, at if self.since is None else self.since)
        self.spent = min(max(self.spent, at - since), delay)

    def to_look_back(self, delay: float) -> bool:
        """Half the delay is spent, half an hour at most, and nobody has looked yet when this exit
        truly was."""
        spent = self.spent >= min(delay, ABOUT) / 2
        return self.out and not self.looked and not self.holds and spent

    def reaches(self, delay: float) -> float | None:
        """When the delay will be spent if it stays outside; None while inside."""
        if not self.out or self.last is None:
            return None
        return self.last + max(delay - self.spent, 0.0)

    def told(self, delay: float, now: float) -> Delay | None:
        """What is spent of the delay, for whoever asks; None while nothing is."""
        if self.rests:
            return None
        more = now - self.last if self.out and self.last is not None else 0.0
        spent = delay if self.holds else min(self.spent + max(more, 0.0), delay)
        return Delay(self.since, self.how, spent, delay, self.reaches(delay))

    def lacks(
        self, delay: float, must: Because, now: float, quiet: float = 0.0
    ) -> tuple[Because, ...]:
        """What it takes to hold: that the value moves as it `must`, or that the delay runs out; and
        the end of what keeps it quiet. Empty where all of that is so."""
        reached = self.reaches(delay)
        if reached is None:
            return (must,)
        runs = Because("runs-out", until=reached, lasted=delay - (reached - now), wanted=delay)
        held = Because("held", until=quiet)
        return (*((runs,) if reached > now else ()), *((held,) if quiet > now else ()))

    def returned(self, off_delay: float) -> bool:
        """Whether the values themselves show it inside for the off-delay."""
        if self.inside_since is None or self.last is None:
            return False
        return self.last - self.inside_since >= off_delay

    @property
    def rests(self) -> bool:
        """Inside, with no time outside left to give back."""
        return not (self.out or self.holds or self.spent)

    def fall_back(self) -> None:
        """The alarm is over: the next one needs its whole delay again."""
        self.spent, self.since, self.holds = 0.0, None, False
