from __future__ import annotations

import inspect
import socket
import time
from importlib.metadata import version
from pathlib import Path
from typing import Any

import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from kuraban.edges.mqtt.client import Client, _number, tls_context
from kuraban.errors import ConfigurationError
from tests.broker import USERS, Mosquitto
from tests.edges.conftest import Place, publish


class Listener:
    """A bare client on a kept session, turned by hand."""

    def __init__(self, port: int, client_id: str = "night") -> None:
        self.client = Client(Place(port), client_id, None, expiry=600)
        self.got: list[tuple[bytes, int]] = []
        self.ready = False
        self.client.on_connect = self._ask
        self.client.on_subscribe = lambda *_: setattr(self, "ready", True)
        self.client.on_message = lambda *arguments: self.got.append(
            (bytes(arguments[2].payload), arguments[2].mid)
        )
        self.client.reconnect()
        deadline = time.monotonic() + 5
        while not self.ready and time.monotonic() < deadline:
            assert self.client.turn() == 0

    def _ask(self, *_: Any) -> None:
        self.client.ask(("kura/reading/+",), 1, retained_again=False)

    def turn_until(self, count: int) -> None:
        deadline = time.monotonic() + 5
        while len(self.got) < count and time.monotonic() < deadline:
            assert self.client.turn() == 0


def test_a_hundred_readings_take_few_reads(
    mosquitto: Mosquitto, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What has come is read at once, not in three calls a message, and nothing is left over."""
    listener = Listener(mosquitto.port)
    calls: list[int] = []
    real = socket.socket.recv

    def counted(sock: socket.socket, size: int, *flags: int) -> bytes:
        calls.append(size)
        return real(sock, size, *flags)

    publish(mosquitto.port, *[str(number) for number in range(100)])
    monkeypatch.setattr(type(listener.client.socket()), "recv", counted, raising=False)
    listener.turn_until(100)
    assert [payload for payload, _ in listener.got] == [b"%d" % n for n in range(100)]
    assert 0 < len([size for size in calls if size == 65536]) < 50
    assert not [size for size in calls if size < 1000]
    listener.client.disconnect()
    listener.client.turn()


def test_one_packet_answers_many(mosquitto: Mosquitto) -> None:
    """All answers go out together, and the broker has understood each of them."""
    listener = Listener(mosquitto.port)
    publish(mosquitto.port, *[str(number) for number in range(50)])
    listener.turn_until(50)
    listener.client.answer([mid for _, mid in listener.got[:40]])
    assert len(listener.client._out_packet) == 1
    listener.client.turn()
    time.sleep(0.2)
    listener.client.disconnect()
    listener.client.turn()
    again = Listener(mosquitto.port)
    again.turn_until(10)
    again.client.turn()
    assert [payload for payload, _ in again.got] == [b"%d" % n for n in range(40, 50)]
    again.client.disconnect()
    again.client.turn()


def test_a_message_is_the_same_read_ahead_or_by_paho(
    mosquitto: Mosquitto, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Long and short, empty, with properties and without, in one piece or in many."""
    parts = [b"", b"10.46", b"x" * 200, b"y" * 20_000, b"z" * 70_000]
    for ahead in (True, False):
        if not ahead:
            monkeypatch.setattr(Client, "_publish_ahead", lambda self: False)
        listener = Listener(mosquitto.port, f"ahead-{ahead}")
        send_with_properties(mosquitto.port, parts)
        publish(mosquitto.port, *[part.decode() for part in parts])
        listener.turn_until(2 * len(parts))
        assert [payload for payload, _ in listener.got] == parts * 2
        listener.client.disconnect()
        listener.client.turn()


def send_with_properties(port: int, payloads: list[bytes]) -> None:
    properties = Properties(PacketTypes.PUBLISH)  # type: ignore[no-untyped-call]
    properties.UserProperty = [("board", "cellar"), ("battery", "3.1 V " * 40)]
    client = mqtt.Client(CallbackAPIVersion.VERSION2, protocol=mqtt.MQTTv5)
    client.username_pw_set("t3-mid", USERS["t3-mid"])
    client.connect("127.0.0.1", port)
    client.loop_start()
    for payload in payloads:
        sent = client.publish("kura/reading/t3-mid", payload, 1, properties=properties)
        sent.wait_for_publish(5)
    client.disconnect()
    client.loop_stop()


@pytest.mark.parametrize(
    ("data", "number"),
    [
        (b"\x00", 0),
        (b"\x7f", 127),
        (b"\x80\x01", 128),
        (b"\xff\x7f", 16_383),
        (b"\x80\x80\x80\x01", 2_097_152),
        (b"\xff\xff\xff\x7f", 268_435_455),
    ],
)
def test_lengths_are_read_as_the_standard_writes_them(data: bytes, number: int) -> None:
    # MQTT 5.0 (OASIS 2019), table 1-1
    assert _number(data, 0) == (number, len(data))


@pytest.mark.parametrize("data", [b"", b"\x80", b"\xff\xff\xff\xff\x01"])
def test_a_length_without_end_is_none(data: bytes) -> None:
    """Cut off, or longer than four bytes."""
    with pytest.raises(IndexError):
        _number(data, 0)


def test_what_broke_the_link_is_kept(mosquitto: Mosquitto) -> None:
    """The exception of the socket is there to be told."""
    listener = Listener(mosquitto.port)
    mosquitto.stop()
    deadline = time.monotonic() + 5
    while listener.client.turn() == 0 and time.monotonic() < deadline:
        pass
    assert listener.client.socket() is None
    listener.client.broke = ConnectionResetError()
    listener.client.forget()
    assert listener.client.broke is None


def test_tls_is_spoken_only_when_a_file_is_named(tmp_path: Path) -> None:
    """No file, no TLS; a file that is none is a fault of the settings with its key."""
    assert tls_context(Place(1883, password=USERS["kuraban"])) is None
    wrong = tmp_path / "not.pem"
    wrong.write_text("no certificate")
    with pytest.raises(ConfigurationError, match=r"mqtt\.ca_file"):
        tls_context(Place(1883, ca_file=wrong))
    with pytest.raises(ConfigurationError, match=r"mqtt\.cert_file"):
        tls_context(Place(1883, cert_file=wrong))


PAHOS_OWN = {
    "_sock_recv": ["self", "bufsize"],
    "_packet_queue": ["self", "command", "packet", "mid", "qos", "info"],
}
"""Methods of paho that our client overrides or calls, with what they take; not promised by paho."""


@pytest.mark.parametrize("name", PAHOS_OWN)
def test_paho_still_has_the_method_that_we_rely_on(name: str) -> None:
    """An edition that changes it is not taken before `edges/mqtt/client.py` was read anew."""
    found = getattr(mqtt.Client, name, None)
    assert found is not None, f"paho {version('paho-mqtt')} has no Client.{name} any more"
    assert list(inspect.signature(found).parameters) == PAHOS_OWN[name]


def test_paho_still_keeps_what_we_look_at() -> None:
    """The packet at hand, when it heard last, and the lock about its callbacks."""
    paho = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2)
    assert paho._in_packet["command"] == 0
    assert "_last_bytes_received" in mqtt.Client._check_keepalive.__code__.co_names
    with paho._in_callback_mutex:
        pass
