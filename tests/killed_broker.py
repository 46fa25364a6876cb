"""A broker that is killed again and again while probes publish: who still has which reading."""

from __future__ import annotations

import random
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

from kuraban.edges.mqtt import front_door as mqtt_in
from kuraban.edges.mqtt.fair_queue import Arrived
from kuraban.runtime.watch import JOURNAL, Watch
from kuraban.settings import Settings
from kuraban.settings.catalogues import load_words
from kuraban.store.history import History
from tests.broker import USERS, Mosquitto
from tests.nights import Running, settings, wait
from tests.sink import Sink

PROBE = "t2-mid"
KILLS, RATE = 20, 50.0
"""Kills of one run, and readings a second."""
UNSAVED = ("acl_file", "autosave_on_changes")


@dataclass(frozen=True, slots=True)
class Tally:
    """Readings of one run: those that the broker said it has, and where they are now."""

    taken: int
    forgotten: int
    """Taken by the broker, and in no journal at the end."""
    answered: int
    answered_lost: int
    """Answered by the watch, and in no journal at the end."""


class Board:
    """A probe's board that sends on, over every reconnect, until the broker has said that it has
    the reading. Readings are told apart by their time."""

    def __init__(self, port: int, ca: Path | None = None) -> None:
        self._at: dict[int, float] = {}
        self._said: list[int] = []
        self._last = 0.0
        self._client = mqtt.Client(CallbackAPIVersion.VERSION2, "board", protocol=mqtt.MQTTv5)
        self._client.username_pw_set("kuraban", USERS["kuraban"])
        self._client.reconnect_delay_set(1, 1)
        self._client.max_queued_messages_set(0)
        self._client.on_publish = self._on_publish
        if ca is not None:
            self._client.tls_set(str(ca))
        self._client.connect("127.0.0.1", port)
        self._client.loop_start()

    def _on_publish(self, _client: Any, _data: Any, mid: int, *_: Any) -> None:
        self._said.append(mid)

    def send(self) -> None:
        self._last = at = round(max(time.time(), self._last + 0.001), 3)
        payload = f'{{"value": 10.46, "at": {at}}}'
        self._at[self._client.publish(f"kura/reading/{PROBE}", payload, 1).mid] = at

    def settle(self, within: float = 30.0) -> None:
        """Until the broker has said of everything that it has it."""
        wait(lambda: len(set(self._said)) >= len(self._at), within)

    @property
    def taken(self) -> set[float]:
        return {self._at[mid] for mid in self._said}

    def close(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()


class Answering(Watch):
    """A watch that notes what it answered, or meant to."""

    def __init__(self, found: Settings) -> None:
        super().__init__(found, load_words())
        self.answered: set[float] = set()

    def _keep(self, arrived: list[Arrived]) -> bool:
        kept = super()._keep(arrived)
        if kept:
            for one in arrived:
                self.answered.add(float(one.payload.rpartition(b": ")[2].rstrip(b"}")))
        return kept


def kept(data: Path) -> set[float]:
    """The times of the readings in the journal."""
    history = History(data / JOURNAL)
    found = {round(at, 3) for at, _ in history.readings(PROBE, 0, 1e12)}
    history.close()
    return found


def killed(
    folder: Path,
    *,
    autosave: bool,
    watching: bool,
    kills: int = KILLS,
    each: Callable[[], None] = lambda: None,
) -> Tally:
    """Kill and restart the broker `kills` times, with the watch there or away until the end."""
    chance = random.Random(f"{autosave} {watching}")
    before, mqtt_in.LONGEST_DELAY = mqtt_in.LONGEST_DELAY, mqtt_in.FIRST_DELAY
    try:
        with Mosquitto(folder, without=("acl_file",) if autosave else UNSAVED) as broker:
            return _run(broker, folder / "data", watching, kills, chance, each)
    finally:
        mqtt_in.LONGEST_DELAY = before


def _run(
    broker: Mosquitto, data: Path, watching: bool, kills: int, chance: random.Random,
    each: Callable[[], None],
) -> Tally:  # fmt: skip
    with Sink() as sink:
        watch = Answering(settings(broker, sink, data))
        running = Running(watch)
        wait(lambda: watch._door.connected)
        board = Board(broker.port)
        if not watching:
            running.stop()
            broker.restart()  # a clean stop, which saves the session with autosave or without
        for _ in range(kills):
            _publish(board, chance.uniform(0.5, 2.5))
            broker.kill()
            _publish(board, 0.2)
            broker.start()
            each()
        board.settle()
        answered = set(watch.answered)
        if not watching:
            watch = Answering(settings(broker, sink, data))
            running = Running(watch)
        wait(lambda: watch._door.connected, 30)
        _calm(data)
        running.stop()
        board.close()
        answered |= watch.answered
    there, taken = kept(data), board.taken
    return Tally(len(taken), len(taken - there), len(answered), len(answered - there))


def _publish(board: Board, seconds: float) -> None:
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        board.send()
        time.sleep(1 / RATE)


def _calm(data: Path) -> None:
    """Until the journal grows no more."""
    before = -1
    while before != len(kept(data)):
        before = len(kept(data))
        time.sleep(1.5)
