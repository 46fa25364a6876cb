"""A short visit to a real broker says one thing, or listens, and leaves nothing behind."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from kuraban.edges.mqtt.oneshot import kept, listen, publish
from kuraban.errors import BrokerError
from tests.broker import USERS, Mosquitto, free_port
from tests.edges.conftest import Place
from tests.stopwatch import Stopwatch

SILENT = lambda line: None  # noqa: E731


class Enough(Exception):
    """What was to be heard was heard."""


@pytest.fixture(scope="module")
def broker(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Mosquitto]:
    with Mosquitto(tmp_path_factory.mktemp("broker")) as running:
        yield running


def crew(port: int) -> Place:
    return Place(port, user="crew", password=USERS["crew"])


def test_what_is_said_is_heard(broker: Mosquitto) -> None:
    """The broker has it when `publish` returns, and says whether anybody listens."""
    got: list[tuple[str, bytes]] = []
    ready = threading.Event()

    def take(topic: str, payload: bytes, was_kept: bool) -> None:
        got.append((topic, payload))
        raise Enough

    def hear() -> None:
        with pytest.raises(Enough):
            listen(crew(broker.port), ("kura/log/+",), take, lasts=10, told=lambda _: ready.set())

    thread = threading.Thread(target=hear)
    thread.start()
    assert ready.wait(10)
    assert publish(crew(broker.port), "kura/log/tank-3", b"{}")
    thread.join(10)
    assert got == [("kura/log/tank-3", b"{}")]
    assert not publish(crew(broker.port), "kura/log/tank-3", b"{}")


def test_what_the_broker_keeps_can_be_asked_for(broker: Mosquitto) -> None:
    assert kept(crew(broker.port), "kura/watch/status", 0.5) is None


def test_listening_ends_after_the_time_given(broker: Mosquitto) -> None:
    took = Stopwatch()
    listen(crew(broker.port), ("kura/log/+",), lambda *_: None, lasts=0.5, told=SILENT)
    assert took.read() < 5


def test_a_topic_that_is_not_ours_to_write_is_said_so(broker: Mosquitto) -> None:
    """The access list is named, and the user."""
    with pytest.raises(BrokerError, match=r"kura/reading/t3-mid.*crew.*access list"):
        publish(crew(broker.port), "kura/reading/t3-mid", b"10.4")


def test_a_wrong_pass_word_is_said_so(broker: Mosquitto) -> None:
    with pytest.raises(BrokerError, match=r"password|authorised"):
        publish(Place(broker.port, password="wrong"), "kura/log/tank-3", b"{}")


def test_nobody_there_is_said_so() -> None:
    with pytest.raises(BrokerError, match="nobody listens"):
        publish(Place(free_port()), "kura/log/tank-3", b"{}")


def test_a_broker_that_comes_back_is_listened_to_again(tmp_path: Path) -> None:
    """The loss and the return are told, and nothing is missed after it."""
    told: list[str] = []
    got: list[bytes] = []

    def take(topic: str, payload: bytes, was_kept: bool) -> None:
        got.append(payload)
        raise Enough

    with Mosquitto(tmp_path) as broker:

        def hear() -> None:
            with pytest.raises(Enough):
                listen(crew(broker.port), ("kura/log/+",), take, lasts=30, told=told.append)

        thread = threading.Thread(target=hear)
        thread.start()
        _await(lambda: len(told) == 1)
        broker.restart()
        _await(lambda: len(told) == 3)
        publish(crew(broker.port), "kura/log/tank-3", b"again")
        thread.join(10)
    assert got == [b"again"]
    assert "trying again" in told[1] and "again" in told[2]


def _await(true: object) -> None:
    assert callable(true)
    deadline = time.monotonic() + 15
    while not true():
        assert time.monotonic() < deadline
        time.sleep(0.02)
