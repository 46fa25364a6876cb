"""The one place that knows paho: a client that reads and answers in bulk, and its TLS.

paho reads a message with three system calls and a select, and answers it with two. Here one call
reads as much as has come, and one packet carries the answers of a whole turn: the same backlog is
drained in little more than half the processor time. `_sock_recv` and `_packet_queue` are paho's own
and not promised; the tests of this module notice when they change.
"""

from __future__ import annotations

import ssl
import struct
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
                self._ahead = ahead = super()._sock_recv(65536)
            except BlockingIOError:
                raise
            except OSError as error:
                self.broke = error
                raise
            start = 0
        self._used = end = start + bufsize
        return ahead[start:end]

    def turn(self) -> int:
        """Write, look after pings, and handle up to a hundred packets; an error code or 0."""
        self.waited = False
        code: int = self.loop(0.0 if self._used < len(self._ahead) else 1.0)
        for _ in range(100):
            if code or self.waited or self._used >= len(self._ahead):
                break
            code = self.loop_read()
        return code

    def forget(self) -> None:
        """Nothing read ahead, and no exception kept, of an earlier connection."""
        self._ahead, self._used, self.broke = b"", 0, None

    def answer(self, mids: list[int]) -> None:
        """PUBACK for each of `mids`, in their order (MQTT 5.0, 4.6)."""
        packet = b"".join([_PUBACK(mqtt.PUBACK, 2, mid) for mid in mids])
        self._packet_queue(mqtt.PUBACK, packet, 0, 1)


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
