"""What the tests of the edges share: brokers with ours inside, and a front door that is shut."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import paho.mqtt.publish as publishing
import pytest
from paho.mqtt.client import MQTTv5

from kuraban.edges.mqtt.front_door import Arrived, FrontDoor
from kuraban.edges.mqtt.link_report import LinkEvent
from tests.broker import USERS, Embedded, Mosquitto


@dataclass(frozen=True)
class Place:
    """How the door of a test reaches its broker."""

    port: int
    host: str = "127.0.0.1"
    user: str | None = "kuraban"
    password: str | None = USERS["kuraban"]
    ca_file: Path | None = None
    cert_file: Path | None = None
    key_file: Path | None = None
    client_id: str = "night"
    keepalive: int = 30
    root: str = "kura"


@dataclass
class House:
    """A front door and everything that it told."""

    door: FrontDoor
    told: list[LinkEvent] = field(default_factory=list)

    def take(self, count: int, within: float = 10.0) -> list[Arrived]:
        """`count` messages, or what came within that many seconds."""
        got: list[Arrived] = []
        deadline = time.monotonic() + within
        while len(got) < count and time.monotonic() < deadline:
            got += self.door.take(count - len(got), 0.2)
        return got

    def await_event(self, kind: str, word: str = "", within: float = 10.0) -> LinkEvent:
        deadline = time.monotonic() + within
        while time.monotonic() < deadline:
            for event in list(self.told):
                if event.kind == kind and word in event.reason:
                    return event
            time.sleep(0.02)
        raise AssertionError(f"no {kind!r} with {word!r} in {self.told}")

    def await_link(self, connected: bool = True, within: float = 10.0) -> None:
        deadline = time.monotonic() + within
        while self.door.connected is not connected:
            assert time.monotonic() < deadline, self.told
            time.sleep(0.02)

    def await_link_after(self, link: int, within: float = 10.0) -> None:
        """Wait for a connection later than number `link`."""
        deadline = time.monotonic() + within
        while self.door.link == link or not self.door.connected:
            assert time.monotonic() < deadline, self.told
            time.sleep(0.02)

    def come_again(self) -> None:
        """Leave the broker and come back as the session that it kept."""
        for turn in (self.door.pause_kept_session, self.door.resume_kept_session):
            link = self.door.link
            turn()
            self.await_link_after(link)


Open = Callable[..., House]


@pytest.fixture
def open_door() -> Iterator[Open]:
    """Opens doors and shuts all of them at the end."""
    doors: list[FrontDoor] = []

    def opened(place: Place, *, capacity: int = 20_000, up: bool = True, **other: Any) -> House:
        told: list[LinkEvent] = []
        topics = ("kura/reading/+", "kura/log/+")
        door = FrontDoor(
            replace(place, **other), topics, time.time, capacity=capacity, on_event=told.append
        )
        doors.append(door)
        door.start()
        house = House(door, told)
        if up:
            house.await_link()
        return house

    yield opened
    for door in doors:
        door.stop()


HASTY = ("autosave_on_changes",)
"""Left out where a test kills no broker: saving at each change takes milliseconds a message."""


@pytest.fixture
def mosquitto(tmp_path: Path) -> Iterator[Mosquitto]:
    with Mosquitto(tmp_path, without=HASTY) as broker:
        yield broker


@pytest.fixture(params=["mosquitto", "embedded"])
def broker(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Mosquitto | Embedded]:
    real = request.param == "mosquitto"
    with Mosquitto(tmp_path, without=HASTY) if real else Embedded(tmp_path) as broker:
        yield broker


def publish(port: int, *payloads: str, user: str = "t3-mid", topic: str = "") -> None:
    """What a probe does: each payload at QoS 1, on its own topic unless another is named."""
    publishing.multiple(
        [(topic or f"kura/reading/{user}", payload, 1, False) for payload in payloads],
        hostname="127.0.0.1",
        port=port,
        auth={"username": user, "password": USERS[user]},
        protocol=MQTTv5,
        client_id=f"probe-{user}",
    )
