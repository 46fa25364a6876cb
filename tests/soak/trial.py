"""One night of five drifting tanks that is disturbed on purpose, and what became of it.

The watch runs in a process of its own against a real Mosquitto and a phone service on loopback, the
brewery's clock faster than ours. Whoever publishes sends every reading until the broker has said
that it has it, as a probe's board does.
"""

from __future__ import annotations

import signal
import subprocess
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import msgspec

from kuraban.clock import elapsed
from kuraban.core.effects import Message
from kuraban.core.engine.engine import Engine
from kuraban.core.facts import HouseChanged
from kuraban.core.intake.wire import Wire
from kuraban.core.site import to_document
from kuraban.runtime.watch import JOURNAL
from kuraban.settings import load
from kuraban.settings.catalogues import load_words
from kuraban.store.history import History
from kuraban.store.journal import Journal
from tests.broker import Mosquitto
from tests.nights import SITE, Publisher, await_hearing, wait
from tests.nights import spawn as spawn_watch
from tests.sink import Sink
from tests.test_kills import DRIFTS, EVERY, LADDER_STEP, NO_LIST, START, Night, plain

HOURS = 4.6
"""Of the brewery; the last of the tanks is told after four."""


class Row(msgspec.Struct, kw_only=True):
    """One line of the table. Pages are alarms that a person must have been rung for."""

    fault: str
    times: int
    readings_in: int
    readings_kept: int
    pages_due: int
    pages_made: int
    doubled: int
    """Told twice within a ladder step without being marked as perhaps told before."""
    pages_false: int | None = None
    """Pages that a phone took of what neither the night nor the fault brought about."""
    note: str = ""

    @property
    def well(self) -> bool:
        """Nothing lost, everything told, nothing told twice or falsely."""
        kept, made = self.readings_kept == self.readings_in, self.pages_made == self.pages_due
        return kept and made and not self.doubled and not self.pages_false


class Insisting(Publisher):
    """Goes on over every reconnect, at most a second after the broker is back."""

    def __init__(self, port: int) -> None:
        super().__init__(port)
        self._client.reconnect_delay_set(1, 1)
        self._client.on_publish = self._on_publish
        self._told = 0

    def _on_publish(self, _client: Any, _data: Any, mid: int, *_: Any) -> None:
        self._told += 1

    def settle(self, within: float = 180.0) -> None:
        """Until the broker has said of everything that it has it."""
        wait(lambda: self._told >= self.sent, within)


