"""The ladder of an incident that wakes people, climbed rung by rung until somebody answers.

What nobody answers to its end is told once an hour from then on, to all of its people together.
"""

from __future__ import annotations

from kuraban.core.alarm_conditions import CONDITIONS
from kuraban.core.alarms.life_cycle import Alarms
from kuraban.core.deadlines import ClimbLadder, Deadlines
from kuraban.core.house_view import HouseView
from kuraban.core.notify.gathering import Gathering
from kuraban.core.notify.incidents import Incident, Incidents, Key
from kuraban.core.notify.ladder import WHOM, Call, Whom, called
from kuraban.core.notify.message_writer import MessageWriter
from kuraban.core.notify.threads import Threads
from kuraban.core.units import HOUR

AT_LAST = 1 * HOUR
"""Between two messages of what nobody answered to the end of its ladder."""


class Climbing:
    def __init__(
        self, view: HouseView, alarms: Alarms, deadlines: Deadlines, incidents: Incidents,
        threads: Threads, gathering: Gathering, writer: MessageWriter,
    ) -> None:  # fmt: skip
        self._view, self._alarms, self._deadlines = view, alarms, deadlines
        self._incidents, self._threads = incidents, threads
        self._gathering, self._writer = gathering, writer

    def begin(self, incident: Incident, everybody: bool = False) -> None:
        """The first rung of a ring that has just begun; the last where everybody knows the cause
        already and nobody answered."""
        if everybody:
            incident.rung = len(self._threads.ladder(incident))
        self.climb(incident.key, incident.at, incident.rung, incident.at)

    def worse(self, incident: Incident, quick: bool, at: float) -> None:
        """Nobody answered yet, and it got a rank worse: whoever was told hears that now, and its
        ladder goes on, by the quick one from here where it was not."""
        if quick and not incident.quick:
            incident.quick = True
            steps = self._threads.ladder(incident)
            incident.rung = min(incident.rung, len(steps) - 1)
            incident.at = at - steps[incident.rung - 1]
        calls = [Call(person, incident.role, 0) for person in incident.rung_now]
        self.ring(calls, incident, at)
        self._plan(incident, at)

    def climb(self, key: Key, began: float, rung: int, at: float) -> None:
        """One rung of the ring that began at `began`, now, and the next one planned. Where nobody
        watched meanwhile it is the last that came due."""
        incident = self._incidents.standing.get(key)
        if incident is None or not incident.open or (incident.at, incident.rung) != (began, rung):
            return
        if incident.follows is not None:
            return
        if self._threads.ended(incident):
            self._threads.gather_ended(incident)
        steps = self._threads.ladder(incident)
        last = len(steps) - 1
        while rung < last and incident.at + steps[rung + 1] <= at:
            incident.rung = rung = rung + 1
        try:
            calls = self._called(incident, WHOM[min(rung, last, len(WHOM) - 1)], at)
            if not (rung > last and at > incident.at and self._home(incident, at)):
                self.ring(calls, incident, at)
        finally:
            incident.rung = rung + 1
            self._plan(incident, at)

    def _plan(self, incident: Incident, at: float) -> None:
        """Its next rung after one at `at`."""
        steps, rung = self._threads.ladder(incident), incident.rung
        due = max(incident.at + steps[rung], at) if rung < len(steps) else at + AT_LAST
        self._deadlines.add(due, ClimbLadder(incident.key, incident.at, rung))

    def _home(self, incident: Incident, at: float) -> bool:
        """Whether all that it tells of is back within its tolerance, and about to be over: an hour
        later is soon enough to say that it was not."""
        for one in self._threads.of(incident):
            side, batch = CONDITIONS[one.lead].side, self._view.batch(one.key[0], at)
            known = self._view.product(one.key[0], at) if batch is not None and side else None
            if batch is None or known is None:
                return False
            apart = known[0] - batch.plan.at(known[1])
            sides = batch.plan.standing(at).stage.tolerance
            if (apart > sides.above) if side == "warm" else (-apart > sides.below):
                return False
        return True

    def carry_on(self, was: Incident, rest: list[Incident], at: float) -> None:
        """What followed an incident, the gravest first, goes on without it: from where that stood,
        or from the first rung where nobody was told yet."""
        if not rest:
            return
        incident = rest[0]
        for one in rest:
            one.follows = None if one is incident else incident.key
        if not incident.told:
            incident.begin(at, incident.urgency, incident.role, incident.quick)
            self.begin(incident)
            return
        ended = was.rung >= len(self._threads.ladder(was))
        incident.at, incident.rung_now = was.at, was.rung_now
        incident.rung = len(self._threads.ladder(incident)) if ended else was.rung
        self._plan(incident, at)

    def take_up(self, planned: set[Key], now: float) -> None:
        """Plan a rung for what rings and has none among the `planned`, as after an update."""
        for incident in self._incidents.standing.values():
            follows = self._threads.leader(incident) is not incident
            if not incident.open or incident.urgency != "wake" or follows:
                continue
            incident.follows = None
            if incident.key not in planned:
                steps = self._threads.ladder(incident)
                if incident.at + steps[min(incident.rung, len(steps) - 1)] <= now:
                    incident.rung = len(steps)
                self._plan(incident, now)

    def _called(self, incident: Incident, whom: Whom, at: float) -> list[Call]:
        """Everybody of one rung, for whatever follows it too; each once."""
        found: dict[str, Call] = {}
        for one in self._threads.of(incident):
            condition = CONDITIONS[one.lead]._replace(role=one.role)
            house, rung = self._view.entry_log.manned, 0 if at == incident.at else incident.rung
            for call in called(house, condition, whom, at, rung, incident.rung_now):
                found.setdefault(call.person, call)
        return list(found.values())

    def ring(
        self, calls: list[Call], incident: Incident, at: float, *, waited: bool = False
    ) -> None:
        """Ring these people about what the incident is about, and what follows it."""
        thread = self._threads.of(incident)
        alarms = [self._alarms[one.key[0], one.lead] for one in thread]
        for call in calls:
            for one in thread:
                one.tell(call.person)
            self._gathering.ring(call, alarms, incident.urgency, at, waited=waited)

    def unreached(self, message: str, at: float) -> None:
        """No service of the person took that page: the next who was not told yet is told now.

        The ladder goes on as it would; whoever is reached at last hears of it all the same. A page
        of an earlier ring is no news: the present one has pages of its own.
        """
        page = self._writer.sent.pop(message, None)
        led: dict[Key, Incident] = {}
        for alarm in () if page is None else page.alarms:
            subject, _, name = alarm.partition("/")
            incident = self._incidents.of(subject, name)
            if incident is not None and incident.open:
                leader = self._threads.leader(incident)
                led[leader.key] = leader
        for incident in led.values():
            if page is None or page.at < incident.at:
                continue
            line = self._called(incident, "all", at)
            new = [call for call in line if call.person not in incident.rung_now]
            self.ring(new[:1], incident, at, waited=True)
