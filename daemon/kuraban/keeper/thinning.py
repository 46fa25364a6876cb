"""Old readings become summaries while the watch has nothing else to do: when, and which must stay.

A step takes a few milliseconds and comes twice a second at most, so that a year that waits after an
upgrade is done in a day, and half a second's silence of the loop is spent once in a hundred. When
nothing is left the next look is ten minutes later.
"""

from __future__ import annotations

import logging
import time
from collections.abc import Iterator

from kuraban.core import entries as e
from kuraban.core.alarms import State
from kuraban.core.engine import Engine
from kuraban.core.ledger import Batch, Ledger
from kuraban.core.units import HOUR, MINUTE
from kuraban.keeper.pen import Pen
from kuraban.settings import Keep
from kuraban.store.retention import Bounds

PAUSE, REST = 0.5, 10 * MINUTE
"""Seconds of real time between two steps, and where nothing is left to do."""

log = logging.getLogger("kuraban")


class Thinning:
    """`receiver` is the long history that must have a reading first, None where there is none."""

    def __init__(self, keep: Keep, receiver: str | None) -> None:
        self._keep = keep
        self._receiver = receiver
        self._next = 0.0

    def step(self, engine: Engine, pen: Pen, now: float) -> int:
        """One step, if it is time for one; how much was taken in. Raises nothing.

        A clock that may be wrong makes nothing old.
        """
        real = time.monotonic()
        if real < self._next or pen.failing or not engine.started or _clock_wrong(engine):
            return 0
        try:
            taken = pen.journal.summarise(self.bounds(engine, now))
        except Exception:
            log.exception("old readings cannot be summarised; they stay as they are for an hour")
            self._next = real + HOUR
            return 0
        self._next = time.monotonic() + (PAUSE if taken else REST)
        return taken

    def bounds(self, engine: Engine, now: float) -> Bounds:
        return Bounds(
            now=now, full=now - self._keep.full, minutes=now - self._keep.minutes,
            receiver=self._receiver, held=held(engine, now),
        )  # fmt: skip


def _clock_wrong(engine: Engine) -> bool:
    alarm = engine.board.alarms.get(("watch", "clock-wrong"))
    return alarm is not None and alarm.state is not State.NORMAL


def held(engine: Engine, now: float) -> dict[str, float]:
    """By probe, since when its readings belong to a batch that runs now."""
    house, ledger = engine.world.house, engine.world.ledger
    found: dict[str, float] = {}
    for place in house.place:
        batch = ledger.batch(place, now)
        for stood in () if batch is None else _stood(ledger, place, batch):
            for probe in house.probes_of(stood):
                since = batch.since if batch is not None else now
                found[probe.id] = min(since, found.get(probe.id, since))
    return found


def _stood(ledger: Ledger, place: str, batch: Batch) -> Iterator[str]:
    """The place, and those from which the batch was carried there."""
    places = {place}
    for logged in reversed(ledger.log):
        if logged.at < batch.since or logged.key in ledger.hidden:
            continue
        if places.intersection(_goals(logged.entry)):
            places.add(logged.subject)
    yield from places


def _goals(entry: e.Entry) -> tuple[str, ...]:
    match entry:
        case e.Move(to=to):
            return (to,)
        case e.Split(to=several):
            return several
        case e.Merge(into=into):
            return (into,)
        case _:
            return ()
