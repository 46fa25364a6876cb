"""The alarms of a house, and what becomes of them: findings in, steps and rings out.

Only here an `Alarm` changes. Findings become events of the life-cycle table, what something larger
explains is held back, and the promises that go with an acknowledgement are kept: an alarm in hand
rings again only when it got worse by a deadband, or has not turned by the promised time.
"""

from __future__ import annotations

from typing import NamedTuple, Protocol

from kuraban.core.alarm_conditions import CONDITIONS, COOLING_FAILS
from kuraban.core.alarms.life_cycle import Alarm, Event, State
from kuraban.core.detectors.base import Finding
from kuraban.core.detectors.product_band import deadband
from kuraban.core.effects import StepName
from kuraban.core.house_view import HouseView
from kuraban.core.site import WATCH
from kuraban.core.texts.alarm_facts import SOMEBODY
from kuraban.core.units import HOUR, MINUTE

DOUBTS = frozenset({"displaced", "stuck", "wild"})
"""Conditions of a probe while which it is no measure of its product."""
DOUBTS_KEPT = 14 * HOUR
TURNS_WITHIN = {"koji-bed": 30 * MINUTE, "starter": 1 * HOUR, "tank": 3 * HOUR}
COOLER_TURNS_WITHIN = 1 * HOUR
BAND_DEADBAND = 0.3
"""K by which a banded room or store is worse."""
TURNED = 0.5
"""Share of a deadband by which what was promised must have turned toward what is right."""
BACK = (Event.UNSHELVE, Event.RESTORE)
"""What brings an alarm back among those that can ring, unless something larger explains it."""


def _foremost(alarm: Alarm) -> tuple[int, str]:
    """Order in which the alarms of one subject are dealt with: what outranks the others first."""
    return -CONDITIONS[alarm.condition].rank, alarm.condition


class Rings(Protocol):
    """Who hears of each step that the alarms make."""

    def stepped(self, alarm: Alarm, step: StepName, at: float, by: str | None) -> Alarm | None:
        """Tell it. The answer is the alarm in hand whose hands this one is to share, if any."""
        ...

    def joined(self, alarm: Alarm, at: float) -> None:
        """It shares those hands now."""
        ...

    def answered_with(self, alarm: Alarm) -> list[tuple[Alarm, bool]]:
        """What else an answer to it answers, and whether that was told to whoever answered."""
        ...

    def over(self, alarm: Alarm, at: float) -> None:
        """Its condition holds no more, and the steps that come of that are told."""
        ...

    def promised(self, alarm: Alarm, until: float) -> None:
        """By `until` an alarm in hand should have turned."""
        ...


class Doubted(NamedTuple):
    """A probe was not to be believed from start to end."""

    probe: str
    start: float
    end: float


