"""From an alarm step to messages: what rings how, and what is quiet again.

`wake` alarms climb the ladder until somebody answers (`climbing`). `duty` alarms ring in duty hours
and whoever is awake; the rest waits for the morning report (`deferred_alarms`). A cooler's failing
is soundless while everything that it serves is known to have many hours (`soundless`). Whoever gets
very many rings within an hour gets the following ones gathered in one message (`gathering`).
"""

from __future__ import annotations

from kuraban.core.alarm_conditions import CONDITIONS
from kuraban.core.alarms.life_cycle import Alarm, Alarms, State
from kuraban.core.deadlines import Deadlines, PromiseDue
from kuraban.core.effects import StepName
from kuraban.core.house_view import HouseView
from kuraban.core.notify.climbing import Climbing
from kuraban.core.notify.deferred_alarms import DeferredAlarms
from kuraban.core.notify.gathering import Gathering
from kuraban.core.notify.incidents import Incident, Incidents, ranked, signs
from kuraban.core.notify.message_writer import MessageWriter
from kuraban.core.notify.non_urgent_cooler_alarm import QuietCoolerAlarm
from kuraban.core.notify.notices import Notices
from kuraban.core.notify.priority import climbs_quickly, role_of, urgency_of
from kuraban.core.notify.threads import Threads
from kuraban.core.texts.messages import Words

RINGS_AGAIN = frozenset({"raised", "realarmed", "unshelved", "released", "in-service"})


