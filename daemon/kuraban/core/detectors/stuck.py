"""`stuck`: one value out of all proportion to this probe's own habit.

Its habit is how long it rests on a value: a digital probe in a quiet tank for an hour and more, a
noisy loop of wire never for three readings. It is stuck when it rests four times longer than its
longest rest of the last days (two and a half times, if it never rests), and so long that at its
usual pace that would happen once in a million readings: half an hour for a restless probe, hours
for a calm one. While its pace is not known, it is four times its longest rest, and three hours
(koji: one). A probe that never moved while it was watched has shown no noise of its own, and
nothing is said of it.

Half way there it is under suspicion: its value counts for nothing until it moves or is told, so
that a product is not told as cold by a value that stands still while the plan goes on. A rest is
what readings show: silence between two of them is none.
"""

from __future__ import annotations

import math

from kuraban.core.course import FAR_FUTURE
from kuraban.core.detectors.base import ProbeDetector, Tell
from kuraban.core.house_view import HouseView
from kuraban.core.site import TEMPERATURES
from kuraban.core.units import HOUR, MINUTE
from kuraban.core.views.explanation import Account, Because

LOOK = 10 * MINUTE
LEAST = {"koji-bed": 1 * HOUR}
LEAST_ELSE = 3 * HOUR
RESTLESS = 30 * MINUTE
"""The least for a probe that is known to be restless."""
TIMES, TIMES_NOISY = 4.0, 2.5
"""Its longest rest so many times over, and the same of one that changes at every other reading."""
CHANCE = math.log(1e6)
"""Of so many readings one may rest as long by chance."""
SUSPECT_SHARE = 0.6
MOST = 2 * HOUR
EVERY_OTHER = 1.5
LEAST_STAYS = 0.08
"""How often two readings are alike at least."""
MOVES_SEEN, MOVES_NOISY, MOVES_KNOWN = 10, 15, 60
"""Moves from which anything is told, and from which its pace is known: that of a noisy one soon,
that of a digital one, which flickers between two steps and then rests on one, later."""
FORGETS = 0.02
"""Share of each new rest in the usual one."""


class Stuck(ProbeDetector):
    __slots__ = ("alike", "last", "longest", "moves", "seen", "since", "usual", "value")

    conditions = ("stuck",)
    reasons = ("stuck", "still")

    def __init__(self, view: HouseView, tell: Tell, subject: str) -> None:
        super().__init__(view, tell, subject)
        self.longest = self.usual = 0.0
        """Its longest rest and its usual one, s."""
        self.moves = 0
        self.alike = 0
        """Readings since then that said the same."""
        self.last = 0.0
        self.since: float | None = None
        self.value: float | None = None
        self.seen = 0.0

    def look(self, now: float) -> float:
        view = self.view
        probe_state = view.probe_states[self.subject]
        if probe_state.probe.measures not in TEMPERATURES:
            return FAR_FUTURE
        if not view.probe_judged(self.subject, now) or not probe_state.fresh(now):
            self.since = self.value = None
            self.seen = now
            self._say(False, now)
            self.against("still", False, now)
            return now + LOOK
        for at, value in zip(*probe_state.series.since(self.seen), strict=True):
            if value != self.value:
                self._note(at, value)
            elif at > self.last:
                self.alike += 1
            self.last = at
        self.seen = now
        rest = self._rest(now)
        longest = self._allowed()
        self._say(self.moves >= MOVES_SEEN and rest > longest, now)
        self._doubt(rest > SUSPECT_SHARE * longest, now)
        if self.view.stands(self.subject, "stuck") or self.moves < MOVES_SEEN:
            return now + LOOK
        next_to = longest if rest > SUSPECT_SHARE * longest else SUSPECT_SHARE * longest
        return now + max(MINUTE, min(next_to - rest, MOST))

    def _rest(self, until: float) -> float:
        """s for which readings showed the same value, silence left out."""
        if self.since is None:
            return 0.0
        every = self.view.probe_states[self.subject].probe.every
        return min(until - self.since, (self.alike + 1) * every)

    def _allowed(self) -> float:
        """s that it may rest, by its kind while its pace is not known, then by its pace."""
        probe = self.view.probe_states[self.subject].probe
        place = self.view.house.place.get(probe.of)
        least = LEAST.get(place.kind, LEAST_ELSE) if place is not None else LEAST_ELSE
        every_other = self.usual <= EVERY_OTHER * probe.every
        if self.moves < (MOVES_NOISY if every_other else MOVES_KNOWN):
            return max(least, TIMES * self.longest)
        stays = max(1.0 - probe.every / self.usual, LEAST_STAYS) if self.usual else LEAST_STAYS
        by_chance = CHANCE / -math.log(stays) * probe.every
        times = TIMES_NOISY if every_other else TIMES
        return max(RESTLESS, by_chance, times * self.longest)

    def _doubt(self, holds: bool, now: float) -> None:
        """Half way there its value counts for nothing, where its pace is known."""
        known = self.moves >= MOVES_NOISY and not self.view.stands(self.subject, "stuck")
        self.against("still", holds and known, now)

    def _note(self, at: float, value: float) -> None:
        if self.since is not None and not self.view.stands(self.subject, "stuck"):
            rest = self._rest(at)
            share = max(1.0 / (self.moves + 1), FORGETS)
            self.usual += share * (rest - self.usual)
            self.longest = max(self.longest * (1.0 - FORGETS / 20), rest)
            self.moves += 1
        self.value, self.since, self.alike = value, at, 0

    def _say(self, holds: bool, now: float) -> None:
        if holds != ("stuck" in self.view.probe_states[self.subject].suspect):
            self.against("stuck", holds, now)
            self.found("stuck", holds, now, value=self.value, since=self.since)

    def explain(self, now: float) -> tuple[Account, ...]:
        known = self.view.probe_states[self.subject]
        if known.probe.measures not in TEMPERATURES:
            return ()
        if not self.view.probe_judged(self.subject, now):
            return ()
        rest, allowed, why = self._rest(now), self._allowed(), None
        still = Because("still-for", self.value, lasted=rest, wanted=allowed)
        if not known.fresh(now):
            why = Because("no-value", since=known.heard)
        elif self.moves < MOVES_SEEN:
            why = Because("moves-few", self.moves, MOVES_SEEN, "")
        elif rest <= allowed:
            why = still
        usual = Because("rest-usual", lasted=self.usual, wanted=self.longest)
        seen = (usual,) if why is not None else (still, usual)
        return (self.account("stuck", seen=seen, lacks=(why,), ends=(Because("over-moves"),)),)