class AlarmManager:
    def __init__(self, view: HouseView, alarms: dict[tuple[str, str], Alarm], rings: Rings) -> None:
        self.view = view
        self.rings = rings
        self.alarms = alarms
        self.doubted: list[Doubted] = []
        """The latest doubts that are over, of the last night at least."""

    def alarm(self, subject: str, condition: str) -> Alarm:
        found = self.alarms.get((subject, condition))
        if found is None:
            found = self.alarms[subject, condition] = Alarm(subject, condition)
        return found

    def of(self, subject: str, condition: str | None = None) -> list[Alarm]:
        """The alarms on the list of a subject, or the one named."""
        return [
            alarm
            for alarm in self.alarms.values()
            if alarm.subject == subject
            and alarm.stands
            and (condition is None or alarm.condition == condition)
        ]

    def take(self, finding: Finding) -> None:
        """A detector's finding."""
        alarm = self.alarm(finding.subject, finding.condition)
        if finding.holds:
            alarm.value, alarm.planned, alarm.worse = finding.value, finding.planned, finding.worse
            if alarm.active:
                self._worse(alarm, finding)
                return
            alarm.active, alarm.evidence = True, finding.evidence
            alarm.since = finding.at if finding.since is None else finding.since
            explained = self._explained(alarm)
            self._event(alarm, Event.SUPPRESS if explained else Event.OCCUR, finding.at)
            self._explains(alarm, finding.at)
        elif alarm.active:
            alarm.active, alarm.over = False, finding.at
            if alarm.condition in DOUBTS:
                self._believed_again(alarm, finding.at)
            alarm.value, alarm.planned = finding.value, finding.planned
            self._event(alarm, Event.RETURN, finding.at)
            if alarm.state is State.SUPPRESSED:
                self._event(alarm, Event.RELEASE, finding.at)
            elif alarm.state is State.SHELVED and alarm.once:
                self._unshelve(alarm, Event.SPENT, finding.at, None)
            self.rings.over(alarm, finding.at)
            self._explains_no_more(alarm, finding.at)

    def _event(self, alarm: Alarm, event: Event, at: float, by: str | None = None) -> None:
        step = alarm.apply(event)
        if event in BACK and alarm.state is State.UNACKNOWLEDGED and self._explained(alarm):
            held = alarm.apply(Event.SUPPRESS)
            self._tell(alarm, step, at, by)
            self._tell(alarm, held, at, by)
            return
        if alarm.state is State.UNACKNOWLEDGED and step is not None:
            alarm.raised, alarm.by, alarm.in_hand_until = at, None, None
        self._tell(alarm, step, at, by)

    def _tell(self, alarm: Alarm, step: StepName | None, at: float, by: str | None) -> None:
        held = None if step is None else self.rings.stepped(alarm, step, at, by)
        if held is not None:
            self._join(alarm, held, at)

    def _worse(self, alarm: Alarm, finding: Finding) -> None:
        """In hand, but worse by a deadband than when somebody took it: it rings again."""
        if alarm.state is not State.ACKNOWLEDGED or finding.worse is None:
            return
        if alarm.acked_worse is None:
            alarm.acked_worse = finding.worse
        elif finding.worse >= alarm.acked_worse + self._deadband(alarm, finding.at):
            alarm.evidence = ("got_worse", *(e for e in alarm.evidence if e != "got_worse"))
            self._event(alarm, Event.REALARM, finding.at)

    def _deadband(self, alarm: Alarm, at: float) -> float:
        batch = self.view.batch(alarm.subject, at) if self._is_place(alarm.subject) else None
        if batch is None:
            return BAND_DEADBAND
        tolerance = batch.plan.standing(at).stage.tolerance
        return deadband(max(tolerance.above, tolerance.below))

    def _is_place(self, subject: str) -> bool:
        return subject in self.view.house.place

    def _believed_again(self, alarm: Alarm, at: float) -> None:
        since = at if alarm.since is None else alarm.since
        kept = [doubt for doubt in self.doubted if doubt.end > at - DOUBTS_KEPT]
        self.doubted = [*kept, Doubted(alarm.subject, since, at)]

    def doubts(self, probe: str, now: float) -> list[Doubted]:
        """When a probe was not to be believed of late, the present doubt included."""
        standing = [
            Doubted(probe, now if alarm.since is None else alarm.since, now)
            for name in sorted(DOUBTS)
            if (alarm := self.alarms.get((probe, name))) is not None and alarm.active
        ]
        return [doubt for doubt in self.doubted if doubt.probe == probe] + standing

    # What something larger explains.

    def _explained(self, alarm: Alarm) -> bool:
        if alarm.condition in ("silent", "unwatched"):
            return self.view.stands(WATCH, "dark")
        if alarm.condition.startswith("trending-") and alarm.subject in self.view.house.place:
            cooler = self.view.entry_log.cooler_of(alarm.subject)
            return cooler is not None and self.view.stands(cooler, *COOLING_FAILS)
        return False

    def _explains(self, cause: Alarm, at: float) -> None:
        """A cause was found: hold back what already rings because of it."""
        if cause.condition != "dark" and cause.condition not in COOLING_FAILS:
            return
        for alarm in list(self.alarms.values()):
            ringing = alarm.state in (State.UNACKNOWLEDGED, State.ACKNOWLEDGED)
            if alarm is not cause and ringing and self._explained(alarm):
                self._event(alarm, Event.SUPPRESS, at)

    def _explains_no_more(self, cause: Alarm, at: float) -> None:
        if cause.condition != "dark" and cause.condition not in COOLING_FAILS:
            return
        for alarm in list(self.alarms.values()):
            if alarm.state is State.SUPPRESSED and not self._explained(alarm):
                self._event(alarm, Event.RELEASE, at)

    # What people do with alarms.

    def acknowledge(
        self, subject: str, condition: str | None, at: float, by: str | None, within: float | None
    ) -> list[Alarm]:
        """Somebody has them in hand; the alarms that this answered.

        Again is nothing, but for who says anew by when it should be right.
        """
        answered = []
        for alarm in sorted(self.of(subject, condition), key=_foremost):
            known = alarm.state is State.ACKNOWLEDGED
            if alarm.state not in (State.UNACKNOWLEDGED, State.RETURNED) and not known:
                continue
            if known and within is None:
                continue
            if alarm.state is not State.RETURNED:
                self._take_in_hand(alarm, at, by, within)
            self._event(alarm, Event.ACKNOWLEDGE, at, by)
            answered.append(alarm)
            for other, told in self.rings.answered_with(alarm):
                self._join(other, alarm, at, told)
        return answered

    def _take_in_hand(self, alarm: Alarm, at: float, by: str | None, within: float | None) -> None:
        if alarm.state is State.UNACKNOWLEDGED:
            alarm.acked_worse = alarm.worse
        alarm.by = by or SOMEBODY
        promise = within if within is not None else self.turns_within(alarm)
        alarm.in_hand_until = None if promise is None else at + promise
        if alarm.in_hand_until is not None:
            self.rings.promised(alarm, alarm.in_hand_until)

    def turns_within(self, alarm: Alarm) -> float | None:
        """By when an alarm in hand should have turned; None for what need not turn."""
        if alarm.subject in self.view.house.cooler:
            return COOLER_TURNS_WITHIN if alarm.condition in COOLING_FAILS else None
        if alarm.subject not in self.view.house.place or not CONDITIONS[alarm.condition].side:
            return None
        return TURNS_WITHIN.get(self.view.house.place[alarm.subject].kind, 3 * HOUR)

    def promise_due(self, subject: str, condition: str, until: float) -> None:
        """The promised time has come: an alarm that has not turned toward the plan rings again."""
        alarm = self.alarm(subject, condition)
        if alarm.in_hand_until != until or alarm.state is not State.ACKNOWLEDGED:
            return
        alarm.in_hand_until = None
        if alarm.worse is not None and alarm.acked_worse is not None:
            turned = alarm.worse < alarm.acked_worse - TURNED * self._deadband(alarm, until)
            if turned:
                return
        alarm.evidence = ("not_turned", *(e for e in alarm.evidence if e != "not_turned"))
        self._event(alarm, Event.REALARM, until)

    def _join(self, alarm: Alarm, other: Alarm, at: float, told: bool = False) -> None:
        """What joins an incident that somebody has in hand is in the same hands, by the same time.

        It is one cause and was `told` of, or is now: it rings when it gets worse, or has not turned
        by then.
        """
        promise = other.in_hand_until
        within = None if promise is None or promise <= at else promise - at
        self._take_in_hand(alarm, at, other.by, within)
        self._event(alarm, Event.ACKNOWLEDGE, at, other.by)
        if not told:
            self.rings.joined(alarm, at)

    def shelve(
        self, subject: str, condition: str, at: float, until: float, by: str | None,
        once: bool = False, reason: str | None = None,
    ) -> None:  # fmt: skip
        """Silence until `until`; `once`: or until it has returned to normal, whichever is first."""
        alarm = self.alarm(subject, condition)
        alarm.until, alarm.once, alarm.reason = until, once, reason
        self._event(alarm, Event.SHELVE, at, by)

    def unshelve(self, subject: str, condition: str, at: float, by: str | None = None) -> None:
        self._unshelve(self.alarm(subject, condition), Event.UNSHELVE, at, by)

    def shelf_ends(self, subject: str, condition: str, until: float) -> None:
        """The time has come to which an alarm was shelved, if nobody changed it meanwhile."""
        alarm = self.alarm(subject, condition)
        if alarm.state is State.SHELVED and alarm.until == until:
            self.unshelve(subject, condition, until)

    def _unshelve(self, alarm: Alarm, event: Event, at: float, by: str | None) -> None:
        alarm.until, alarm.once, alarm.reason = None, False, None
        self._event(alarm, event, at, by)

    def remove(self, subject: str, at: float, by: str | None) -> None:
        """Out of service: every alarm of the subject leaves the list until it is put back."""
        for alarm in self.of(subject):
            self._event(alarm, Event.REMOVE, at, by)

    def restore(self, subject: str, at: float, by: str | None) -> None:
        for alarm in self.of(subject):
            self._event(alarm, Event.RESTORE, at, by)
