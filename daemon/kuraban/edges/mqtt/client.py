"""The one place that knows paho: a client that reads and answers in bulk, and its TLS.

paho reads a message with three system calls and a select, and answers it with two. Here one call
reads as much as has come, and one packet carries the answers of a whole turn. And paho gives every
message all the properties that it might have, which takes longer than all the rest; we use none, so
messages are taken from what was read as they lie there, and everything else is left to paho. The
same backlog is drained in a quarter of the processor time. `_sock_recv`, `_packet_queue`,
`_in_packet`, `_in_callback_mutex` and `_last_bytes_received` are paho's own and not promised; the
tests of this module notice when they change.
"""

from __future__ import annotations

import ssl
import struct
import time
from os import PathLike
from typing import Final, Protocol

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.subscribeoptions import SubscribeOptions

from kuraban.errors import ConfigurationError, Fault

RECEIVE_MAXIMUM: Final = 60_000
"""High, and no back-pressure: one answer releases a whole new window."""


LEAST_AHEAD, MOST_AHEAD = 2**16, 2**20
"""Bytes that are read at a time, more where more has come: each time the thread has to wait for the
interpreter, some milliseconds while the watch judges."""

File = str | PathLike[str] | None


class Link(Protocol):
    """How to reach the broker. TLS is spoken when `ca_file` or `cert_file` is given."""

    @property
    def host(self) -> str: ...
    @property
    def port(self) -> int: ...
    @property
    def user(self) -> str | None: ...
    @property
    def password(self) -> str | None: ...
    @property
    def ca_file(self) -> File: ...
    @property
    def cert_file(self) -> File: ...
    @property
    def key_file(self) -> File: ...
    @property
    def client_id(self) -> str: ...
    @property
    def keepalive(self) -> float: ...
    @property
    def root(self) -> str: ...


class Client(mqtt.Client):
    """One session with the broker of `link`, kept there for `expiry` seconds; 0 starts clean.

    It connects with `reconnect`, and is then kept going by calling `turn` until that answers
    something else than 0 or `socket` is None. Nothing of it starts a thread.
    """

    broke: OSError | None = None
    """What the socket met, which paho itself only logs."""
    waited = False
    """Set by a callback that kept the thread waiting: time to look after writing and pings."""
    _most = LEAST_AHEAD
    _ahead = b""
    _used = 0

    def __init__(self, link: Link, client_id: str, tls: ssl.SSLContext | None, expiry: int) -> None:
        super().__init__(
            CallbackAPIVersion.VERSION2, client_id, protocol=mqtt.MQTTv5, manual_ack=True
        )
        if link.user is not None:
            self.username_pw_set(link.user, link.password)
        if tls is not None:
            self.tls_set_context(tls)
        self.max_queued_messages_set(1000)
        self.on_socket_register_write = lambda *_: None  # only `turn` writes
        properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
        properties.SessionExpiryInterval = expiry
        properties.ReceiveMaximum = RECEIVE_MAXIMUM
        self.connect_async(
            link.host,
            link.port,
            min(max(int(link.keepalive), 2), 65535),
            clean_start=not expiry,
            properties=properties,
        )

    def ask(self, topics: tuple[str, ...], qos: int, *, retained_again: bool) -> int:
        """Subscribe; the number under which the answer comes. Retained words come with a new
        subscription, and with a known one only `retained_again`."""
        options = SubscribeOptions(qos, retainHandling=0 if retained_again else 1)
        _, mid = self.subscribe([(topic, options) for topic in topics])
        return mid or 0

    def _sock_recv(self, bufsize: int) -> bytes:
        start, ahead = self._used, self._ahead
        if start >= len(ahead):
            try:
                self._ahead = ahead = super()._sock_recv(self._most)
            except BlockingIOError:
                raise
            except OSError as error:
                self.broke = error
                raise
            start = 0
            self._most = MOST_AHEAD if len(ahead) == self._most else LEAST_AHEAD
        self._used = end = start + bufsize
        return ahead[start:end]

    def turn(self) -> int:
        """Write, look after pings, and handle up to a hundred packets; an error code or 0."""
        self.waited = False
        code: int = self.loop(0.0 if self._used < len(self._ahead) else 1.0)
        for _ in range(100):
            if code or self.waited or self._used >= len(self._ahead):
                break
            code = 0 if self._publish_ahead() else self.loop_read()
        return code

    def _publish_ahead(self) -> bool:
        """Hand over the next packet if it is a whole PUBLISH (MQTT 5.0, 3.3) of QoS 0 or 1.

        False leaves it to paho, which also knows what to say of a malformed one.
        """
        data, start = self._ahead, self._used
        head = data[start]
        if head >> 4 != 3 or head & 4 or self._in_packet["command"]:
            return False
        try:
            size, body = _number(data, start + 1)
            end = body + size
            topic = body + 2 + (data[body] << 8 | data[body + 1])
            mid, rest = (data[topic] << 8 | data[topic + 1], topic + 2) if head & 2 else (0, topic)
            size, rest = _number(data, rest)
        except IndexError:
            return False
        if not rest + size <= end <= len(data):
            return False
        self._used = end
        self._last_bytes_received = time.monotonic()
        message = mqtt.MQTTMessage(mid, data[body + 2 : topic])
        message.payload = data[rest + size : end]
        message.qos, message.retain, message.dup = head >> 1 & 3, bool(head & 1), bool(head & 8)
        self._hand_over(message)
        return True

    def _hand_over(self, message: mqtt.MQTTMessage) -> None:
        call = self.on_message
        if call is not None:
            with self._in_callback_mutex:
                call(self, None, message)

    def forget(self) -> None:
        """Nothing read ahead, and no exception kept, of an earlier connection."""
        self._ahead, self._used, self.broke = b"", 0, None

    def answer(self, mids: list[int]) -> None:
        """PUBACK for each of `mids`, in their order (MQTT 5.0, 4.6)."""
        packet = b"".join([_PUBACK(mqtt.PUBACK, 2, mid) for mid in mids])
        self._packet_queue(mqtt.PUBACK, packet, 0, 1)


def _number(data: bytes, at: int) -> tuple[int, int]:
    """A variable byte integer (MQTT 5.0, 1.5.5) and where it ends; IndexError where it is none."""
    value = data[at]
    if value < 128:
        return value, at + 1
    value &= 127
    for place in (1, 2, 3):
        value |= (data[at + place] & 127) << 7 * place
        if data[at + place] < 128:
            return value, at + place + 1
    raise IndexError


_PUBACK: Final = struct.Struct("!BBH").pack


def tls_context(link: Link) -> ssl.SSLContext | None:
    """None without TLS. Raises ConfigurationError when a file cannot be used."""
    if link.ca_file is None and link.cert_file is None:
        return None
    try:
        context = ssl.create_default_context(cafile=link.ca_file)
    except OSError as error:
        raise _unusable("ca_file", link.ca_file, error) from error
    if link.cert_file is not None:
        try:
            context.load_cert_chain(link.cert_file, link.key_file)
        except OSError as error:
            raise _unusable("cert_file", link.cert_file, error) from error
    return context


def _unusable(key: str, file: File, error: OSError) -> ConfigurationError:
    wrong = f"{file} cannot be used ({error.strerror or error})"
    right = "a readable file in PEM form, the key beside its certificate"
    return ConfigurationError([Fault("settings", f"mqtt.{key}", wrong, right)])
