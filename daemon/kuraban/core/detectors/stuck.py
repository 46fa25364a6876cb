"""`stuck`: one value out of all proportion to this probe's own habit.

Its habit is how long it rests on a value: a digital probe in a quiet tank for an hour and more, a
noisy loop of wire never for three readings. It is stuck when it rests two and a half times its
longest rest of the last days, longer than it ever stayed within one step of a value, and so long
that at its usual pace that would happen once in a million readings: half an hour for a restless
probe, hours for a calm one. Within one step: in a calm mash a digital probe flickers between two
values, and then rests on one until the mash has gone by a step, so that the flickering tells how
calm the mash is. While its pace is not known, it is four times its longest rest, and two to three
hours (koji: one). A probe that never moved while it was watched has shown no noise of its own, and
nothing is said of it.

Half way there it is under suspicion: its value counts for nothing until it moves or is told, so
that a product is not told as cold by a value that stands still while the plan goes on. A rest is
what readings show: silence between two of them is none.
"""

from __future__ import annotations

import math

from kuraban.core.detectors.base import ProbeDetector, Tell
from kuraban.core.house_view import HouseView
from kuraban.core.planned_curve import FAR_FUTURE
from kuraban.core.site import TEMPERATURES
from kuraban.core.units import HOUR, MINUTE
from kuraban.core.views.explanation import Account, Because

LOOK = 10 * MINUTE
LEAST = {"koji-bed": 1 * HOUR}
LEAST_SEEN, LEAST_ELSE = 2 * HOUR, 3 * HOUR
"""While its pace is not known: of one that was seen to move a while, and of any other."""
RESTLESS = 30 * MINUTE
"""The least for a probe that is known to be restless."""
TIMES, TIMES_UNKNOWN = 2.5, 4.0
"""Its longest rest so many times over, and the same while its pace is not known."""
CHANCE = math.log(1e6)
"""Of so many readings one may rest as long by chance."""
SUSPECT_SHARE = 0.6
MOST = 2 * HOUR
EVERY_OTHER, ON_CHANGE = 1.5, 0.8
"""Usual rests in intervals: of one that moves at every other reading, and of one that speaks
sooner than its interval, whenever its value changes."""
LEAST_STAYS = 0.08
"""How often two readings are alike at least."""
MOVES_SEEN, MOVES_NOISY, MOVES_KNOWN = 10, 15, 30
"""Moves from which anything is told, and from which its pace is known: that of a noisy one soon,
that of a digital one, which flickers between two steps and then rests on one, later."""
ONE_STEP = 1.01
FORGETS = 0.02
"""Share of each new rest in the usual one."""


class Stuck(ProbeDetector):
    __slots__ = (
        "alike", "calm", "calm_since", "high", "last", "longest", "low", "moves", "seen", "since",
        "step", "usual", "value",
    )  # fmt: skip

    conditions = ("stuck",)
    reasons = ("stuck", "still")

    def __init__(self, view: HouseView, tell: Tell, subject: str) -> None:
        super().__init__(view, tell, subject)
        self.longest = self.usual = 0.0
        """Its longest rest and its usual one, s."""
        self.calm = 0.0
        """How long it ever stayed within one step, s."""
        self.calm_since: float | None = None
        """Since when it stays within the step from `low` to `high`."""
        self.low = self.high = 0.0
        self.step = math.inf
        """The least by which it moved."""
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
        told, every = view.stands(self.subject, "stuck"), probe_state.probe.every
        last = self.last
        for at, value in zip(*probe_state.series.since(self.seen), strict=True):
            if value != self.value:
                self._note(at, value, told, every)
            elif at > last:
                self.alike += 1
            last = at
        self.last = last
        self.seen = max(self.seen, self.last)  # a board's clock may lag behind the last look
        rest = self._shown(now)
        longest = self._allowed()
        self._say(self.moves >= MOVES_SEEN and rest > longest, now)
        self._doubt(rest > SUSPECT_SHARE * longest, now)
        if self.view.stands(self.subject, "stuck") or self.moves < MOVES_SEEN:
            return now + LOOK
        next_to = longest if rest > SUSPECT_SHARE * longest else SUSPECT_SHARE * longest
        return now + max(MINUTE, min(next_to - rest, MOST))

    def _rest(self, until: float, every: float) -> float:
        """s for which readings showed the same value, silence left out."""
        if self.since is None:
            return 0.0
        rest, shown = until - self.since, (self.alike + 1) * every
        return shown if shown < rest else rest

    def _shown(self, now: float) -> float:
        """The same now; of one that speaks on change, up to its last word: it may have died."""
        every = self.view.probe_states[self.subject].probe.every
        return self._rest(self.last if self._on_change() else now, every)

    def _on_change(self) -> bool:
        return self.usual < ON_CHANGE * self.view.probe_states[self.subject].probe.every

    def _allowed(self) -> float:
        """s that it may rest, by its kind while its pace is not known, then by its pace."""
        probe = self.view.probe_states[self.subject].probe
        every = probe.every
        on_change = self._on_change()
        noisy = not on_change and self.usual <= EVERY_OTHER * every
        if self.moves < (MOVES_NOISY if noisy else MOVES_KNOWN):
            place = self.view.house.place.get(probe.of)
            least = LEAST_SEEN if self.moves >= MOVES_NOISY else LEAST_ELSE
            least = LEAST.get(place.kind, least) if place is not None else least
            return max(least, TIMES_UNKNOWN * self.longest)
        if on_change:
            by_chance = CHANCE * self.usual
        else:
            by_chance = CHANCE / -math.log(max(1.0 - every / self.usual, LEAST_STAYS)) * every
        return max(RESTLESS, by_chance, TIMES * self.longest, self._calm())

    def _calm(self) -> float:
        """s for which it stayed within one step, up to its present rest."""
        if self.since is None or self.calm_since is None:
            return self.calm
        return max(self.calm, self.since - self.calm_since)

    def _doubt(self, holds: bool, now: float) -> None:
        """Half way there its value counts for nothing, where its pace is known."""
        known = self.moves >= MOVES_NOISY and not self.view.stands(self.subject, "stuck")
        self.against("still", holds and known, now)

    def _note(self, at: float, value: float, told: bool, every: float) -> None:
        """It moved; nothing is learned while it is told as stuck."""
        if self.since is not None and not told:
            rest, moves = self._rest(at, every), self.moves + 1
            share = 1.0 / moves if moves * FORGETS < 1.0 else FORGETS
            self.usual += share * (rest - self.usual)
            longest = self.longest * (1.0 - FORGETS / 20)
            self.longest = rest if rest > longest else longest
            self.moves = moves
        self._steps(at, value, told)
        self.value, self.since, self.alike = value, at, 0

    def _steps(self, at: float, value: float, told: bool) -> None:
        """Whether it is still within one step of where it was, and for how long it was."""
        was, since = self.value, self.since
        if was is None or since is None or self.calm_since is None:
            self.low = self.high = value
            self.calm_since = at
            return
        low, high = (was, value) if was < value else (value, was)
        if high - low < self.step:
            self.step = high - low
        within = ONE_STEP * self.step
        least = low if low < self.low else self.low
        most = high if high > self.high else self.high
        if most - least <= within:
            self.low, self.high = least, most
            return
        if not told:
            self.calm = max(self.calm * (1.0 - FORGETS / 2), at - self.calm_since)
        self.low, self.high, self.calm_since = low, high, since
        if high - low > within:
            self.low = self.high = value
            self.calm_since = at

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
        rest, allowed, why = self._shown(now), self._allowed(), None
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
