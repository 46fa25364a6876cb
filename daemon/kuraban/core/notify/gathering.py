"""Every ring of one alarm goes through here: singly, or with others where they come too thick.

Whoever gets very many rings within an hour gets the following ones gathered in one message. What of
a gathered alarm was answered meanwhile is left out.
"""

from __future__ import annotations

from collections import deque
from functools import partial

from kuraban.core.alarms.life_cycle import Alarm, Alarms, State
from kuraban.core.deadlines import Deadlines, Gathered
from kuraban.core.effects import Urgency
from kuraban.core.house_view import HouseView
from kuraban.core.notify.ladder import Call
from kuraban.core.notify.message_writer import MessageWriter
from kuraban.core.notify.priority import role_of, urgency_of
from kuraban.core.texts import messages
from kuraban.core.units import HOUR, MINUTE

MANY_RINGS, MANY_THINGS = 6, 3
"""Rings within an hour, and the things that they were about, from which they are gathered."""
GATHER_FOR = 5 * MINUTE


class Gathering:
    def __init__(
        self, view: HouseView, alarms: Alarms, deadlines: Deadlines, writer: MessageWriter
    ) -> None:
        self._view, self._alarms = view, alarms
        self._deadlines, self._writer = deadlines, writer
        self.rung: dict[str, deque[tuple[float, str]]] = {}
        """When each person was rung last, and about which alarm."""
        self.waiting: dict[str, list[tuple[str, str]]] = {}
        """The alarms that each person is to be told of together."""

    def ring(
        self, call: Call, alarms: list[Alarm], urgency: Urgency, at: float, *, waited: bool = False
    ) -> None:
        """Ring a person about the alarms of one cause, now or with the next gathered ones.

        What `waited` for another, who was not reached, waits for nobody else.
        """
        rung = self.rung.setdefault(call.person, deque(maxlen=MANY_RINGS))
        if not waited and _too_many(rung, call, alarms[0], at):
            for alarm in alarms:
                self.wait(call.person, alarm, at + GATHER_FOR)
            return
        rung.append((at, alarms[0].id))
        for alarm in alarms:
            self._told(call.person, alarm)
        self._page(call, alarms, urgency, at)

    def _page(self, call: Call, alarms: list[Alarm], urgency: Urgency, at: float) -> None:
        situations = tuple(self._writer.situation(alarm, at) for alarm in alarms)
        text_of = (
            partial(messages.gathered, situations)
            if len(situations) > 1
            else partial(messages.page, situations[0])
        )
        self._writer.page(at, call, urgency, text_of, tuple(alarm.id for alarm in alarms))

    def _told(self, person: str, alarm: Alarm) -> None:
        """What a person is told of by itself is not told once more with what waits for them."""
        waiting = self.waiting.get(person)
        if waiting is not None:
            waiting[:] = [key for key in waiting if key != (alarm.subject, alarm.condition)]

    def wait(self, person: str, alarm: Alarm, until: float) -> None:
        """Tell a person of an alarm with what else waits for them, at `until` at the latest."""
        waiting = self.waiting.setdefault(person, [])
        if not waiting:
            self._deadlines.add(until, Gathered(person))
        waiting.append((alarm.subject, alarm.condition))

    def send(self, person: str, at: float) -> None:
        """What came thick or together for one person, in one message."""
        keys = dict.fromkeys(self.waiting.pop(person, ()))
        alarms = [self._alarms[key] for key in keys]
        alarms = [alarm for alarm in alarms if alarm.state is State.UNACKNOWLEDGED]
        if not alarms:
            return
        wakes = any(urgency_of(self._view, alarm, at) == "wake" for alarm in alarms)
        call = Call(person, role_of(self._view, alarms[0], at), 0)
        self._page(call, alarms, "wake" if wakes else "duty", at)


def _too_many(rung: deque[tuple[float, str]], call: Call, alarm: Alarm, at: float) -> bool:
    """Whether a person was rung so often for so many things that one list serves better.

    What is only now past its limit is never held back for that, nor is one thing alone.
    """
    things = {name for _, name in rung} | {alarm.id}
    full = len(rung) == MANY_RINGS and at - rung[0][0] < HOUR
    newly_far = call.rung == 0 and alarm.condition.startswith("far-")
    return full and len(things) >= MANY_THINGS and not newly_far