class Notifier:
    """Hears each step that the alarms make. `alarms` are the house's, and are only read here."""

    def __init__(self, view: HouseView, alarms: Alarms, deadlines: Deadlines, words: Words) -> None:
        self._view, self._alarms, self._deadlines = view, alarms, deadlines
        self.incidents = Incidents()
        self.writer = MessageWriter(view, alarms, words)
        self.notices = Notices(view, self.writer)
        self.gathering = Gathering(view, alarms, deadlines, self.writer)
        self.threads = Threads(view, self.incidents)
        self.climbing = Climbing(
            view, alarms, deadlines, self.incidents, self.threads, self.gathering, self.writer
        )
        self.soundless = QuietCoolerAlarm(
            view, deadlines, self.incidents, self.climbing, self.writer
        )
        self.deferred_alarms = DeferredAlarms(view, self.climbing, self.gathering)

    def stepped(self, alarm: Alarm, step: StepName, at: float, by: str | None) -> Alarm | None:
        """Tell a step. The answer is the alarm in hand whose hands this one is to share, if any."""
        self.writer.step(alarm, step, at, by)
        if step in RINGS_AGAIN and alarm.state is State.UNACKNOWLEDGED:
            return self._ring(alarm, step, at)
        if alarm.state is not State.UNACKNOWLEDGED:
            self._quiet(alarm, step, at)
        return None

    def over(self, alarm: Alarm, at: float) -> None:
        """Its condition has ended: what runs again after the dark is told at once."""
        if alarm.condition == "dark":
            self.notices.back_again(at if alarm.since is None else alarm.since, at, at)

    def promised(self, alarm: Alarm, until: float) -> None:
        self._deadlines.add(until, PromiseDue(alarm.subject, alarm.condition, until))

    def joined(self, alarm: Alarm, at: float) -> None:
        """It is in the hands that have the rest of its incident.

        Of one that would wake, and is no lesser than what they know, they hear once, without a
        ring; nobody else hears of it.
        """
        incident = self.incidents.of(alarm.subject, alarm.condition)
        wakes = urgency_of(self._view, alarm, at) == "wake"
        if incident is not None and wakes and CONDITIONS[alarm.condition].rank >= incident.rank:
            self.notices.one_more_sign(incident, alarm, at)

    def _ring(self, alarm: Alarm, step: StepName, at: float) -> Alarm | None:
        urgency, house = urgency_of(self._view, alarm, at), self._view.house
        incident, news = self.incidents.enter(alarm, urgency, again=step == "realarmed")
        if not news:
            return None if incident.open else self._in_hand(incident)
        ended = self.threads.ended(self.threads.leader(incident))
        quick = climbs_quickly(house, alarm)
        if incident.climbs and urgency == "wake" and not ended:
            self.climbing.worse(incident, quick, at)
            return None
        incident.begin(at, urgency, role_of(self._view, alarm, at), quick)
        if self.soundless.applies(alarm, at):
            self.soundless.tell(incident, alarm, at)
        elif urgency == "wake":
            return self._wake(incident, ended, again=step == "realarmed")
        elif urgency == "duty":
            self.deferred_alarms.tell(incident, alarm, at)
        return None

    def _wake(self, incident: Incident, ended: bool, again: bool) -> Alarm | None:
        """It rings, or joins what was told of the same cause to the same people and is no less
        grave. Past its limit each rings. `ended`: everybody was told of it and nobody answered."""
        beside = self.threads.beside(incident)
        theirs = [one for one in beside if one.role == incident.role]
        for known in () if incident.lead.startswith("far-") else theirs:
            if known.rank < incident.rank or (again and not known.open):
                continue
            if known.open:
                leader = self.threads.leader(known)
                self.threads.follow(incident, leader)
                self.notices.joins(
                    leader, self._alarms[incident.key[0], incident.lead], incident.at
                )
                return None
            held = self._in_hand(known)
            if held is not None:
                incident.open = False
                return held
        ended = ended or any(map(self.threads.ended, beside))
        for one in beside:
            if one.open and one.follows is None and (one in theirs or ended):
                self.threads.follow(one, incident)
        self.climbing.begin(incident, ended)
        return None

    def answered_with(self, alarm: Alarm) -> list[tuple[Alarm, bool]]:
        """What an answer to an alarm answers beside it, since it is the same cause and the same
        people's, and whether they were told of it."""
        incident = self.incidents.of(alarm.subject, alarm.condition)
        found: list[tuple[Alarm, bool]] = []
        for one in () if incident is None else self.threads.answered_with(incident):
            one.follows, one.open = None, False
            members = (self._alarms[one.key[0], name] for name in ranked(one.members))
            ringing = [each for each in members if each.state is State.UNACKNOWLEDGED]
            found += [(each, bool(one.rung_now)) for each in ringing]
        return found

    def _in_hand(self, incident: Incident) -> Alarm | None:
        """The gravest of an incident that somebody has in hand."""
        members = (self._alarms[incident.key[0], name] for name in ranked(incident.members))
        return next((one for one in members if one.state is State.ACKNOWLEDGED), None)

    def _rings(self, incident: Incident) -> bool:
        """Whether anything of it is left that nobody has in hand."""
        members = (self._alarms[incident.key[0], name] for name in incident.members)
        return any(one.state is State.UNACKNOWLEDGED for one in members)

    def _quiet(self, alarm: Alarm, step: StepName, at: float) -> None:
        """Nobody further is to be woken for it; its pages go once nothing of its incident rings."""
        self.deferred_alarms.over(alarm)
        incident = self.incidents.of(alarm.subject, alarm.condition)
        if incident is None:
            self.writer.withdraw(alarm.id)
            return
        followers = self.threads.of(incident)[1:]
        if step != "acknowledged":
            self.incidents.leave(alarm)
            incident.open = incident.open and self._rings(incident)
            incident.follows = incident.follows if incident.open else None
            if not (incident.open and incident.members):
                self.climbing.carry_on(incident, followers, at)
        elif incident.open:
            incident.open, incident.follows = False, None
            self.notices.who_has_it(incident, alarm, at)
            same = self.threads.answered_with(incident)
            self.climbing.carry_on(incident, [one for one in followers if one not in same], at)
        if not incident.open:
            self.writer.withdraw(*signs(incident.key))
