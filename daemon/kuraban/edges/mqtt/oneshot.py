"""Short visits to the broker, beside the watch's own session: say one thing, or listen a while.

A visit has a client id of its own and leaves nothing behind at the broker. It runs in the caller's
thread.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any, Final
from uuid import uuid4

from kuraban.edges.mqtt.client import Client, Link, tls_context
from kuraban.edges.mqtt.connack_reasons import breakdown, refusal
from kuraban.errors import BrokerError

PATIENCE: Final = 10.0
"""Seconds within which a broker that is well has answered."""
NOBODY: Final = 0x10
"""MQTT 5's "no matching subscribers": taken, and nobody listens."""
AGAIN: Final = 2.0

Take = Callable[[str, bytes, bool], None]
"""Is given topic, payload, and whether the broker had kept the message."""


class Visit:
    """One connection, open once `enter` returns; its BrokerErrors say what to do."""

    def __init__(self, link: Link, purpose: str) -> None:
        self.link = link
        self.place = f"{link.host}:{link.port}"
        self.client_id = f"{link.client_id}-{purpose}-{uuid4().hex[:8]}"
        self.client = Client(link, self.client_id, tls_context(link), 0)
        self.welcome: Any = None
        self.granted: Any = None
        self.answered: Any = None
        self.client.on_connect = self._noting("welcome")
        self.client.on_subscribe = self._noting("granted")
        self.client.on_publish = self._noting("answered")

    def enter(self) -> None:
        self.client.forget()
        self.welcome = self.granted = None
        try:
            self.client.reconnect()
        except (OSError, ValueError) as error:
            raise BrokerError(breakdown(error, self.link.host, self.link.port)) from None
        self._until(lambda: self.welcome is not None, "let us in")
        if self.welcome.is_failure:
            code, name = self.welcome.value, str(self.welcome)
            raise BrokerError(
                f"{self.place}: {refusal(code, name, user=self.link.user, client=self.client_id)}"
            )

    def say(self, topic: str, payload: bytes, *, retain: bool = False) -> bool:
        """Publish with QoS 1 and wait for the answer; whether anybody listens there."""
        self.answered = None
        self.client.publish(topic, payload, qos=1, retain=retain)
        self._until(lambda: self.answered is not None, f"take {topic}")
        if self.answered.is_failure:
            raise BrokerError(
                f"{self.place} refused {topic} ({str(self.answered).lower()}); let user "
                f"{self.link.user or '(none given)'} write it in the broker's access list"
            )
        return bool(self.answered.value != NOBODY)

    def subscribe(self, topics: tuple[str, ...], take: Take) -> None:
        """From now on `take` is given what comes; a refused topic is a BrokerError."""

        def on_message(_client: object, _data: object, message: Any) -> None:
            take(message.topic, bytes(message.payload), bool(message.retain))
            self.client.ack(message.mid, message.qos)

        self.client.on_message = on_message
        self.client.ask(topics, 1, retained_again=True)
        self._until(lambda: self.granted is not None, "let us listen")
        for topic, reason in zip(topics, self.granted or (), strict=False):
            if reason.value >= 0x80:
                raise BrokerError(
                    f"{self.place}: {topic}: subscription refused ({str(reason).lower()}); let "
                    f"user {self.link.user or '(none given)'} read it"
                )

    def turn(self) -> None:
        """Handle what has come, or wait for it, at most a second."""
        if self.client.turn() or self.client.socket() is None:
            broke = self.client.broke
            raise BrokerError(
                breakdown(broke, self.link.host, self.link.port)
                if broke is not None
                else f"{self.place} closed the connection without a word"
            )

    def leave(self) -> None:
        """Say goodbye, so that the broker knows at once that nobody listens here any more."""
        self.client.disconnect()
        self.client.loop_write()

    def _until(self, done: Callable[[], bool], what: str) -> None:
        deadline = time.monotonic() + PATIENCE
        while not done():
            if time.monotonic() > deadline:
                raise BrokerError(f"{self.place} did not {what} within {PATIENCE:g} s")
            try:
                self.turn()
            except BrokerError:
                if not done():  # a broker that refuses says why and hangs up
                    raise

    def _noting(self, what: str) -> Callable[..., None]:
        """A callback that keeps the reason, which paho gives last but one."""

        def note(*told: Any) -> None:
            setattr(self, what, told[-2])

        return note


def publish(link: Link, topic: str, payload: bytes) -> bool:
    """Hand one message to the broker, which has it when this returns; whether anybody listens.

    BrokerError where the broker is not reached, or does not take it.
    """
    visit = Visit(link, "say")
    try:
        visit.enter()
        return visit.say(topic, payload)
    finally:
        visit.leave()


def kept(link: Link, topic: str, within: float) -> bytes | None:
    """The message that the broker keeps on a topic, None where there is none."""
    found: list[bytes] = []
    visit = Visit(link, "ask")
    try:
        visit.enter()
        visit.subscribe((topic,), lambda _topic, payload, _kept: found.append(payload))
        deadline = time.monotonic() + within
        while not found and time.monotonic() < deadline:
            visit.turn()
    finally:
        visit.leave()
    return found[0] if found else None


def listen(
    link: Link,
    topics: tuple[str, ...],
    take: Take,
    *,
    lasts: float | None,
    told: Callable[[str], None],
) -> None:
    """Give `take` everything on the topics for `lasts` seconds, or for ever where that is None.

    The first connection must succeed (BrokerError); a later one that is lost is told and tried
    again. What `take` raises ends it.
    """
    deadline = None if lasts is None else time.monotonic() + lasts
    visit = Visit(link, "listen")
    visit.enter()
    visit.subscribe(topics, take)
    told(f"listening at {visit.place}")
    try:
        while deadline is None or time.monotonic() < deadline:
            try:
                visit.turn()
            except BrokerError as error:
                told(f"{error}; trying again")
                _return(visit, topics, take, deadline)
                told(f"listening at {visit.place} again")
    finally:
        visit.leave()


def _return(visit: Visit, topics: tuple[str, ...], take: Take, deadline: float | None) -> None:
    while deadline is None or time.monotonic() < deadline:
        try:
            visit.enter()
            visit.subscribe(topics, take)
            return
        except BrokerError:
            time.sleep(AGAIN)
