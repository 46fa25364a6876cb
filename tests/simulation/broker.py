"""A broker: sessions that it keeps, messages that it sends again, words that it retains.

As MQTT 5 has it, no more than the front door uses. What was not answered comes again at the next
connect, first and in its order; across topics the order may change, within one never.
"""

from __future__ import annotations

import ssl
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field
from types import SimpleNamespace
from typing import Any

from kuraban.edges.mqtt.client import Link
from tests.simulation.machine import Event, Machine

ECHOES_WITHIN = 10.0
READS_AT_ONCE = 100


@dataclass(eq=False)
class Sent:
    """One message of the brewery. `what` is how its publisher knows it."""

    topic: str
    payload: bytes
    at: float
    what: Any = None
    retained: bool = False
    given: int = 0
    """How often it was handed to the watch."""
    answered: bool = False
    lost: bool = False
    """The broker forgot it before it was answered."""
    wrong: bool = False
    """The watch's wall clock was wrong when it was handed over."""


@dataclass(eq=False)
class Session:
    queue: deque[Sent] = field(default_factory=deque)
    unanswered: dict[int, Sent] = field(default_factory=dict)
    topics: tuple[str, ...] = ()
    client: Client | None = None
    number: int = 0

    def next_number(self) -> int:
        self.number = self.number % 65535 + 1
        return self.number


class Broker:
    def __init__(self, machine: Machine, wrong: Callable[[str, str], None]) -> None:
        self.machine, self.wrong = machine, wrong
        self.up = True
        self.sessions: dict[str, Session] = {}
        self.retained: dict[str, bytes] = {}
        self.sent: list[Sent] = []
        self.wills: dict[str, tuple[str, bytes]] = {}

    # What the brewery does.

    def publish(self, topic: str, payload: bytes, what: Any = None) -> Sent:
        """From outside. What nobody has subscribed to is nobody's."""
        message = Sent(topic, payload, self.machine.now, what)
        self.sent.append(message)
        message.lost = not self._spread(message)
        return message

    def _spread(self, message: Sent) -> bool:
        kept = False
        for session in self.sessions.values():
            if any(_fits(topic, message.topic) for topic in session.topics):
                keeps = session.client is None or session.client.keeps
                if session.client is None and not keeps:
                    continue
                session.queue.append(message)
                kept = kept or keeps
                if session.client is not None:
                    session.client.ring()
        return kept

    # What befalls it.

    def drop(self) -> None:
        for session in list(self.sessions.values()):
            if session.client is not None:
                session.client.cut()

    def down(self) -> None:
        self.up = False
        self.drop()

    def back(self) -> None:
        self.up = True

    def forget(self) -> None:
        """It comes back empty."""
        self.drop()
        for session in self.sessions.values():
            for message in (*session.queue, *session.unanswered.values()):
                message.lost = True
        self.sessions, self.retained = {}, {}

    def shuffle(self, order: Callable[[list[str]], None]) -> None:
        """Topics are told in another order; each one's own stays."""
        for session in self.sessions.values():
            lines: dict[str, list[Sent]] = {}
            for message in session.queue:
                lines.setdefault(message.topic, []).append(message)
            topics = [message.topic for message in session.queue]
            order(topics)
            session.queue = deque(lines[topic].pop(0) for topic in topics)

    # What the watch's sessions say.

    def enter(self, client: Client) -> bool:
        """Whether the session was known."""
        known = client.name in self.sessions and client.keeps
        if not known:
            self.sessions[client.name] = Session()
        session = self.sessions[client.name]
        if session.client is not None and session.client is not client:
            session.client.cut()
        session.client = client
        session.queue.extendleft(reversed(session.unanswered.values()))
        session.unanswered.clear()
        return known

    def leave(self, client: Client, *, will: bool) -> None:
        session = self.sessions.get(client.name)
        if session is None or session.client is not client:
            return
        session.client = None
        if not client.keeps:
            del self.sessions[client.name]
        if will and client.will is not None:
            self.retained[client.will[0]] = client.will[1]


