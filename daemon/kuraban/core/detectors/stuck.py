"""`stuck`: one value for far longer than this probe's own noise ever left it unmoved.

A quantised probe in a quiet tank may rest on one step for an hour. It is stuck when it rests four
times longer than its longest rest so far and at least three hours (koji: one). A probe that never
moved while it was watched has shown no noise of its own, and nothing is said of it.
"""

from __future__ import annotations

from kuraban.core.course import FAR_FUTURE
from kuraban.core.detectors.base import ProbeDetector, Tell
from kuraban.core.house_view import HouseView
from kuraban.core.site import TEMPERATURES
from kuraban.core.units import HOUR, MINUTE

LOOK = 10 * MINUTE
LEAST = {"koji-bed": 1 * HOUR}
LEAST_ELSE = 3 * HOUR
TIMES = 4.0
MOST = 2 * HOUR
MOVES_SEEN = 10


class Stuck(ProbeDetector):
    __slots__ = ("longest", "moves", "seen", "since", "value")

    conditions = ("stuck",)
    reasons = ("stuck",)

    def __init__(self, view: HouseView, tell: Tell, subject: str) -> None:
        super().__init__(view, tell, subject)
        self.longest = 0.0
        self.moves = 0
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
            return now + LOOK
        for at, value in zip(*probe_state.series.since(self.seen), strict=True):
            if value != self.value:
                self._note(at, value)
        self.seen = now
        rest = 0.0 if self.since is None else now - self.since
        place = view.house.place.get(probe_state.probe.of)
        least = LEAST.get(place.kind, LEAST_ELSE) if place is not None else LEAST_ELSE
        longest = max(least, TIMES * self.longest)
        self._say(self.moves >= MOVES_SEEN and rest > longest, now)
        if self.view.stands(self.subject, "stuck") or self.moves < MOVES_SEEN:
            return now + LOOK
        return now + max(LOOK, min(longest - rest, MOST))

    def _note(self, at: float, value: float) -> None:
        if self.since is not None and not self.view.stands(self.subject, "stuck"):
            self.longest = max(self.longest, at - self.since)
            self.moves += 1
        self.value, self.since = value, at

    def _say(self, holds: bool, now: float) -> None:
        if holds != ("stuck" in self.view.probe_states[self.subject].suspect):
            self.against("stuck", holds, now)
            self.found("stuck", holds, now, value=self.value, since=self.since)
