"""Senders' own times, brought to the watch's time (`kuraban.core.timescale`).

A sender's clock counts as the wall clock does: what it sends is brought over by how far the wall
clock is ahead. When our wall clock steps, some senders' clocks step with it, since they take their
time from the same machine, and others do not, since theirs was right all along or still is. Which
it was shows with the next reading of each: one that comes as it is measured is a few minutes old at
most. So a sender that has not been heard since a step is also tried by what was in force before,
and whoever fits that stays with it until it fits no more. What fits nothing is late, or ahead, by
what the sender was found to go by, else by what is in force. What is sent at once goes by one
clock, that of the newest, be it just an hour older.

After a start, or a while without the broker, nobody has been heard lately, and what waited at the
broker is as old as that. An hour's wait would look like a clock an hour off. So each state of the
wall clock, the one in force first, is asked for both: a reading of now, or one that can have been
measured while nobody listened. What can have waited tells nothing of its sender, and neither does a
reading of now that by another state can have waited. What waited was measured before a step that
came after it: by that state nothing waited. If the clock stepped while nobody listened, the state
of when somebody last did is asked first, since few senders' clocks went along. But not if the clock
is by now as it was before that: then it was the wall clock that had been wrong, and who did not go
along goes by what is in force now.
"""

from __future__ import annotations

from collections import deque

from kuraban.core.units import AHEAD

KEPT = 8
"""Earlier states of the wall clock that are tried."""


class SenderTimes:
    """What each sender's clock goes by; `late_after` is how old a current reading may be, s."""

    def __init__(self, late_after: float) -> None:
        self._late_after = late_after
        self._ahead = 0.0
        self._earlier: tuple[float, ...] = ()
        """How far the wall clock was ahead before, the latest first."""
        self._found: dict[str, float] = {}
        self._at_once: tuple[str, float, float] | None = None
        """Of what is sent at once: by whom, when it came, and what its newest goes by."""
        self._began = self._waited = float("-inf")
        self._steps: deque[tuple[float, float]] = deque(maxlen=KEPT)
        """When the wall clock stepped, and how far it was ahead until then."""
        self._then: tuple[float, ...] = ()
        """The states by which something can have waited."""

    @property
    def plain(self) -> bool:
        """Whether the wall clock and the watch's time have always been one."""
        return not self._earlier

    def stepped(self, ahead: float, at: float) -> None:
        """The wall clock is `ahead` of the watch's time from `at` on."""
        before = self._ahead
        earlier = (one for one in (before, *self._earlier) if one != ahead)
        self._earlier = tuple(dict.fromkeys(earlier))[:KEPT]
        self._found = {who: by for who, by in self._found.items() if by != before}
        self._ahead = ahead
        self._steps.append((at, before))

    def back(self, since: float, now: float) -> None:
        """Nobody listened between these two moments of the watch's time, and messages waited.

        If somebody only began to listen when nobody could again, all of it is one.
        """
        self._waited = min(self._waited, since) if since <= self._began else since
        self._began, self._then = now, (self._ahead, *self._earlier)
        then = next((before for at, before in self._steps if at >= self._waited), self._ahead)
        if self._ahead not in [before for at, before in self._steps if at < self._waited]:
            self._then = then, *(one for one in self._then if one != then)

    def newest(self, sender: str, told: float, received: float) -> None:
        """What follows is older, and sent at once with that."""
        self._at_once = None
        self._at_once = sender, received, told - self.moment(sender, told, received)

    def moment(self, sender: str, told: float, received: float) -> float:
        """The watch's time of what a sender told at `received`."""
        if self._at_once is not None and self._at_once[:2] == (sender, received):
            return told - self._at_once[2]
        found, known = self._found.get(sender), self._known(received)
        if found is None:
            tried = self._states(known, received)
        elif told - found > received + AHEAD:  # it cannot go by that any more
            tried = found, *known
        else:
            tried = found, known[0]
        for ahead in tried:
            at = told - ahead
            if received - self._late_after <= at <= received + AHEAD:
                if not any(self._may_have_waited(told, one, received) for one in tried):
                    self._found[sender] = ahead
                return at
            if self._may_have_waited(told, ahead, received):
                return at
        return told - tried[0]

    def _known(self, received: float) -> tuple[float, ...]:
        """The states until then, the latest first: what came just before a step may be read after
        it."""
        after = [before for at, before in self._steps if at > received]
        if not after:
            return self._ahead, *self._earlier
        until = [before for at, before in self._steps if at <= received]
        return tuple(dict.fromkeys((after[0], *reversed(until))))

    def _states(self, known: tuple[float, ...], received: float) -> tuple[float, ...]:
        """All that may be, the likeliest first."""
        if received - self._began >= self._late_after:
            return known
        return *(one for one in known if one not in self._then), *self._then

    def _may_have_waited(self, told: float, ahead: float, received: float) -> bool:
        """Whether by that state it is older than a reading of now, and nobody listened then."""
        if ahead not in self._then or received - self._began >= self._late_after:
            return False
        return self._waited - self._late_after <= told - ahead < received - self._late_after