@dataclass
class Trial:
    """A running night. `also` names alarms that the fault itself must raise, by subject."""

    folder: Path
    speed: float
    broker: Mosquitto
    sink: Sink
    publisher: Insisting
    night: Night
    began: float
    watch: subprocess.Popen[bytes]
    clock: Path | None = None
    """A file with the seconds by which the machine's clock is wrong."""

    engine: str = ""
    """Where it forwards to, nowhere if empty."""

    @property
    def data(self) -> Path:
        return self.folder / "data"

    @property
    def now(self) -> float:
        """The brewery's time."""
        return START + (elapsed() - self.began) * self.speed

    @property
    def hours(self) -> float:
        return (self.now - START) / 3600

    def start(self) -> None:
        self.watch = spawn_watch(
            self.broker,
            self.sink,
            self.data,
            START,
            self.speed,
            self.began,
            self.clock,
            self.engine,
        )

    def kill(self) -> None:
        self.watch.kill()
        self.watch.wait()

    def live(self, seconds: float) -> None:
        """So many real seconds of an ordinary night."""
        end = time.time() + seconds
        while time.time() < end:
            self.night.publish(self.publisher, self.now)
            time.sleep(0.01)

    def until(self, hours: float) -> None:
        while self.hours < hours:
            self.live(0.05)

    def row(
        self, fault: str, times: int, also: tuple[str, ...] = (), note: str = "",
        dated: bool = True,
    ) -> Row:  # fmt: skip
        """Let the night end, stop the watch, and count.

        Where the clock was wrong some readings count from when they came, so that only their number
        is compared: `dated` is false.
        """
        self.until(HOURS)
        self.publisher.settle()
        wait(lambda: self.night.lacking(self.data) == 0, 180)
        wait(lambda: not self._unsent(), 60)
        self.watch.send_signal(signal.SIGTERM)
        assert self.watch.wait(20) == 0, "the watch did not end as asked"
        assert "a fault of ours" not in (self.folder / "log").read_text()
        if dated:
            self._as_published()
        journal = Journal.open(self.data / JOURNAL)
        assert journal.verify() == []
        journal.close()
        due = {*DRIFTS, *also}
        told = self._messages()
        rung = self._rung(told) & due
        twice, false = self._doubled(told), self._false(told, due)
        published = sum(map(len, self.night.readings.values()))
        kept = published - self.night.lacking(self.data)
        return Row(
            fault=fault, times=times, readings_in=published, readings_kept=kept,
            pages_due=len(due), pages_made=len(rung), doubled=len(twice), pages_false=len(false),
            note="; ".join([note, *twice, *false]).strip("; "),
        )  # fmt: skip

    def _as_published(self) -> None:
        history = History(self.data / JOURNAL)
        for probe, published in self.night.readings.items():
            assert list(history.readings(probe, 0, 1e12)) == published, probe
        history.close()

    def _unsent(self) -> int:
        history = History(self.data / JOURNAL)
        try:
            return history.unsent()
        finally:
            history.close()

    def _messages(self) -> list[Message]:
        history = History(self.data / JOURNAL)
        try:
            return list(history.messages(0, 1e12))
        finally:
            history.close()

    def _rung(self, told: list[Message]) -> set[str]:
        """Tanks, and other alarms by their name, whose message a phone has taken."""
        arrived = {(rung.title, plain(rung.body)) for rung in self.sink.got}
        found: set[str] = set()
        for message in told:
            if (message.title, message.body) in arrived:
                for alarm in message.alarms:
                    subject, _, condition = alarm.partition("/")
                    if subject not in DRIFTS or condition.endswith(("warm", "cold")):
                        found |= {subject if subject in DRIFTS else condition}
        return found

    def _false(self, told: list[Message], due: set[str]) -> list[str]:
        """What a person was rung for that the same night without the fault rings nobody for."""
        arrived = {(rung.title, plain(rung.body)) for rung in self.sink.got}
        return [
            f"{page.person} rung for {', '.join(page.alarms)}"
            for page in told
            if page.step == "page" and (page.title, page.body) in arrived
            for strange in [[one for one in page.alarms if not _known(one, due)]]
            if strange
        ]

    def _doubled(self, told: list[Message]) -> list[str]:
        """What a phone got more often than it was made, and pages made again within a step."""
        made = Counter((f"/{m.person}", m.title, m.body) for m in told)
        unmarked = [rung for rung in self.sink.told if plain(rung.body) == rung.body]
        surely = Counter((rung.path, rung.title, rung.body) for rung in unmarked)
        twice = [f"{who}: {title}" for who, title, _ in (surely - made).elements()]
        last: dict[tuple[str, tuple[str, ...], int], float] = {}
        for page in (m for m in told if m.step == "page"):
            key = (page.person, page.alarms, page.rung)
            if page.at - last.get(key, 0.0) < LADDER_STEP:
                twice.append(f"{page.person}, after {page.at - last[key]:.0f} s: {page.title}")
            last[key] = page.at
        return twice


def _known(alarm: str, due: set[str]) -> bool:
    subject, _, condition = alarm.partition("/")
    if subject in DRIFTS:
        return condition.endswith("warm")
    return condition in due or alarm in undisturbed()


@cache
def undisturbed() -> frozenset[str]:
    """The alarms that ring somebody in such a night anyhow: a house of which five probes speak."""
    house, night, engine = load(SITE, {}).house, Night(), Engine(load_words())
    wire, told = Wire(house), set[str]()

    class Straight:
        """Publishes into the engine."""

        at = START

        def publish(self, topic: str, payload: str) -> None:
            for fact in wire.read(topic, payload.encode(), self.at):
                engine.take(fact)

    straight = Straight()
    engine.take(HouseChanged(START, to_document(house)))
    while straight.at <= START + HOURS * 3600:
        night.publish(straight, straight.at)  # type: ignore[arg-type]
        for event in engine.drain().story:
            if isinstance(event, Message) and event.step == "page":
                told.update(event.alarms)
        straight.at += EVERY
    return frozenset(told)


@contextmanager
def trial(
    folder: Path, speed: float = 240.0, without: tuple[str, ...] = NO_LIST,
    wrap: Callable[[Trial], None] = lambda one: None, conf: str = "",
) -> Iterator[Trial]:  # fmt: skip
    """A night that has just begun; `wrap` may change the trial before its watch starts.

    `conf` is added to the broker's configuration.
    """
    folder.mkdir(parents=True, exist_ok=True)
    with Mosquitto(folder, conf, without=without) as broker, Sink() as sink:
        began = elapsed() + 2.0
        publisher = Insisting(broker.port)
        one = Trial(folder, speed, broker, sink, publisher, Night(), began, None)  # type: ignore[arg-type]
        wrap(one)
        one.start()
        try:
            await_hearing(one.data)
            yield one
        finally:
            publisher.close()
            if one.watch.poll() is None:
                one.kill()