class Client:
    """Stands for `kuraban.edges.mqtt.client.Client`: one session, driven by its `turn`."""

    will: tuple[str, bytes] | None = None
    broke: OSError | None = None
    waited = False
    on_message: Callable[..., None]
    on_connect: Callable[..., None]
    on_subscribe: Callable[..., None]
    on_disconnect: Callable[..., None]
    on_publish: Callable[..., None]

    def __init__(
        self, broker: Broker, bell: type[Event], _link: Link, name: str,
        _tls: ssl.SSLContext | None, expiry: int,
    ) -> None:  # fmt: skip
        self._broker, self.name, self.keeps = broker, name, expiry > 0
        self._bell = bell()
        self._in = self._lost = self._leaving = False
        self._since = 0.0
        self._packets: deque[Callable[[], None]] = deque()
        self._waiting: list[tuple[str, bytes, bool]] = []
        self._given: deque[int] = deque()
        self._asked = 0

    def will_set(self, topic: str, payload: str, qos: int, retain: bool) -> None:
        self.will = topic, payload.encode()

    def socket(self) -> object | None:
        return self if self._in else None

    def ring(self) -> None:
        self._bell.set()

    def cut(self) -> None:
        """The connection is broken."""
        self._broker.leave(self, will=True)
        self._lost = True
        self.ring()

    def forget(self) -> None:
        self._packets.clear()
        self._given.clear()
        self.broke = None

    def reconnect(self) -> None:
        if not self._broker.up:
            raise ConnectionRefusedError(111, "Connection refused")
        known = self._broker.enter(self)
        self._in, self._lost, self._leaving = True, False, False
        self._since = self._broker.machine.mono
        flags, well = SimpleNamespace(session_present=known), SimpleNamespace(is_failure=False)
        self._packets.append(lambda: self.on_connect(self, None, flags, well, None))

    def disconnect(self) -> None:
        self._leaving = True
        self.ring()

    def turn(self) -> int:
        self.waited = False
        self._bell.clear()
        if not self._ready():
            machine = self._broker.machine
            self._bell.wait(1.0 if machine.mono - self._since < ECHOES_WITHIN else 60.0)
        for _ in range(READS_AT_ONCE):
            if self._lost or self._leaving or not self._ready() or self.waited:
                break
            self._read()
        if not (self._lost or self._leaving):
            return 0
        if not self._lost:
            self._broker.leave(self, will=False)
        self._in = False
        flags = SimpleNamespace(is_disconnect_packet_from_server=False)
        self.broke = ConnectionResetError(104, "Connection reset by peer") if self._lost else None
        self.on_disconnect(self, None, flags, None, None)
        return 0 if self._leaving else 7

    def _ready(self) -> bool:
        session = self._broker.sessions.get(self.name)
        mine = session is not None and session.client is self and bool(session.queue)
        return bool(self._packets) or mine or self._lost or self._leaving

    def _read(self) -> None:
        if self._packets:
            self._packets.popleft()()
            return
        session = self._broker.sessions[self.name]
        message = session.queue.popleft()
        number = 0
        if self.keeps:
            number = session.next_number()
            session.unanswered[number] = message
            self._given.append(number)
        message.given += 1
        message.wrong = message.wrong or bool(self._broker.machine.wrong)
        self._broker.machine.message()
        self._hand_over(message.topic, message.payload, number, message.retained)

    def _hand_over(self, topic: str, payload: bytes, number: int, retained: bool) -> None:
        self.on_message(
            self, None,
            SimpleNamespace(
                topic=topic, payload=payload, mid=number, qos=int(number > 0), retain=retained
            ),
        )  # fmt: skip

    def ask(self, topics: tuple[str, ...], qos: int, *, retained_again: bool) -> int:
        self._asked += 1
        number, session = self._asked, self._broker.sessions[self.name]
        new = [topic for topic in topics if topic not in session.topics]
        if not any(topic.endswith("watch/status") for topic in topics):
            session.topics = (*session.topics, *new)
        reasons = [SimpleNamespace(value=qos) for _ in topics]
        self._packets.append(lambda: self.on_subscribe(self, None, number, reasons, None))
        wanted = topics if retained_again else tuple(new)
        for topic, payload in self._broker.retained.items():
            if any(_fits(one, topic) for one in wanted):
                self._packets.append(
                    lambda topic=topic, payload=payload: self._hand_over(topic, payload, 0, True)
                )  # type: ignore[misc]
        return number

    def publish(self, topic: str, payload: bytes | str, qos: int, retain: bool = False) -> None:
        data = payload.encode() if isinstance(payload, str) else payload
        if not self._in or self._lost:
            self._waiting = [*self._waiting, (topic, data, retain)][-1000:]
            return
        for one in (*self._waiting, (topic, data, retain)):
            self._take(*one)
        self._waiting = []

    def _take(self, topic: str, payload: bytes, retain: bool) -> None:
        if retain and payload:
            self._broker.retained[topic] = payload
        elif retain:
            self._broker.retained.pop(topic, None)

    def answer(self, mids: list[int]) -> None:
        session = self._broker.sessions.get(self.name)
        if session is None or session.client is not self or self._lost:
            return
        for number in mids:
            if not self._given or self._given.popleft() != number:
                self._broker.wrong("order of answers", f"{number} was answered out of turn")
            message = session.unanswered.pop(number, None)
            if message is not None:
                message.answered = True

    def ack(self, mid: int, qos: int) -> None:
        return None


def _fits(wanted: str, topic: str) -> bool:
    parts, levels = wanted.split("/"), topic.split("/")
    if parts[-1] == "#":
        return levels[: len(parts) - 1] == parts[:-1]
    return len(parts) == len(levels) and all(
        part in ("+", level) for part, level in zip(parts, levels, strict=True)
    )
