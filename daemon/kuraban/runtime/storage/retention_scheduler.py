"""Old readings become summaries while the watch has nothing else to do: when, and which must stay.

A step takes a few milliseconds and comes twice a second at most, so that a year that waits after an
upgrade is done in a day, and half a second's silence of the loop is spent once in a hundred. When
nothing is left the next look is ten minutes later.
"""

from __future__ import annotations

import logging
import time

from kuraban.core import entries as e
from kuraban.core.alarms.life_cycle import State
from kuraban.core.engine.engine import Engine
from kuraban.core.facts import Logged
from kuraban.core.plan.subject_state import Batch
from kuraban.core.units import HOUR, MINUTE
from kuraban.runtime.storage.journal_writer import JournalWriter
from kuraban.settings import Keep
from kuraban.store.upkeep.retention import Bounds

PAUSE, REST = 0.5, 10 * MINUTE
"""Seconds of real time between two steps, and where nothing is left to do."""

log = logging.getLogger("kuraban")


class RetentionScheduler:
    """`receivers` are those of the long history, who must have a reading first."""

    def __init__(self, keep: Keep, receivers: tuple[str, ...]) -> None:
        self._keep = keep
        self._receivers = receivers
        self._next = 0.0

    def step(self, engine: Engine, journal_writer: JournalWriter, now: float) -> int:
        """One step, if it is time for one; how much was taken in. Raises nothing.

        A clock that may be wrong makes nothing old.
        """
        real = time.monotonic()
        if (
            real < self._next
            or journal_writer.failing
            or not engine.started
            or _clock_wrong(engine)
        ):
            return 0
        try:
            taken = journal_writer.journal.summarise(self.bounds(engine, now))
        except Exception:
            log.exception("old readings cannot be summarised; they stay as they are for an hour")
            self._next = real + HOUR
            return 0
        self._next = time.monotonic() + (PAUSE if taken else REST)
        return taken

    def bounds(self, engine: Engine, now: float) -> Bounds:
        return Bounds(
            now=now, full=now - self._keep.full, minutes=now - self._keep.minutes,
            receivers=self._receivers, held=held(engine, now),
        )  # fmt: skip


def _clock_wrong(engine: Engine) -> bool:
    alarm = engine.alarm_manager.alarms.get(("watch", "clock-wrong"))
    return alarm is not None and alarm.state not in (State.NORMAL, State.RETURNED)


def held(engine: Engine, now: float) -> dict[str, float]:
    """By probe, since when its readings belong to a batch that runs now."""
    house, entry_log = engine.view.house, engine.view.entry_log
    carried = [logged for logged in entry_log.counting() if e.goals_of(logged.entry)][::-1]
    found: dict[str, float] = {}
    for place in house.place:
        batch = entry_log.batch(place, now)
        if batch is None:
            continue
        for stood in _stood(carried, place, batch):
            for probe in house.probes_of(stood):
                found[probe.id] = min(batch.since, found.get(probe.id, batch.since))
    return found


def _stood(carried: list[Logged], place: str, batch: Batch) -> set[str]:
    """The place, and those from which the batch was carried there; the latest entry first."""
    places = {place}
    for logged in carried:
        if logged.at >= batch.since and places.intersection(e.goals_of(logged.entry)):
            places.add(logged.subject)
    return places
