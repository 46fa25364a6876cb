"""What somebody can do who took a probe from the wall and reads its password: next to nothing."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from tests.broker import USERS, Mosquitto, free_port

THIEF = "t3-mid"
PROBES_LISTENER = "\nlistener {port} 127.0.0.1\nuse_username_as_clientid true\n"
"""The encrypted listener of the delivered configuration, without its certificates."""


@pytest.fixture
def probes_port() -> int:
    return free_port()


@pytest.fixture
def broker(tmp_path: Path, probes_port: int) -> Iterator[Mosquitto]:
    with Mosquitto(tmp_path, PROBES_LISTENER.format(port=probes_port)) as running:
        yield running


class Client:
    """Somebody at the broker: what they heard, and whether they are still connected."""

    def __init__(self, port: int, user: str, client_id: str, *, clean: bool = True) -> None:
        self.heard: list[tuple[str, bytes]] = []
        self.gone = threading.Event()
        self._there = threading.Event()
        self._client = mqtt.Client(
            CallbackAPIVersion.VERSION2, client_id=client_id, protocol=mqtt.MQTTv5
        )
        self._client.username_pw_set(user, USERS[user])
        self._client.on_message = self._on_message
        self._client.on_connect = lambda *_: self._there.set()
        self._client.on_disconnect = lambda *_: self.gone.set()
        expiry = Properties(PacketTypes.CONNECT)
        expiry.SessionExpiryInterval = 3600
        self._client.connect("127.0.0.1", port, clean_start=clean, properties=expiry)
        self._client.loop_start()
        assert self._there.wait(10)

    def _on_message(self, _client: Any, _data: Any, message: mqtt.MQTTMessage) -> None:
        self.heard.append((message.topic, message.payload))

    def subscribe(self, *topics: str) -> None:
        done = threading.Event()
        self._client.on_subscribe = lambda *_: done.set()
        self._client.subscribe([(topic, 1) for topic in topics])
        assert done.wait(10)

    def publish(self, topic: str, payload: str, *, retain: bool = False) -> None:
        """Once the broker has answered, or has thrown us out for it."""
        sent = self._client.publish(topic, payload, 1, retain)
        with suppress(RuntimeError):
            sent.wait_for_publish(0.5)

    def settled(self, seconds: float = 0.5) -> list[tuple[str, bytes]]:
        """What was heard, after a while in which more would have come."""
        time.sleep(seconds)
        return self.heard

    def close(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()


def test_a_stolen_probe_can_only_lie_about_itself(broker: Mosquitto) -> None:
    """It makes no entry, no reading of another one, and nothing in the name of the watch."""
    watch = Client(broker.port, "kuraban", "kuraban")
    watch.subscribe("kura/#")
    for topic in (
        "kura/reading/t4-mid", "kura/reading/t3-mid/x", "kura/reading", "kura/log/tank-3",
        "kura/log/watch", "kura/watch/status", "kura/watch/alarm/tank-3/warm", "kura/x",
    ):  # fmt: skip
        for payload, retain in (('{"entry":"out-of-service"}', False), ("", True)):
            thief = Client(broker.port, THIEF, "thief")
            thief.publish(topic, payload, retain=retain)
            thief.close()
    thief = Client(broker.port, THIEF, "thief")
    thief.publish(f"kura/reading/{THIEF}", "10.46")
    assert watch.settled() == [(f"kura/reading/{THIEF}", b"10.46")]
    watch.close()
    thief.close()


def test_a_feed_writes_readings_and_nothing_else(broker: Mosquitto) -> None:
    """Of any probe; no entry, and nothing in the name of the watch."""
    watch = Client(broker.port, "kuraban", "kuraban")
    watch.subscribe("kura/#")
    feed = Client(broker.port, "feed", "feed")
    feed.subscribe("#", "kura/#")
    for topic in ("kura/log/tank-3", "kura/watch/status", "kura/reading", "kura/reading/t3-mid"):
        feed.publish(topic, "10.46")
    assert watch.settled() == [("kura/reading/t3-mid", b"10.46")] and not feed.heard
    watch.close()
    feed.close()


def test_a_stolen_probe_hears_nothing(broker: Mosquitto) -> None:
    """Neither what the brewery measures nor what people do, nor what the broker says of itself."""
    watch, thief = Client(broker.port, "kuraban", "kuraban"), Client(broker.port, THIEF, "thief")
    thief.subscribe("#", "kura/#", "kura/reading/+", "kura/log/#", "kura/watch/#", "$SYS/#")
    watch.publish("kura/watch/status", "watching", retain=True)
    watch.publish("kura/log/tank-3", '{"entry":"stir"}')
    other = Client(broker.port, "t4-mid", "t4")
    other.publish("kura/reading/t4-mid", "9.1")
    assert thief.settled() == []
    for one in (watch, thief, other):
        one.close()


def test_a_stolen_probe_cannot_take_the_watchs_place(broker: Mosquitto, probes_port: int) -> None:
    """A client that calls itself as the watch does would throw it out and empty its session. On
    the probes' listener it is called by its user, whatever it says."""
    watch = Client(broker.port, "kuraban", "kuraban", clean=False)
    watch.subscribe("kura/reading/#")
    thief = Client(probes_port, THIEF, "kuraban")
    thief.publish(f"kura/reading/{THIEF}", "10.46")
    assert watch.settled() == [(f"kura/reading/{THIEF}", b"10.46")]
    assert not watch.gone.is_set()
    watch.close()
    thief.close()


def test_the_delivered_listener_of_the_probes_calls_them_by_their_user(broker: Mosquitto) -> None:
    """It stands among the lines that are switched on with the certificates."""
    for path in ("deploy/mosquitto/kuraban.conf", "deploy/compose/broker/mosquitto.conf"):
        text = (Path(__file__).parents[2] / path).read_text("utf-8")
        block = text.partition("#listener 8883")[2].partition("\n\n")[0]
        assert "\n#use_username_as_clientid true" in block
