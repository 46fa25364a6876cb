"""From an alarm step to messages: who is told, in which words, who next, and who not any more.

`wake` alarms climb the ladder until somebody answers. `duty` alarms ring in duty hours and whoever
is awake; the rest waits for the morning report. A cooler's failing is soundless while everything
that it serves is known to have many hours. Whoever gets very many rings within an hour gets the
following ones gathered in one message.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable
from datetime import tzinfo

from kuraban.core import rota as roster
from kuraban.core.alarms.alarm_context import situation_of
from kuraban.core.alarms.alarm_manager import AlarmManager
from kuraban.core.alarms.life_cycle import Alarm, State
from kuraban.core.conditions import BREWER, CONDITIONS, COOLER_WAKES, CREW, MAINTENANCE
from kuraban.core.deadlines import Deadlines
from kuraban.core.effects import Ask, Message, Step, StepName, Urgency
from kuraban.core.entries import kind_of
from kuraban.core.facts import Logged
from kuraban.core.forecast.time_to_limit import hours_in_hand
from kuraban.core.house_view import HouseView
from kuraban.core.notify.ladder import (
    WHOM,
    Call,
    Incident,
    called,
    called_on_duty,
    group_of,
    ranked,
)
from kuraban.core.texts import messages as wording
from kuraban.core.texts.alarm_facts import Situation
from kuraban.core.units import HOUR, MINUTE

SOUNDLESS_ABOVE, RINGS_BELOW = 8.0, 6.0
"""Hours in hand of every served place."""
LOOK_AT_HOURS = 10 * MINUTE
MANY_RINGS, MANY_THINGS = 6, 3
"""Rings within an hour, and the things that they were about, from which they are gathered."""
GATHER_FOR = 5 * MINUTE
TOGETHER = 2 * MINUTE
"""So long a probe's alarm waits for its neighbours', which often have one cause."""
PAGES_KNOWN = 200
HANDS_WITHIN = 1 * HOUR
OVERDUE = frozenset({"stage-overdue"})
"""What nobody is rung for while the whole crew is away: it waits for the morning report."""
RINGS_AGAIN = frozenset({"raised", "realarmed", "unshelved", "released", "in-service"})


class Notifier:
    """Keeps incidents and writes the story: steps and messages in their order."""

    def __init__(self, view: HouseView, deadlines: Deadlines, words: wording.Words) -> None:
        self.view = view
        self.deadlines = deadlines
        self.words = words
        self.alarm_manager = AlarmManager(view, self)
        self.story: list[Step | Message] = []
        self.withdrawn: list[str] = []
        self.incidents: dict[tuple[str, str], Incident] = {}
        self.waiting: list[tuple[str, str]] = []
        """Duty alarms that ring nobody now and go into the morning report."""
        self.rung: dict[str, deque[tuple[float, str]]] = {}
        self.gathering: dict[str, list[tuple[str, str]]] = {}
        self.serial = 0
        self.sent: dict[str, tuple[str, ...]] = {}
        """The latest pages' alarms, by the message's id."""

    # Steps, as the board makes them.

    def stepped(self, alarm: Alarm, step: StepName, at: float, by: str | None) -> None:
        situation = self.situation(alarm, at)
        site = self.view.house.site
        text = wording.line(situation, step, site.language, self.words, self.view.house.zone)
        urgency = self.urgency(alarm, at)
        self.story.append(
            Step(
                at=at, subject=alarm.subject, condition=alarm.condition, step=step,
                urgency=urgency, value=alarm.value, planned=alarm.planned, text=text, by=by,
            )
        )  # fmt: skip
        if step in RINGS_AGAIN and alarm.state is State.UNACKNOWLEDGED:
            self._ring(alarm, urgency, step, at)
        elif alarm.state is not State.UNACKNOWLEDGED:
            self._quiet(alarm, step, at, by)
        if alarm.condition == "dark" and step in ("returned", "normal") and not alarm.active:
            self._power_back(alarm, at)

    def promised(self, alarm: Alarm, until: float) -> None:
        self.deadlines.add(until, "promise", alarm.subject, alarm.condition, until)

    def situation(self, alarm: Alarm, at: float) -> Situation:
        return situation_of(self.view, self.alarm_manager.alarms, alarm, at)

    def urgency(self, alarm: Alarm, at: float) -> Urgency:
        """As the table says, but for parts of the watch that fail while nothing is judged."""
        condition = CONDITIONS[alarm.condition]
        if condition.owner == "watch" and condition.urgency == "wake":
            judged = any(self.view.place_judged(p, at) for p in self.view.places)
            return "wake" if judged else "duty"
        return condition.urgency

    # Ringing.

    def _role(self, alarm: Alarm) -> str:
        place = self.view.house.place.get(alarm.subject)
        if place is not None and not place.brews and alarm.condition in ("warm", "cold"):
            return MAINTENANCE
        return CONDITIONS[alarm.condition].role

    def _quick(self, alarm: Alarm) -> bool:
        house = self.view.house
        if alarm.condition.startswith("far-"):
            return True
        if alarm.subject in house.cooler:
            return house.cooler[alarm.subject].heats
        return alarm.subject in house.place and house.place[alarm.subject].kind in (
            "koji-bed", "starter",
        )  # fmt: skip

    def _ring(self, alarm: Alarm, urgency: Urgency, step: StepName, at: float) -> None:
        condition = CONDITIONS[alarm.condition]
        key = (alarm.subject, group_of(condition))
        incident = self.incidents.setdefault(key, Incident(key))
        known = bool(incident.members - {alarm.condition})
        incident.members.add(alarm.condition)
        louder = incident.urgency != "wake" and urgency == "wake"
        again = step == "realarmed" and not incident.open
        if known and condition.rank <= incident.rank and not (again or louder):
            self._joins(incident, alarm, urgency, at)
            return
        self._lead(incident)
        incident.urgency, incident.role = urgency, self._role(alarm)
        incident.quick, incident.open, incident.rung = self._quick(alarm), True, 0
        incident.at = at
        if alarm.condition in COOLER_WAKES and self._has_hours(alarm, at):
            self._soundless(incident, alarm, at)
        elif urgency == "wake":
            self.climb(key, at, 0)
        elif urgency == "duty":
            self._on_duty(incident, alarm, at)

    def _joins(self, incident: Incident, alarm: Alarm, urgency: Urgency, at: float) -> None:
        """One more sign of what was told already: whoever has that in hand has this too.

        Of one that would wake, and is no lesser than what they know, they hear once, without a
        ring; nobody else hears of it.
        """
        others = (
            self.alarm_manager.alarm(alarm.subject, name) for name in ranked(incident.members)
        )
        held = next((one for one in others if one.state is State.ACKNOWLEDGED), None)
        if incident.open or held is None:
            return
        self.alarm_manager.join(alarm, held, at)
        person = self.view.house.person_called(held.by)
        lesser = CONDITIONS[alarm.condition].rank < incident.rank
        if person is None or urgency != "wake" or lesser:
            return
        text = wording.page(self.situation(alarm, at), *self._tongue(person.id))
        self._say("notice", at, Call(person.id, incident.role, 0), "duty", text, (alarm.id,))

    def _has_hours(self, alarm: Alarm, at: float) -> bool:
        if self.view.house.cooler[alarm.subject].heats:
            return False
        hours = hours_in_hand(self.view, alarm.subject, at)
        return hours is not None and hours > SOUNDLESS_ABOVE

    def climb(self, key: tuple[str, str], began: float, rung: int) -> None:
        """One rung of an incident's ladder at its time, and the next one planned."""
        incident = self.incidents.get(key)
        if incident is None or not incident.open or (incident.at, incident.rung) != (began, rung):
            return
        site = self.view.house.site
        steps = site.quick_ladder if incident.quick else site.ladder
        at = began + steps[rung]
        condition = CONDITIONS[incident.lead]._replace(role=incident.role)
        whom = WHOM[min(rung, len(WHOM) - 1)]
        self._page(called(self.view.entry_log.manned, condition, whom, at, rung), incident, at)
        if rung + 1 < len(steps):
            incident.rung = rung + 1
            self.deadlines.add(began + steps[rung + 1], "climb", key, began, rung + 1)

    def _page(self, calls: Iterable[Call], incident: Incident, at: float) -> None:
        alarm = self.alarm_manager.alarm(incident.key[0], incident.lead)
        for call in calls:
            if call.person not in incident.told:
                incident.told.append(call.person)
            if self._too_many(call, alarm, at):
                self._gather(call.person, alarm, at + GATHER_FOR)
                continue
            text = wording.page(self.situation(alarm, at), *self._tongue(call.person))
            self._say("page", at, call, incident.urgency, text, (alarm.id,))

    def unreached(self, message: str, at: float) -> None:
        """No service of the person took that page: the next who was not told yet is told now.

        The ladder goes on as it would; whoever is reached at last hears of it all the same.
        """
        for alarm in self.sent.pop(message, ()):
            subject, _, name = alarm.partition("/")
            incident = self.incidents.get((subject, group_of(CONDITIONS[name])))
            if incident is None or not incident.open:
                continue
            condition = CONDITIONS[incident.lead]._replace(role=incident.role)
            line = called(self.view.entry_log.manned, condition, "all", at, incident.rung)
            self._page(
                [call for call in line if call.person not in incident.told][:1], incident, at
            )

    def _too_many(self, call: Call, alarm: Alarm, at: float) -> bool:
        """Whether a person was rung so often for so many things that one list serves better.

        What is only now past its limit is never held back for that, nor is one thing alone.
        """
        rung = self.rung.setdefault(call.person, deque(maxlen=MANY_RINGS))
        things = {name for when, name in rung if at - when < HOUR} | {alarm.id}
        full = len(rung) == MANY_RINGS and at - rung[0][0] < HOUR
        newly_far = call.rung == 0 and alarm.condition.startswith("far-")
        if full and len(things) >= MANY_THINGS and not newly_far:
            return True
        rung.append((at, alarm.id))
        return False

    def _gather(self, person: str, alarm: Alarm, until: float) -> None:
        waiting = self.gathering.setdefault(person, [])
        if not waiting:
            self.deadlines.add(until, "gathered", person)
        waiting.append((alarm.subject, alarm.condition))

    def gathered(self, at: float, person: str) -> None:
        """The alarms that came thick or together for one person, in one message."""
        keys = self.gathering.pop(person, [])
        alarms = [self.alarm_manager.alarm(*key) for key in dict.fromkeys(keys)]
        alarms = [alarm for alarm in alarms if alarm.state is State.UNACKNOWLEDGED]
        if not alarms:
            return
        situations = tuple(self.situation(alarm, at) for alarm in alarms)
        if len(situations) == 1:
            text = wording.page(situations[0], *self._tongue(person))
        else:
            text = wording.gathered(situations, *self._tongue(person))
        urgent = any(self.urgency(alarm, at) == "wake" for alarm in alarms)
        call = Call(person, self._role(alarms[0]), 0)
        names = tuple(alarm.id for alarm in alarms)
        self._say("page", at, call, "wake" if urgent else "duty", text, names)

    def _on_duty(self, incident: Incident, alarm: Alarm, at: float) -> None:
        if alarm.condition in OVERDUE and roster.all_away(self.view.entry_log.manned, CREW, at):
            self.waiting.append((alarm.subject, alarm.condition))
            return
        calls = self._hands(alarm, at)
        condition = CONDITIONS[alarm.condition]
        calls += [
            call
            for call in called_on_duty(self.view.entry_log.manned, condition, at)
            if call.person not in {other.person for other in calls}
        ]
        if condition.owner == "probe" and not self._hands(alarm, at):
            for call in calls:
                incident.told.append(call.person)
                self._gather(call.person, alarm, at + TOGETHER)
        else:
            self._page(calls, incident, at)
        if not calls:
            self.waiting.append((alarm.subject, alarm.condition))

    def _hands(self, alarm: Alarm, at: float) -> list[Call]:
        """For a displaced probe: whoever logged work at its place within the hour."""
        if alarm.condition != "displaced":
            return []
        place = self.view.house.probe[alarm.subject].of
        who = self.view.recently_worked(place, alarm.since or at, HANDS_WITHIN)
        person = self.view.house.person_called(who)
        if person is None:
            return []
        roles = [duty.role for duty in self.view.house.rota if duty.person == person.id]
        return [Call(person.id, roles[0] if roles else CREW, 0)]

    # Soundless, while everything served has hours in hand.

    def _soundless(self, incident: Incident, alarm: Alarm, at: float) -> None:
        incident.urgency = "duty"
        self.deadlines.add(at + LOOK_AT_HOURS, "hours", *incident.key)
        house = self.view.entry_log.manned
        for call in called(house, CONDITIONS[alarm.condition], "first", at, 0):
            incident.told.append(call.person)
            text = wording.soundless(self.situation(alarm, at), *self._tongue(call.person))
            self._say("notice", at, call, "duty", text, (alarm.id,))

    def hours(self, at: float, subject: str, group: str) -> None:
        """Look again at a soundless incident: it rings when the hours grow short."""
        incident = self.incidents.get((subject, group))
        if incident is None or not incident.open or incident.urgency == "wake":
            return
        hours = hours_in_hand(self.view, subject, at)
        if hours is not None and hours >= RINGS_BELOW:
            self.deadlines.add(at + LOOK_AT_HOURS, "hours", subject, group)
            return
        incident.urgency, incident.at, incident.rung = "wake", at, 0
        self.climb(incident.key, at, 0)

    # Quiet again.

    def _quiet(self, alarm: Alarm, step: StepName, at: float, by: str | None) -> None:
        key = (alarm.subject, group_of(CONDITIONS[alarm.condition]))
        incident = self.incidents.get(key)
        self.withdrawn.append(alarm.id)
        if (alarm.subject, alarm.condition) in self.waiting and not alarm.stands:
            self.waiting.remove((alarm.subject, alarm.condition))
        if incident is None:
            return
        if step == "acknowledged":
            if incident.open:
                incident.open = False
                self._in_hand(incident, alarm, at)
            return
        incident.members.discard(alarm.condition)
        if not incident.members:
            del self.incidents[key]
        elif incident.lead == alarm.condition:
            self._lead(incident)
            if incident.urgency == "wake" and CONDITIONS[incident.lead].urgency != "wake":
                incident.urgency, incident.open = "duty", False

    def _lead(self, incident: Incident) -> None:
        """The message is about the member that outranks the others."""
        incident.lead = ranked(incident.members)[0]
        incident.rank = CONDITIONS[incident.lead].rank

    def same_incident(self, subject: str, condition: str) -> list[str]:
        """The alarms that an answer to one of them answers too."""
        incident = self.incidents.get((subject, group_of(CONDITIONS[condition])))
        return ranked(incident.members) if incident is not None else []

    def _in_hand(self, incident: Incident, alarm: Alarm, at: float) -> None:
        house = self.view.house
        has_it = house.person_called(alarm.by)
        for person in incident.told:
            if person not in house.person or person == (has_it and has_it.id):
                continue
            text = wording.in_hand(
                self.situation(alarm, at), house.called(alarm.by or ""), alarm.in_hand_until,
                *self._tongue(person),
            )  # fmt: skip
            self._say("notice", at, Call(person, incident.role, 0), "log", text, (alarm.id,))

    # Words that are no alarm.

    def remark(self, subject: str, what: str, value: float, at: float) -> None:
        """A notice to the crew, in duty hours or to whoever is awake."""
        condition = CONDITIONS["stage-overdue"]._replace(role=CREW)
        alarm = Alarm(subject, what)
        alarm.value, alarm.evidence = value, (f"gap={value:.1f}",)
        for call in called_on_duty(self.view.entry_log.manned, condition, at):
            text = wording.page(self.situation(alarm, at), *self._tongue(call.person))
            self._say("notice", at, call, "duty", text, ())

    def ask(self, logged: Logged, at: float) -> None:
        """Ask the brewer to confirm an entry that would stop the watch over a running batch."""
        alarm = Alarm(logged.subject, "entry-doubtful")
        alarm.evidence = (f"entry={kind_of(logged.entry)}",)

        def text_of(*tongue: object) -> wording.Text:
            return wording.page(self.situation(alarm, at), *tongue)  # type: ignore[arg-type]

        self.notice(BREWER, at, text_of)

    def notice(
        self, role: str, at: float, text_of: object,
        asks: Callable[..., tuple[Ask, ...]] = lambda *tongue: (),
    ) -> None:  # fmt: skip
        """One notice to the first of a role, in their language; `asks` are rings to be judged."""
        assert callable(text_of)
        for holder in roster.chain(self.view.entry_log.manned, role, at)[:1]:
            tongue = self._tongue(holder.person)
            call = Call(holder.person, role, 0)
            self._say("notice", at, call, "log", text_of(*tongue), (), asks(*tongue))

    def _power_back(self, alarm: Alarm, at: float) -> None:
        self.back_again(at if alarm.since is None else alarm.since, at, at)

    def back_again(self, since: float, until: float, at: float) -> None:
        """Nothing was seen from `since` to `until`: what runs again, and what moved meanwhile."""
        view = self.view
        running = tuple(
            (cooler.name, view.signal(cooler.id, at, "running"))
            for cooler in view.house.coolers
            if view.cooler_judged(cooler.id, at)
        )
        koji, moved = [], []
        for place in view.house.places:
            if not place.brews or not view.place_judged(place.id, at):
                continue
            then = view.places[place.id].series.before(since)
            now = view.places[place.id].value
            if now is None:
                continue
            if place.kind == "koji-bed":
                koji.append((place.name, then, now))
            elif then is not None and abs(now - then) > 0.3:
                moved.append((place.name, then, now))

        def text_of(*tongue: object) -> wording.Text:
            return wording.power_back(since, until, running, tuple(koji), tuple(moved), *tongue)  # type: ignore[arg-type]

        self.notice(MAINTENANCE, at, text_of)
        self.notice(BREWER, at, text_of)

    # The pen.

    def _tongue(self, person: str) -> tuple[str, wording.Words, tzinfo]:
        house = self.view.house
        known = house.person.get(person)
        language = known.language if known is not None else house.site.language
        return language, self.words, house.zone

    def _say(
        self, step: str, at: float, call: Call, urgency: Urgency, text: wording.Text,
        alarms: tuple[str, ...], asks: tuple[Ask, ...] = (),
    ) -> None:  # fmt: skip
        self.serial += 1
        row = f"{int(self.view.started):x}-{self.serial}"
        if step == "page":
            self.sent[row] = alarms
            while len(self.sent) > PAGES_KNOWN:
                del self.sent[next(iter(self.sent))]
        self.story.append(
            Message(
                id=row, at=at, step=step, role=call.role,  # type: ignore[arg-type]
                person=call.person, urgency=urgency, title=text.title, body=text.body,
                alarms=alarms, rung=call.rung, language=self._tongue(call.person)[0],
                asks=asks,
            )
        )  # fmt: skip
