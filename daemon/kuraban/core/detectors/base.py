"""What a detector is, and everything that it can conclude.

A detector looks when something it listens to changed and when the time comes that it asked for. It
reads the house through a view in which it can write nothing, keeps what it must remember in itself,
and tells what it concludes through one channel; each conclusion has one owner who acts on it at
once (`kuraban.core.engine.conclusions`). It neither raises nor clears an alarm, and it never learns
what time it is but by the argument.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

from kuraban.core.course import FAR_FUTURE
from kuraban.core.equipment.cooler_habit import Ran
from kuraban.core.equipment.cooler_view import CoolerView
from kuraban.core.house_view import HouseView
from kuraban.core.probes.belief import BeliefWord, Cleared, Suspected
from kuraban.core.probes.probe_view import Reason


class Finding(NamedTuple):
    """Whether a condition of a subject holds. `at` is when that came to be decided."""

    subject: str
    condition: str
    holds: bool
    at: float
    value: float | None = None
    planned: float | None = None
    since: float | None = None
    """When the subject truly left what is right, before any delay."""
    evidence: tuple[str, ...] = ()
    worse: float | None = None
    """How far beyond what is right, in the subject's unit; grows as it gets worse."""


class Remark(NamedTuple):
    """Something worth a notice that is no alarm; `value` is in the subject's unit."""

    subject: str
    what: str
    value: float
    at: float


class Disturbed(NamedTuple):
    """Work that nobody logged disturbs a product over [start, end), and masks it as if logged."""

    place: str
    why: str
    start: float
    end: float


class Dusk(NamedTuple):
    """Whether so many probes fell silent together that each alone means nothing yet."""

    falls: bool


Conclusion = Finding | Remark | Disturbed | Dusk | Ran | BeliefWord
Tell = Callable[[Conclusion], None]


class Detector:
    """Parent of every detector. `look` answers when it wants to look again."""

    __slots__ = ("due", "subject", "tell", "view")

    conditions: tuple[str, ...] = ()

    def __init__(self, view: HouseView, tell: Tell, subject: str) -> None:
        self.view = view
        self.tell = tell
        self.subject = subject
        self.due = FAR_FUTURE

    def settle(self) -> None:
        """Take hold of what it looks at in this house, new or changed."""

    def look(self, now: float) -> float:
        raise AssertionError(f"{type(self).__name__} does not look")

    def listens(self) -> tuple[str, ...]:
        """Probes whose every current reading makes it look."""
        return ()

    def found(
        self,
        condition: str,
        holds: bool,
        at: float,
        *,
        value: float | None = None,
        planned: float | None = None,
        since: float | None = None,
        evidence: tuple[str, ...] = (),
        worse: float | None = None,
    ) -> None:
        """Tell a finding; nothing is told twice while it stays the same, but for getting worse."""
        if not holds and (self.subject, condition) not in self.view.standing:
            return
        self.tell(
            Finding(self.subject, condition, holds, at, value, planned, since, evidence, worse)
        )

    def clear(self, at: float) -> None:
        """None of its conditions holds any more."""
        if self.view.standing:
            for condition in self.conditions:
                self.found(condition, False, at)

    def leave(self, at: float) -> None:
        """The house has no such subject any more: nothing that it concluded holds."""
        self.clear(at)


class ProbeDetector(Detector):
    """Parent of those that say whether a probe is a measure."""

    __slots__ = ()

    reasons: tuple[Reason, ...] = ()
    """What it may hold against a probe."""

    def against(self, why: Reason, holds: bool, at: float) -> None:
        """Tell whether `why` speaks against the probe; nothing is told while it stays the same."""
        if holds != (why in self.view.probe_states[self.subject].suspect):
            self.tell((Suspected if holds else Cleared)(self.subject, why, at))

    def leave(self, at: float) -> None:
        super().leave(at)
        for why in self.reasons:
            self.tell(Cleared(self.subject, why, at))


class CoolerDetector(Detector):
    """Parent of those that look at a cooler or heater."""

    __slots__ = ("cooler",)

    def __init__(self, view: HouseView, tell: Tell, subject: str) -> None:
        super().__init__(view, tell, subject)
        self.cooler = CoolerView(view, subject)

    def settle(self) -> None:
        self.cooler = CoolerView(self.view, self.subject)
