"""What the broker is told: how each alarm stands and what the wall shows, retained, and entries
that came another way."""

from __future__ import annotations

import logging
from collections.abc import Iterable
from datetime import tzinfo
from pathlib import Path
from typing import Protocol

import msgspec

from kuraban.core.alarms.alarm_manager import AlarmManager
from kuraban.core.alarms.life_cycle import State
from kuraban.core.effects import Step, timeline_line
from kuraban.core.facts import Logged, Record
from kuraban.core.texts.messages import Words
from kuraban.errors import JournalError
from kuraban.queries.journal_to_recording import entry_text
from kuraban.runtime.wall_publisher import WallPublisher
from kuraban.store.history import History

log = logging.getLogger("kuraban")


class Publish(Protocol):
    def __call__(self, topic: str, payload: bytes, retain: bool = False) -> None: ...


class AlarmPublisher:
    """Publishes below the broker's root topic `root`, times in `zone`."""

    def __init__(self, publish: Publish, root: str, zone: tzinfo, words: Words) -> None:
        self._publish = publish
        self._root = root
        self.zone = zone
        self.beat = WallPublisher(publish, root, words).beat

    def recall(self, alarm_manager: AlarmManager, journal: Path) -> None:
        """Every alarm as it stands now, whatever the broker kept of it."""
        for (subject, condition), alarm in alarm_manager.alarms.items():
            if alarm.state is State.NORMAL:
                self._publish(self._topic(subject, condition), b"", retain=True)
        try:
            history = History(journal)
            for step in history.standing():
                self.tell(step)
            history.close()
        except JournalError as error:
            log.error("standing alarms are not published: %s", error)

    def tell(self, step: Step) -> None:
        payload = b""
        if step.step != "normal":
            payload = msgspec.json.encode(timeline_line(step, self.zone))
        self._publish(self._topic(step.subject, step.condition), payload, retain=True)

    def tell_entries(self, facts: Iterable[Record]) -> None:
        """Those made on a page or by a link: whoever listens to the broker hears them too."""
        for fact in facts:
            if isinstance(fact, Logged) and fact.way in ("page", "link"):
                self._publish(
                    f"{self._root}/log/{fact.subject}", entry_text(fact, self.zone).encode()
                )

    def _topic(self, subject: str, condition: str) -> str:
        return f"{self._root}/watch/alarm/{subject}/{condition}"
