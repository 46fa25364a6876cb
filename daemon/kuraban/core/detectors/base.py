"""What a detector is, and everything that it can conclude.

A detector looks when something it listens to changed and when the time comes that it asked for. It
reads the house through a view in which it can write nothing, keeps what it must remember in itself,
and tells what it concludes through one channel; each conclusion has one owner who acts on it at
once (`kuraban.core.engine.conclusions`). It neither raises nor clears an alarm, and it never learns
what time it is but by the argument.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple

from kuraban.core.detectors.time_outside import TimeOutside
from kuraban.core.equipment.cooler_habit import Ran
from kuraban.core.equipment.cooler_view import CoolerView
from kuraban.core.house_view import HouseView
from kuraban.core.planned_curve import FAR_FUTURE
from kuraban.core.probes.belief import BeliefWord, Cleared, Suspected
from kuraban.core.probes.probe_view import Reason
from kuraban.core.views.explanation import Account, Because, Delay, Unit


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


class Rule(NamedTuple):
    """Beyond `edge` for `delay` seconds it holds, within `back` for `off` seconds it is over."""

    upward: bool
    edge: float
    back: float
    delay: float
    off: float
    unit: Unit = "°C"


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

    def explain(self, now: float) -> tuple[Account, ...]:
        """Each of its conditions as it sees it at `now`, by what it judges by; nothing is written.

        To be asked once every look up to `now` is done.
        """
        return tuple(self.account(name) for name in self.conditions)

    def account(
        self,
        condition: str,
        *,
        seen: tuple[Because, ...] = (),
        lacks: tuple[Because | None, ...] = (),
        ends: tuple[Because | None, ...] = (),
        delay: Delay | None = None,
    ) -> Account:
        """`lacks` is what the judgement finds lacking; where that is nothing and the condition does
        not stand, the next look decides. None among them is left out."""
        stands = self.view.stands(self.subject, condition)
        lacking = tuple(one for one in lacks if one is not None)
        if not (stands or lacking):
            lacking = (Because("next-look", until=None if self.due >= FAR_FUTURE else self.due),)
        over = tuple(one for one in ends if one is not None) if stands else ()
        runs = next((one for one in lacking if one.key == "runs-out"), None)
        if delay is None and runs is not None and runs.until and runs.lasted and runs.wanted:
            since = runs.until - runs.wanted
            delay = Delay(since, "seen", runs.lasted, runs.wanted, runs.until)
        return Account(condition, stands, seen, lacking, over, delay)

    def by_clock(
        self, condition: str, clock: TimeOutside, rule: Rule, value: float | None, now: float,
        quiet: float = 0.0,
    ) -> Account:  # fmt: skip
        """A condition that holds once a value has been beyond an edge for a delay."""
        must = Because(
            "must-rise" if rule.upward else "must-fall", value, rule.edge, rule.unit,
            wanted=rule.delay,
        )  # fmt: skip
        lacks = clock.lacks(rule.delay, must, now, quiet)
        if value is None:
            lacks = (Because("no-value", since=clock.last), *lacks)
        over = Because(
            "over-below" if rule.upward else "over-above", value, rule.back, rule.unit,
            since=clock.inside_since, wanted=rule.off,
        )  # fmt: skip
        ends = (over,) if quiet <= now else (over, Because("held", until=quiet))
        beyond = Because("is-above" if rule.upward else "is-below", value, rule.edge, rule.unit)
        seen = (beyond,) if clock.out and value is not None else ()
        delay = clock.told(rule.delay, now)
        return self.account(condition, seen=seen, lacks=lacks, ends=ends, delay=delay)

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


def at_the_end(end: float, now: float, most: float) -> float:
    """When to look again: at the end of a stage, or after `most` seconds. At the very end of a
    course the batch still stands in the books, since looks come first: then it is not the end."""
    return end if now < end < now + most else now + most


def within_a_step(values: Sequence[float], step: float) -> tuple[float, float]:
    """Two bounds about all of these; between them no two values are `step` apart. Where these are
    nearly so, the bounds are alike and nothing lies between."""
    low, high = min(values), max(values)
    spare = (0.95 * step - (high - low)) / 2
    return (low - spare, high + spare) if spare > 0.0 else (low, low)


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
