"""What waits goes to a real broker in order, and is struck off when it has it."""

from __future__ import annotations

import json
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from threading import Event

import pytest

from kuraban.feed.sender import Sender, payload
from kuraban.settings.model import Mqtt
from kuraban.store.reading_buffer import ReadingBuffer, Waiting
from tests.broker import USERS, Mosquitto
from tests.deploy.test_access import Client

FEED = {"user": "feed", "password": USERS["feed"], "client_id": "kuraban-feed"}


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Mosquitto]:
    with Mosquitto(tmp_path) as running:
        yield running


@pytest.fixture
def buffer(tmp_path: Path) -> ReadingBuffer:
    return ReadingBuffer(tmp_path / "feed.buffer", 100_000, print)


def until(done: Callable[[], bool], sender: Sender, within: float = 20.0) -> None:
    deadline = time.monotonic() + within
    while not done():
        assert time.monotonic() < deadline
        sender.turn()


def heard(watch: Client) -> list[tuple[str, float, float]]:
    """Probe, value and time of every reading, as they came."""
    told = [(topic.rpartition("/")[2], json.loads(said)) for topic, said in list(watch.heard)]
    return [
        (probe, one["value"], one["at"])
        for probe, said in told
        for one in (said if isinstance(said, list) else [said])
    ]


def test_one_reading_is_an_object_and_several_are_a_list() -> None:
    first, second = Waiting(1, "t3", "10.46", 1.5e9), Waiting(2, "t3", "true", 1.5e9 + 0.25)
    assert payload([first]) == b'{"value":10.46,"at":1500000000.000}'
    assert json.loads(payload([first, second]))[1] == {"value": True, "at": 1500000000.25}


def test_what_was_read_without_a_broker_is_sent_in_order_when_it_is_back(
    broker: Mosquitto, buffer: ReadingBuffer
) -> None:
    """Before, while it is away, and after: each once."""
    said: list[str] = []
    sender = Sender(Mqtt(port=broker.port, **FEED), buffer, Event(), said.append)  # type: ignore[arg-type]
    expected: list[tuple[str, float, float]] = []

    def read(count: int) -> None:
        numbers = range(len(expected), len(expected) + count)
        found = [("t3-mid", 10 + number / 1000, 1.8e9 + number) for number in numbers]
        buffer.add((probe, str(value), at) for probe, value, at in found)
        expected.extend(found)

    read(3)
    watch = Client(broker.port, "kuraban", "kuraban", clean=False)
    watch.subscribe("kura/reading/#")
    until(lambda: not buffer.count, sender)
    broker.stop()
    read(1200)
    until(lambda: len(said) > 1, sender)
    assert buffer.count == 1200 and "readings are kept" in said[1]
    broker.start()
    until(lambda: not buffer.count, sender)
    read(1)
    until(lambda: not buffer.count, sender)
    deadline = time.monotonic() + 20
    while len(heard(watch)) < len(expected) and time.monotonic() < deadline:
        time.sleep(0.05)
    assert heard(watch) == expected
    watch.close()
    sender.leave()


def test_a_topic_that_the_broker_refuses_holds_up_no_other_and_nothing_is_lost(
    broker: Mosquitto, buffer: ReadingBuffer
) -> None:
    """A board with the rights of a single probe, in whose file stands another one as well."""
    said: list[str] = []
    watch = Client(broker.port, "kuraban", "kuraban")
    watch.subscribe("kura/reading/#")
    mine = Mqtt(port=broker.port, user="t3-mid", password=USERS["t3-mid"], client_id="t3")
    sender = Sender(mine, buffer, Event(), said.append)
    for at in range(3):
        buffer.add([("t4-mid", "9.1", 1.8e9 + at), ("t3-mid", "10.4", 1.8e9 + at)])
    until(lambda: buffer.count == 3, sender)
    until(lambda: len(heard(watch)) == 3, sender)
    assert {probe for probe, _, _ in heard(watch)} == {"t3-mid"}
    assert [one.probe for one in buffer.oldest(9)] == ["t4-mid"] * 3
    assert [line for line in said if "t4-mid" in line and "let user t3-mid write it" in line]
    assert len(said) == 2, "told once"
    watch.close()
    sender.leave()


def test_a_wrong_password_is_told_with_what_to_compare(
    broker: Mosquitto, buffer: ReadingBuffer
) -> None:
    said: list[str] = []
    wrong = Mqtt(port=broker.port, user="feed", password="no", client_id="f")
    sender = Sender(wrong, buffer, Event(), said.append)
    until(lambda: bool(said), sender)
    assert "password" in said[0] and "readings are kept" in said[0]
