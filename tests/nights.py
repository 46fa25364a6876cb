"""A night for the whole watch: a real broker, a real phone service, and a clock led by the test."""

from __future__ import annotations

import dataclasses
import math
import os
import subprocess
import sys
import threading
import time
from bisect import bisect_right
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

from kuraban.clock import Clock, elapsed
from kuraban.core.effects import Message, Step, Turn
from kuraban.core.facts import Reading
from kuraban.core.intake.wire import Wire
from kuraban.recording import Recorded, merged
from kuraban.replay import replay
from kuraban.runtime.watch import JOURNAL, Watch
from kuraban.settings import Addresses, Settings, load
from kuraban.settings.catalogues import load_words
from kuraban.store.history import History
from tests.broker import USERS, Mosquitto
from tests.sink import Sink

ROOT = Path(__file__).parents[1]
SITE = ROOT / "fixtures" / "brewery" / "site.toml"
QUICK = ("autosave_on_changes", "acl_file")
"""Left out where no broker is killed: one publisher stands for every probe here."""
PATIENT = "cto=15&rto=15"
"""Seconds that a phone's service may take: it stands in the test's own process, beside a watch that
plays hours in seconds, and a busy machine lets it wait for longer than the usual four. What was not
answered in time goes out again."""


def recording(night: str) -> Path:
    (found,) = (ROOT / "fixtures" / "nights" / night).glob("recording.jsonl*")
    return found


def messages(night: str) -> list[Recorded]:
    return list(merged([recording(night)], lambda bad: None, lambda size: None))


def replayed(night: str, until: float) -> list[Step | Message]:
    told: list[Step | Message] = []
    house = load(SITE, {}).house
    replay(house, "kura", load_words(), [recording(night)], until=until, write=told.append)
    return told


def dated(lines: Iterable[Recorded]) -> list[Recorded]:
    """The same night from boards that all send their time, so that nothing can come twice."""
    house = load(SITE, {}).house
    wire, found = Wire(house, "kura"), []
    for line in lines:
        for fact in wire.read(line.topic, line.payload, line.at, line.retained):
            if isinstance(fact, Reading) and house.probe[fact.probe].topic is None:
                payload = f'{{"value": {fact.value!r}, "at": {fact.at!r}}}'.encode()
                topic = f"kura/reading/{fact.probe}"
                found.append(Recorded(line.at, topic, payload, line.retained))
            else:
                found.append(line)
    return found


def lacking(data: Path, lines: Iterable[Recorded]) -> list[tuple[str, float]]:
    """Dated readings that were published and do not stand in the journal."""
    house = load(SITE, {}).house
    wire = Wire(house, "kura")
    history = History(data / JOURNAL)
    had = {
        probe.id: {at for at, _ in history.readings(probe.id, 0, 1e12)} for probe in house.probes
    }
    history.close()
    return [
        (fact.probe, fact.at)
        for line in lines
        for fact in wire.read(line.topic, line.payload, line.at, line.retained)
        if isinstance(fact, Reading) and fact.at not in had[fact.probe]
    ]


def spawn(
    broker: Mosquitto,
    sink: Sink,
    data: Path,
    start: float,
    speed: float,
    began: float | None = None,
    clock: Path | None = None,
    engine: str = "",
    pages: int = 0,
) -> subprocess.Popen[bytes]:
    """The watch in a process of its own; what it logs is added to `log` beside its data."""
    began = elapsed() if began is None else began
    numbers = [str(part) for part in (broker.port, sink.port, data, start, began, speed)]
    numbers += [] if clock is None else [str(clock)]
    switched_on = {"TEST_ENGINE": engine, "TEST_PAGES": str(pages or "")}
    environment = {**os.environ, **{name: value for name, value in switched_on.items() if value}}
    with (data.parent / "log").open("ab") as log:
        return subprocess.Popen(
            [sys.executable, "-m", "tests.daemon_child", *numbers],
            cwd=ROOT, stderr=log, env=environment,
        )  # fmt: skip


def await_hearing(data: Path) -> None:
    """Until the watch of `spawn` hears the broker: what is published before reaches nobody."""
    log = data.parent / "log"
    wait(lambda: log.exists() and "broker: connected" in log.read_text(), 30)


def settings(broker: Mosquitto, sink: Sink, data: Path) -> Settings:
    """The demo brewery, its broker and phones on loopback, its journal in `data`."""
    found = load(SITE, {})
    reach = {
        "port": broker.port, "user": "kuraban", "password": USERS["kuraban"], "client_id": "night",
    }  # fmt: skip
    return dataclasses.replace(
        found,
        mqtt=dataclasses.replace(found.mqtt, **reach),
        addresses={who: Addresses((sink.url(who, PATIENT),)) for who in found.addresses},
        data=data,
    )


