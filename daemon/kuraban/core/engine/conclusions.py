"""What becomes of a conclusion: one door, and behind it one owner for each kind.

It is acted on at once, so whoever concluded it reads in the same look what came of it.
"""

from __future__ import annotations

from typing import Protocol, assert_never

from kuraban.core.detectors.base import Conclusion, Disturbed, Dusk, Finding, Remark
from kuraban.core.equipment.cooler_habit import Ran
from kuraban.core.house_state import HouseState
from kuraban.core.plan.subject_state import Mask
from kuraban.core.probes.belief import Belief, Cleared, Lapsed, Suspected, Understood


class Alarms(Protocol):
    """Who makes alarms of findings."""

    def take(self, finding: Finding) -> None: ...


class Crew(Protocol):
    """Who tells people what is no alarm."""

    def remark(self, subject: str, what: str, value: float, at: float) -> None: ...


class Conclusions:
    """`left_out` are conditions whose findings reach nobody, for a night played otherwise."""

    def __init__(
        self,
        state: HouseState,
        belief: Belief,
        alarms: Alarms,
        crew: Crew,
        left_out: frozenset[str] = frozenset(),
    ) -> None:
        self._state, self._belief, self._alarms, self._crew = state, belief, alarms, crew
        self._left_out = left_out

    def take(self, conclusion: Conclusion) -> None:
        match conclusion:
            case Ran():
                self._state.habits.take(conclusion)
            case Finding():
                self._found(conclusion)
            case Remark(subject, what, value, at):
                self._crew.remark(subject, what, value, at)
            case Suspected() | Cleared() | Understood() | Lapsed():
                self._belief.take(conclusion)
            case Disturbed(place, why, start, end):
                self._state.entry_log.disturb(place, Mask(why, start, end))
            case Dusk(falls):
                self._state.dusk = falls
            case _:
                assert_never(conclusion)

    def _found(self, finding: Finding) -> None:
        """It holds, or holds no more, before anybody hears of it."""
        if finding.condition in self._left_out:
            return
        key = finding.subject, finding.condition
        (self._state.standing.add if finding.holds else self._state.standing.discard)(key)
        self._alarms.take(finding)
