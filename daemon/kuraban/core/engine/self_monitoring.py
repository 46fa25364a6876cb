"""The watch is itself one of the things that can fail: its parts, and the watch as a whole.

What comes and goes rings once: a part must fail for a while before it is told, and be well for a
while before that is over. Where nobody watched, silence means nothing until the probes have had
time to be heard again; then one message says what runs and what moved.
"""

from __future__ import annotations

from kuraban.core.deadlines import Deadlines, PartFailing, PartMended, WatchBack
from kuraban.core.detectors.base import Finding, Tell
from kuraban.core.facts import Impaired, Part
from kuraban.core.house_state import HouseState
from kuraban.core.house_view import HouseView
from kuraban.core.notify import reports
from kuraban.core.notify.notices import Notices
from kuraban.core.planned_curve import FAR_FUTURE
from kuraban.core.site import WATCH
from kuraban.core.units import MINUTE
from kuraban.core.views.explanation import Account, Because, Delay, evidence

PARTS: dict[Part, str] = {
    "broker": "broker-lost",
    "journal": "journal-failing",
    "pages": "pages-failing",
    "history": "history-behind",
    "intake": "behind",
}
HELD_FOR: dict[Part, float] = {"broker": 2 * MINUTE, "intake": 20.0}
"""So long a part must fail before it is told."""
WELL_FOR: dict[Part, float] = {"broker": 2 * MINUTE, "pages": 5 * MINUTE, "intake": 2 * MINUTE}
"""So long a part must be well again before it is over."""
BACK_FOR = 5 * MINUTE
"""So long after the watch is back its probes have time to be heard, and then it is told."""


class SelfMonitoring:
    def __init__(
        self,
        state: HouseState,
        view: HouseView,
        tell: Tell,
        notices: Notices,
        deadlines: Deadlines,
    ) -> None:
        self._state, self._view, self._tell = state, view, tell
        self._notices, self._deadlines = notices, deadlines
        self.impaired: dict[str, float] = {}
        """Parts of the watch that fail, by condition, and since when."""
        self.evidence: dict[str, tuple[str, ...]] = {}
        """What the part `intake` said of itself, by condition."""
        self.well_since: dict[str, float] = {}
        """When each part was mended last, and when somebody watched again."""
        self.failed_since: dict[str, float] = {}
        """Since when it had failed then."""
        self.away_since: float | None = None

    def take(self, fact: Impaired, now: float) -> None:
        """A part fails, or is well again."""
        if fact.part == "watch":
            self._away(fact.holds, now)
            return
        condition = PARTS[fact.part]
        if not fact.holds:
            self.failed_since[condition] = self.impaired.get(condition, now)
            self.impaired = {c: at for c, at in self.impaired.items() if c != condition}
            self.well_since[condition] = now
            well = now + WELL_FOR.get(fact.part, 0.0)
            self._deadlines.add(well, PartMended(condition, now))
        elif condition not in self.impaired:
            self.impaired = {**self.impaired, condition: now}
            self.evidence[condition] = tuple(fact.reason.split() * (fact.part == "intake"))
            held = HELD_FOR.get(fact.part, 0.0)
            self._deadlines.add(now + held, PartFailing(condition, now))

    def tell(self, now: float, condition: str, since: float) -> None:
        """It has failed for long enough, if it still fails."""
        if self.impaired.get(condition) == since:
            evidence = self.evidence.get(condition, ())
            self._tell(Finding(WATCH, condition, True, now, since=since, evidence=evidence))

    def mend(self, now: float, condition: str, since: float) -> None:
        """It has been well for long enough, if it still is."""
        if condition not in self.impaired and self.well_since.get(condition) == since:
            self._tell(Finding(WATCH, condition, False, now))

    def _away(self, gone: bool, now: float) -> None:
        """Nobody watched from the one fact to the other."""
        if gone:
            since = now if self.away_since is None else self.away_since
            self.away_since, self._state.blind = since, FAR_FUTURE
        elif self.away_since is not None:
            self._state.blind = now + BACK_FOR
            self._deadlines.add(self._state.blind, WatchBack(self.away_since, now))
            self.failed_since[WATCH], self.well_since[WATCH] = self.away_since, now
            self.away_since = None
            self._deadlines.resume(now)

    def back(self, now: float, since: float, until: float) -> None:
        if reports.anything_judged(self._view, now):
            self._notices.back_again(since, until, now)

    def explain(self, now: float) -> tuple[Account, ...]:
        """Each part as it is judged at `now`; nothing is written."""
        return tuple(self._account(part, condition, now) for part, condition in PARTS.items())

    def _account(self, part: Part, condition: str, now: float) -> Account:
        stands = self._view.stands(WATCH, condition)
        since, held = self.impaired.get(condition), HELD_FOR.get(part, 0.0)
        well = self.well_since.get(condition) if since is None else None
        over = Because("over-well", since=well, wanted=WELL_FOR.get(part))
        ends = (over,) if stands else ()
        if since is None:
            return Account(condition, stands, lacks=(Because("part-works"),), ends=ends)
        return Account(
            condition, stands,
            seen=(Because("part-fails", since=since), *evidence(self.evidence.get(condition, ()))),
            lacks=(Because("runs-out", until=since + held, lasted=now - since, wanted=held),),
            ends=ends, delay=Delay(since, "seen", min(now - since, held), held, since + held),
        )  # fmt: skip
