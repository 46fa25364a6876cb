"""The habit of one cooler or heater, learned from its own record: how what it keeps saws.

A cooler keeps something: its water, its air, or the air of the room or store that it serves. That
swings between the point at which it starts and the point at which it has had enough. Where it
turned before, and at what it kept when it began to run, is its habit; a rest within it is a rest,
however long, and a run that leaves it is a run that does not cool. Nothing is learned from water
that stands in a pipe while every valve is shut: it is the pipe's own.

Degrees are taken the wrong way up, so that more is always worse: of a heater they are negated.
"""

from __future__ import annotations

from typing import NamedTuple, Protocol

import msgspec

from kuraban.core.units import HOUR, MINUTE

KEPT = 12
"""The latest turns, starts and rests that count."""
MARGIN, MARGIN_ONCE = 0.5, 1.5
"""K beyond its habit that are beyond doubt; the same while it was seen but once."""
TWICE = 2
"""Turns and starts from which a habit is more than one day's chance."""
TURN = 0.5
"""K by which it must come back before a turn is a turn."""
FLOW = 10 * MINUTE
"""So long a valve must be open before the pipe shows the water itself (common practice)."""
GAP = 15 * MINUTE
"""After so long without a word nothing is learned across it."""
ANSWERS = 4 * MINUTE
ANSWERED, UNANSWERED_SHARE = 3, 0.1
"""Calls by valve that it must have answered at once, and the share that it may have left."""


class Ran(NamedTuple):
    """How a cooler stands at a moment, as somebody saw it who looks at it each minute."""

    cooler: str
    at: float
    runs: bool | None
    keeps: float | None
    """What it keeps, the wrong way up; None where nothing says."""
    valve: bool | None
    """Whether any valve that it serves is open; None where none is known."""
    pipe: bool
    """Whether it keeps water in a pipe."""


class HabitView(Protocol):
    """The same to whoever only reads it."""

    @property
    def reach(self) -> float | None:
        """Beyond this it never went, the wrong way up; None while nothing is known."""

    @property
    def proven(self) -> bool:
        """It was seen to turn or to start more than once."""

    @property
    def turned(self) -> bool:
        """It was seen to turn back, so that it is known how far a load takes it while it runs."""

    @property
    def start(self) -> float | None:
        """Beyond this it always ran."""

    @property
    def longest_rest(self) -> float | None:
        """s; None before it rested and ran again."""

    @property
    def follows_valves(self) -> bool:
        """It runs as soon as a valve opens, every time."""

    @property
    def never_rested(self) -> bool:
        """It never rested while a valve was open, for an hour of open valves at least."""

    def flows(self, at: float, valve: bool | None, after: float = FLOW) -> bool:
        """Whether what is measured in its pipe is its own water, some valve being open so long."""


class CoolerHabit(msgspec.Struct):
    """What is known of one cooler; `take` alone writes it."""

    tops: list[float] = []
    """Where what it keeps turned back, the latest."""
    starts: list[float] = []
    """What it kept when it began to run, the latest."""
    rests: list[float] = []
    """How long it rested until it ran again by itself, s, the latest."""
    answered: float = 0.0
    unanswered: float = 0.0
    """Calls by a valve after which it ran at once, or did not."""
    ran_called: float = 0.0
    """How long it ran while a valve was open, s."""
    rested_called: bool = False
    """It rested while a valve was open, and ran again by itself."""
    seen: float | None = None
    runs: bool | None = None
    off_since: float | None = None
    valve_since: float | None = None
    """Since when some valve has been open without a break."""
    called: float | None = None
    """The call by valve of which nobody knows yet whether it is answered."""
    extreme: float | None = None
    """The furthest that it went since it turned last, the way it goes now."""
    rising: bool = True

    def take(self, ran: Ran) -> None:
        if self.seen is not None and ran.at - self.seen > GAP:
            self.off_since = self.valve_since = self.called = self.extreme = self.runs = None
        self._valve(ran)
        kept = ran.keeps if not ran.pipe or self.flows(ran.at, ran.valve) else None
        self._runs(ran, kept)
        self._turns(kept)
        self.seen = ran.at

    def flows(self, at: float, valve: bool | None, after: float = FLOW) -> bool:
        if valve is None:
            return True
        return self.valve_since is not None and at - self.valve_since >= after

    @property
    def reach(self) -> float | None:
        top, start = usual(self.tops), usual(self.starts)
        return start if top is None or (start is not None and start > top) else top

    @property
    def proven(self) -> bool:
        return len(self.tops) + len(self.starts) >= TWICE

    @property
    def turned(self) -> bool:
        return bool(self.tops)

    @property
    def start(self) -> float | None:
        return usual(self.starts)

    @property
    def longest_rest(self) -> float | None:
        return max(self.rests) if self.rests else None

    @property
    def follows_valves(self) -> bool:
        answered = self.answered >= ANSWERED
        return answered and self.unanswered <= UNANSWERED_SHARE * self.answered

    @property
    def never_rested(self) -> bool:
        return self.ran_called >= HOUR and not self.rested_called

    def _valve(self, ran: Ran) -> None:
        if not ran.valve:
            self.valve_since = self.called = None
        elif self.valve_since is None:
            self.valve_since = ran.at
            if self.seen is not None and self.runs is False:
                self.called = ran.at

    def _runs(self, ran: Ran, kept: float | None) -> None:
        if ran.runs is None:
            return
        if ran.runs and ran.valve and self.seen is not None:
            self.ran_called += ran.at - self.seen
        if ran.runs and self.off_since is not None:
            opened = ran.at if self.valve_since is None else self.valve_since
            self.rested_called |= ran.at - max(opened, self.off_since) > FLOW
            _keep(self.rests, ran.at - self.off_since)
            if kept is not None:
                _keep(self.starts, kept)
        self.off_since = None if ran.runs else self.off_since or ran.at
        if self.called is not None and (ran.runs or ran.at - self.called > ANSWERS):
            self.answered += ran.runs
            self.unanswered += not ran.runs
            self.called = None
        self.runs = ran.runs

    def _turns(self, kept: float | None) -> None:
        if kept is None:
            self.extreme = None
            self.rising = False
            return
        if self.extreme is None:
            self.extreme = kept
        elif self.rising:
            if kept > self.extreme:
                self.extreme = kept
            elif kept <= self.extreme - TURN:
                _keep(self.tops, self.extreme)
                self.rising, self.extreme = False, kept
        elif kept < self.extreme:
            self.extreme = kept
        elif kept >= self.extreme + TURN:
            self.rising, self.extreme = True, kept


def usual(found: list[float]) -> float | None:
    """The most of what was found, one in six left out as an accident, with its margin."""
    if not found:
        return None
    return sorted(found)[-1 - len(found) // 6] + (MARGIN if len(found) > 1 else MARGIN_ONCE)


def _keep(found: list[float], value: float) -> None:
    found.append(value)
    del found[:-KEPT]


class Habits:
    """The habits of all coolers of a house, and the only one who writes them."""

    def __init__(self) -> None:
        self.known: dict[str, CoolerHabit] = {}

    def keep(self, coolers: set[str]) -> None:
        """Of these alone."""
        for gone in self.known.keys() - coolers:
            del self.known[gone]

    def lay_over(self, kept: dict[str, CoolerHabit]) -> None:
        """What was known before counts, since it was learned for longer."""
        self.known.update(kept)

    def take(self, ran: Ran) -> None:
        habit = self.known.get(ran.cooler)
        if habit is None:
            habit = self.known[ran.cooler] = CoolerHabit()
        habit.take(ran)
