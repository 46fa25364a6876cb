"""What the watch says to the wall: a word for the lamp, and a line that a loudspeaker can say.

Both are retained. The word is said again every twenty seconds, after good turns alone: a watch that
hangs falls silent, and whoever drives a lamp or a contact knows by that. The line is of what nobody
has in hand, and stays as it is until something else rings, so that it is said once.
"""

from __future__ import annotations

from collections.abc import Callable

from kuraban.core.alarm_conditions import CONDITIONS
from kuraban.core.alarms.alarm_context import situation_of
from kuraban.core.alarms.life_cycle import Alarm, State
from kuraban.core.engine.engine import Engine
from kuraban.core.house_view import HouseView
from kuraban.core.notify.priority import urgency_of
from kuraban.core.texts.messages import Words, page
from kuraban.core.texts.translator import Speech
from kuraban.core.views.wall import BEAT, lamp_of

NEEDS = (State.UNACKNOWLEDGED, State.ACKNOWLEDGED)


class WallPublisher:
    """Says it below `root`, by `publish` of (topic, payload, retain)."""

    def __init__(
        self, publish: Callable[[str, bytes, bool], None], root: str, words: Words
    ) -> None:
        self._publish, self._root, self._words = publish, root, words
        self._view: HouseView | None = None
        self._lamp, self._beat = "", float("-inf")
        self._open: tuple[tuple[str, float | None], ...] | None = None

    def beat(self, engine: Engine) -> None:
        """After a good turn."""
        if not engine.started:
            return
        view, now = self._own_view(engine), engine.now
        alarms = [one for one in engine.alarm_manager.alarms.values() if one.state in NEEDS]
        urgency = {one.id: urgency_of(view, one, now) for one in alarms}
        lamp = lamp_of((one.state is State.UNACKNOWLEDGED, urgency[one.id]) for one in alarms)
        if lamp != self._lamp or now - self._beat >= BEAT:
            self._lamp, self._beat = lamp, now
            self._publish(f"{self._root}/watch/lamp", lamp.encode(), True)
        alarms = [
            one for one in alarms if one.state is State.UNACKNOWLEDGED and urgency[one.id] != "log"
        ]
        alarms.sort(key=lambda one: (urgency[one.id] != "wake", -CONDITIONS[one.condition].rank))
        known = tuple((one.id, one.raised) for one in alarms)
        if known != self._open:
            self._open = known
            for language in self._words.catalogue:
                line = self._line(engine, view, alarms, language)
                self._publish(f"{self._root}/watch/say/{language}", line.encode(), True)

    def _own_view(self, engine: Engine) -> HouseView:
        """What is asked here leaves no trace in what the watch decides."""
        state = engine.watched.state
        if self._view is None or not self._view.sees(state):
            self._view = HouseView(state)
        return self._view

    def _line(self, engine: Engine, view: HouseView, alarms: list[Alarm], language: str) -> str:
        """The most pressing as its message has it, and how many more there are; empty for none."""
        if not alarms:
            return ""
        zone, every = view.house.zone, engine.alarm_manager.alarms
        first = situation_of(view, every, alarms[0], engine.now)
        title = page(first, language, self._words, zone).title
        if len(alarms) == 1:
            return title
        speech = Speech(self._words, language, zone, engine.now)
        return speech.say("join.more", {"names": title, "n": str(len(alarms) - 1)})
