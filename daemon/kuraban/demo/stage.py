"""What the demo plays upon: its own broker, its own phones, a clock that can be hurried, a feeder.

All of it is real but for the night itself: an MQTT broker on loopback, phones that Apprise posts
to over HTTP, and a recording whose messages are published when the night's clock says so.
"""

from __future__ import annotations

import json
import random
import shutil
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from queue import SimpleQueue
from threading import Event, Thread
from typing import Any, Protocol

from kuraban.clock import Clock, elapsed
from kuraban.core.facts import Reading
from kuraban.core.intake.wire import Wire
from kuraban.core.site import SIGNALS, House, Probe
from kuraban.core.units import MINUTE
from kuraban.demo.link import free_port
from kuraban.edges.mqtt.fair_queue import Arrived
from kuraban.edges.mqtt.front_door import FrontDoor
from kuraban.errors import BrokerError, ConfigurationError, Fault
from kuraban.recording import Recorded
from kuraban.settings.model import Mqtt

BROKER = """\
id = 0

[router]
id = 0
max_connections = 100
max_outgoing_packet_count = 200
max_segment_size = 104857600
max_segment_count = 10

[v5.1]
name = "v5-1"
listen = "127.0.0.1:{port}"
next_connection_delay_ms = 1
    [v5.1.connections]
    connection_timeout_ms = 60000
    max_payload_size = 1048576
    max_inflight_count = 1000
    dynamic_filters = false
"""
"""The embedded broker's configuration: its MQTT 5 listener, on this machine only."""


class Pace(Clock):
    """The night's clock. It stands at `start` in life's own pace until it is hurried or settled.

    Every change of pace goes on from the moment that the clock shows.
    """

    def __init__(self, start: float) -> None:
        super().__init__(1.0, start)
        self._now = (elapsed(), start, 1.0)

    def change(self, speed: float) -> None:
        if speed != self.speed:
            real = elapsed()
            self._now = (real, self.of(real), speed)
            self.speed = speed

    def of(self, real: float) -> float:
        began, start, speed = self._now
        return start + (real - began) * speed

    def real(self, moment: float) -> float:
        began, start, speed = self._now
        return began + (moment - start) / speed

    def shown(self, real: float) -> float:
        return self.of(real) + self.ahead


@dataclass(frozen=True, slots=True)
class Rung:
    """What arrived on one phone."""

    person: str
    title: str
    body: str
    since: float = 0.0
    """When it came, by the machine's monotonic clock."""


class Phones:
    """A service on loopback that takes what Apprise's `json://` posts: one path a person."""

    def __init__(self) -> None:
        self.arrived: SimpleQueue[Rung] = SimpleQueue()
        self._server = ThreadingHTTPServer(("127.0.0.1", 0), _handler(self.arrived.put))
        self._server.daemon_threads = True
        self.port = int(self._server.server_address[1])
        Thread(target=self._server.serve_forever, args=(0.1,), name="phones", daemon=True).start()

    def close(self) -> None:
        self._server.shutdown()
        self._server.server_close()