class StepClock(Clock):
    """It stands still until it is set. The wall clock beside it is `wrong` by so many seconds.

    What it said at a moment of elapsed time stays so, though another thread sets it meanwhile: else
    a watch that looks at both clocks in one breath would see a step that nobody made.
    """

    def __init__(self, start: float) -> None:
        super().__init__(speed=1000.0)
        self._said = [(-math.inf, start)]
        self.wrong = 0.0

    @property
    def moment(self) -> float:
        return self._said[-1][1]

    @moment.setter
    def moment(self, moment: float) -> None:
        self._said.append((elapsed(), moment))

    def of(self, real: float) -> float:
        if math.isinf(real):
            return real
        return self._said[bisect_right(self._said, (real, math.inf)) - 1][1]

    def real(self, moment: float) -> float:
        return elapsed() + (moment - self.moment)

    def shown(self, real: float) -> float:
        return self.of(real) + self.wrong

    def jump(self, by: float) -> None:
        self.moment += by
        self.wrong -= by
        self.ahead -= by


class Publisher:
    """Whoever publishes in the brewery; knows what the broker has taken."""

    def __init__(self, port: int, user: str = "kuraban") -> None:
        self._client = mqtt.Client(
            CallbackAPIVersion.VERSION2, f"brewery-{time.monotonic_ns()}", protocol=mqtt.MQTTv5
        )
        self._client.username_pw_set(user, USERS[user])
        self._client.max_queued_messages_set(0)
        self._client.max_inflight_messages_set(1000)
        self._client.connect("127.0.0.1", port)
        self._client.loop_start()
        self.sent = 0

    def publish(self, topic: str, payload: bytes | str, retain: bool = False) -> None:
        self.last = self._client.publish(topic, payload, 1, retain)
        self.sent += 1

    def flush(self) -> None:
        self.last.wait_for_publish(30)

    def close(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()


class Heard:
    """The last that everyone else hears at the broker, by topic."""

    def __init__(self, port: int) -> None:
        self.last: dict[str, str] = {}
        self._client = mqtt.Client(CallbackAPIVersion.VERSION2, protocol=mqtt.MQTTv5)
        self._client.username_pw_set("kuraban", USERS["kuraban"])
        self._client.on_message = self._on_message
        self._client.on_connect = lambda client, *_: client.subscribe("kura/watch/#", 1)
        self._client.connect("127.0.0.1", port)
        self._client.loop_start()

    def _on_message(self, _client: mqtt.Client, _data: object, message: mqtt.MQTTMessage) -> None:
        self.last[message.topic] = message.payload.decode()

    def __enter__(self) -> Heard:
        return self

    def __exit__(self, *_: object) -> None:
        self._client.disconnect()
        self._client.loop_stop()


class Running:
    """A watch in a thread of its own."""

    def __init__(self, watch: Watch) -> None:
        self.watch = watch
        self.error: BaseException | None = None
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def _run(self) -> None:
        try:
            self.watch.run()
        except BaseException as error:
            self.error = error

    def stop(self) -> None:
        self.watch.stop()
        self._thread.join(20)
        assert not self._thread.is_alive()
        if self.error is not None:
            raise self.error


def wait(true: Callable[[], bool], within: float = 15.0) -> None:
    """Until it is so, for `within` seconds of a machine that has nothing else to do."""
    crowd = max(os.getloadavg()[0] / (os.cpu_count() or 1), 1.0)
    deadline = time.monotonic() + within * crowd
    while not true():
        assert time.monotonic() < deadline, "it did not come about in time"
        time.sleep(0.002)


class Evening:
    """One brewery from the outside: what is published, what the watch told."""

    def __init__(self, broker: Mosquitto, sink: Sink, data: Path, start: float) -> None:
        self.clock = StepClock(start)
        self.settings = settings(broker, sink, data)
        self.told: list[Step | Message] = []
        self.publisher = Publisher(broker.port)
        self.heard = 0

    def _on_turn(self, turn: Turn) -> None:
        self.told += turn.story

    def watch(self) -> Watch:
        return Watch(self.settings, load_words(), clock=self.clock, on_turn=self._on_turn)

    @contextmanager
    def watching(self) -> Iterator[Watch]:
        watch = self.watch()
        running = Running(watch)
        try:
            wait(lambda: watch._door.connected or running.error is not None)
            yield watch
        finally:
            running.stop()

    def play(self, watch: Watch, lines: Iterable[Recorded], step: float = 60.0) -> None:
        """Publish, and move the clock on once the watch has taken what came before."""
        for line in lines:
            if line.at > self.clock.moment + step:
                self.catch_up(watch)
                self.clock.moment = line.at
            self.publisher.publish(line.topic, line.payload, line.retained)

    def catch_up(self, watch: Watch) -> str:
        """Everything published so far was judged. Said again where nobody listened just then.

        Answers the id of the note that stands behind all of it.
        """
        mark = f"mark-{time.monotonic_ns()}"
        note = f'{{"entry":"note","text":"so far","id":"{mark}"}}'
        for _ in range(15):
            self.publisher.publish("kura/log/watch", note)
            with suppress(AssertionError):
                wait(lambda: ("watch", mark) in watch.engine.entry_handler.known, 2)
                return mark
        raise AssertionError("the watch does not take what is published")

    def pass_time(self, watch: Watch, seconds: float) -> None:
        """Let the clock run on with nothing published, until every deadline was met."""
        self.clock.moment += seconds
        wait(lambda: watch.engine.now >= self.clock.moment)

    def close(self) -> None:
        self.publisher.close()
