"""A feed at work: one thread a bus, each at its own pace, and one that speaks with the broker."""

from __future__ import annotations

import json
import logging
from threading import Event, Thread

from kuraban.clock import elapsed, wall_clock
from kuraban.edges.modbus import Master
from kuraban.edges.supervisor import Supervisor
from kuraban.feed.buses import Bus, CommandOutput, ModbusLine, OneWire, Silent
from kuraban.feed.sender import Sender
from kuraban.feed.troubles import Troubles
from kuraban.settings.feed import FeedSettings
from kuraban.store.reading_buffer import ReadingBuffer

PATIENCE = 3.0
"""Seconds in which the buses may hand over what they have just read, once the feed is to stop."""
log = logging.getLogger("kuraban.feed")


def buses_of(settings: FeedSettings) -> list[Bus]:
    """The buses that have a value to give; ConfigurationError where a library is missing."""
    found: list[Bus] = [OneWire(settings.one_wire, settings.wires)] if settings.wires else []
    used = {value.line for value in settings.values}
    found += [
        ModbusLine(line, Master(line), tuple(one for one in settings.values if one.line == line.id))
        for line in settings.lines
        if line.id in used
    ]
    return [*found, *(CommandOutput(command) for command in settings.commands)]


class Feed:
    """Reads every bus once in `every` seconds and sends what it finds, until asked to stop.

    Raises JournalError where the buffer cannot be opened.
    """

    def __init__(
        self, settings: FeedSettings, buses: list[Bus], supervisor: Supervisor | None = None
    ) -> None:
        self._settings, self._buses = settings, buses
        self._supervisor = supervisor or Supervisor(None)
        self._stop = Event()
        self._buffer = ReadingBuffer(settings.buffer, settings.keep, log.warning)
        self._sender = Sender(settings.mqtt, self._buffer, self._stop, log.info)

    def run(self) -> None:
        threads = [
            Thread(target=self._keep_reading, args=(bus,), name=bus.name, daemon=True)
            for bus in self._buses
        ]
        for thread in threads:
            thread.start()
        while not self._stop.is_set():
            self._sender.turn()
            self._supervisor.pet(f"{self._buffer.count:,} readings wait")
        self._supervisor.stopping()
        self._sender.leave()
        patience = elapsed() + PATIENCE
        for thread in threads:
            thread.join(max(patience - elapsed(), 0.0))
        self._buffer.close()

    def stop(self) -> None:
        self._stop.set()

    def _keep_reading(self, bus: Bus) -> None:
        troubles = Troubles(log.warning)
        due = elapsed()
        while not self._stop.is_set():
            try:
                self._round(bus, troubles)
                troubles.heard(bus.name)
            except Exception as error:  # nothing may end this thread
                troubles.silent(bus.name, f"{type(error).__name__}: {error}")
            due = max(due + self._settings.every, elapsed())
            self._stop.wait(due - elapsed())

    def _round(self, bus: Bus, troubles: Troubles) -> None:
        """Every value once, each with the time at which it was read."""
        gathered: list[tuple[str, str, float]] = []
        since = elapsed()
        for probe, found in bus.read():
            if isinstance(found, Silent):
                troubles.silent(probe, str(found))
            else:
                troubles.heard(probe)
                gathered.append((probe, json.dumps(found), wall_clock()))
            if self._stop.is_set():
                break
            if gathered and elapsed() - since >= self._settings.mqtt.turn:
                self._buffer.add(gathered)
                gathered, since = [], elapsed()
        if gathered:
            self._buffer.add(gathered)