def _handler(ring: Callable[[Rung], None]) -> type[BaseHTTPRequestHandler]:
    class Phone(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            raw = self.rfile.read(int(self.headers.get("Content-Length", 0)))
            try:
                said: dict[str, str] = json.loads(raw)
                person, now = self.path.strip("/"), time.monotonic()
                ring(Rung(person, said["title"], said["message"], now))
                self.send_response(200)
            except (ValueError, KeyError):
                self.send_response(400)
            self.send_header("Content-Length", "0")
            self.end_headers()

        def log_message(self, format: str, *args: Any) -> None:
            return

    return Phone


class Broker(Protocol):
    def start(self) -> object: ...
    def stop(self) -> None: ...


def embedded_broker(home: Path) -> tuple[Broker, int]:
    """A broker of our own in `home`, not yet started, and its port.

    Raises ConfigurationError where it is not installed.
    """
    try:
        from iotcore import Broker as Embedded
    except ImportError:
        wrong = "the embedded broker is not installed"
        right = "pip install 'kuraban[demo]', or start ./deploy/demo"
        raise ConfigurationError([Fault("demo", "iotcore", wrong, right)]) from None
    port = free_port()
    config = home / "broker.toml"
    config.write_text(BROKER.format(port=port), "utf-8")
    return Embedded(config_path=str(config)), port


def set_up_site(brewery: Path, home: Path, broker: int, phones: int, language: str) -> Path:
    """A copy of the invented brewery in `home`, with its broker and phones at these ports."""
    shutil.copytree(brewery, home / "brewery")
    site = home / "brewery" / "site.toml"
    text = site.read_text("utf-8")
    for old, new in (
        ("port = 1883", f"port = {broker}"),
        ("127.0.0.1:9800", f"127.0.0.1:{phones}"),
        ('language = "ja"', f'language = "{language}"'),
        ('language = "en"', f'language = "{language}"'),
    ):
        text = text.replace(old, new)
    site.write_text(text, "utf-8")
    return site


class Feeder:
    """Publishes a recording by the night's clock, and afterwards keeps every probe talking.

    `heard` gives what anybody logs, the recording's people and those at the keyboard alike.
    """

    def __init__(self, link: Mqtt, house: House, clock: Clock, night: Iterator[Recorded]) -> None:
        self._house, self._clock, self._night = house, clock, night
        self._status = f"{link.root}/watch/status"
        self._wire = Wire(house, link.root)
        self._root = link.root
        self._last: dict[str, float] = {}
        self._stopping = Event()
        self.played = Event()
        stage = Mqtt(link.host, link.port, root="stage", client_id="demo-probes")
        topics = (self._status, f"{link.root}/log/+")
        self._door = FrontDoor(stage, topics, elapsed, on_event=lambda event: None)
        self._thread = Thread(target=self._run, name="probes", daemon=True)

    def await_watch(self, within: float = 20.0) -> None:
        """Return when the watch says that it hears the broker; BrokerError where it does not."""
        self._door.start()
        deadline = time.monotonic() + within
        while not any(one.topic == self._status for one in self._taken(0.1)):
            if time.monotonic() < deadline:
                continue
            raise BrokerError(
                f"the embedded broker and the watch did not meet within {within:.0f} s "
                f"({self._door.reason or 'no answer'}); is loopback shut by a firewall?"
            )

    def heard(self) -> list[Arrived]:
        """The log entries that came through the broker since it was last asked."""
        return [one for one in self._taken(0.0) if one.topic != self._status]

    def _taken(self, wait: float) -> list[Arrived]:
        taken = self._door.take(100, wait)
        self._door.answer(taken)
        return taken

    def start(self) -> None:
        self._thread.start()

    def stop(self) -> None:
        self._stopping.set()
        if self._thread.is_alive():
            self._thread.join(2.0)
        self._door.stop(1.0)

    def _run(self) -> None:
        for message in self._night:
            if not self._wait_until(message.at):
                return
            self._door.publish(message.topic, message.payload)
            self._remember(message)
        self.played.set()
        while self._wait_until(self._clock() + MINUTE / max(len(self._last), 1)):
            self._keep_talking()

    def _wait_until(self, moment: float) -> bool:
        """Whether the moment came before the end did; the pace may change meanwhile."""
        while not self._stopping.is_set():
            rest = self._clock.real(moment) - elapsed()
            if rest <= 0:
                return True
            self._stopping.wait(min(rest, 0.2))
        return False

    def _remember(self, message: Recorded) -> None:
        for fact in self._wire.read(message.topic, message.payload, message.at, message.retained):
            if isinstance(fact, Reading):
                self._last[fact.probe] = fact.value

    def _keep_talking(self) -> None:
        """The probe that spoke longest ago says its last value again, as nearly as life does."""
        probe = next(iter(self._last))
        value = self._last.pop(probe)
        self._last[probe] = value
        entry = self._house.probe[probe]
        if entry.measures not in SIGNALS:
            value = round(value + random.choice((-0.0625, 0.0, 0.0625)) - entry.offset, 4)
        self._door.publish(entry.topic or f"{self._root}/reading/{probe}", _payload(entry, value))


def _payload(probe: Probe, value: float) -> str:
    """A value as that probe writes it: by itself, or where its pointer points."""
    inner: object = int(value) if probe.measures in SIGNALS else value
    if not probe.pointer:
        return str(inner)
    for name in reversed(probe.pointer.strip("/").split("/")):
        inner = {name: inner}
    return json.dumps(inner)
