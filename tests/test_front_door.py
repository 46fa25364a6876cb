"""What can befall the front door: each trouble is told in one line, and nothing answered is lost.

What each refusal of a broker means is tested with `edges.mqtt_in`, a night under thirty kills in
`test_kills`, a broker away for two minutes and a full disk in `test_service`.
"""

from __future__ import annotations

import dataclasses
import logging
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from kuraban.edges.mqtt import front_door as mqtt_in
from kuraban.runtime.watch import Watch
from kuraban.settings import Settings
from kuraban.settings.catalogues import load_words
from tests.broker import Mosquitto
from tests.certificates import authority, certificate
from tests.killed_broker import KILLS, UNSAVED, Board, kept, killed
from tests.nights import Running, settings, wait
from tests.sink import Sink


@pytest.fixture(autouse=True)
def no_fault_of_ours(caplog: pytest.LogCaptureFixture) -> Iterator[None]:
    """Among all that the watch says."""
    caplog.set_level(logging.INFO, "kuraban")
    yield
    assert "a fault of ours" not in caplog.text


@pytest.fixture
def sink() -> Iterator[Sink]:
    with Sink() as running:
        yield running


@pytest.mark.slow
@pytest.mark.timeout(200)
def test_twenty_kills_of_the_broker_lose_nothing_that_was_answered(tmp_path: Path) -> None:
    """With saving at each change: all that the watch answered is kept, and what the broker said it
    has reaches the journal too, but for what was on its way at the kill."""
    tally = killed(tmp_path, autosave=True, watching=True)
    assert tally.answered > 500
    assert tally.answered_lost == 0
    assert tally.forgotten <= KILLS


Change = Callable[[Mosquitto, Path], None]


def forget_us(broker: Mosquitto, _home: Path) -> None:
    broker.set_password("kuraban", "another-word")


def know_us(broker: Mosquitto, _home: Path) -> None:
    broker.set_password("kuraban", "night-watch")


def expire(broker: Mosquitto, home: Path) -> None:
    certificate(home, "broker", "IP:127.0.0.1", "-1")


def renew(broker: Mosquitto, home: Path) -> None:
    certificate(home, "broker", "IP:127.0.0.1", "30")


def shut_out(broker: Mosquitto, _home: Path) -> None:
    (broker.home / "acl").write_text("user kuraban\ntopic write kura/#\n")


def let_in(broker: Mosquitto, _home: Path) -> None:
    (broker.home / "acl").write_text("user kuraban\ntopic readwrite kura/#\n")


TROUBLES: dict[str, tuple[Change, Change, str]] = {
    "wrong password": (
        forget_us, know_us,
        "broker: user kuraban is not authorised;"
        " compare user and password with the broker's files",
    ),
    "expired certificate": (
        expire, renew,
        "its certificate has expired; renew the broker's certificate",
    ),
    "access list": (
        shut_out, let_in,
        "broker: nothing under kura/ is let through to user kuraban; look at the broker's access"
        " list",
    ),
}  # fmt: skip


@pytest.mark.parametrize("trouble", TROUBLES)
def test_a_trouble_at_the_broker_is_one_line_and_ends_when_it_is_put_right(
    trouble: str, tmp_path: Path, sink: Sink, caplog: pytest.LogCaptureFixture,
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    """The line says what would be right; the watch goes on, and comes back by itself."""
    monkeypatch.setattr(mqtt_in, "ECHO", 0.5)
    spoil, mend, line = TROUBLES[trouble]
    ca = None
    if trouble == "expired certificate":
        ca = tmp_path / "ca.crt"
        authority(tmp_path, "ca")
    broker = Mosquitto(tmp_path, _tls(tmp_path) if ca else "", without=("autosave_on_changes",))
    let_in(broker, tmp_path)
    spoil(broker, tmp_path)
    with broker:
        running = Running(_watch(broker, sink, tmp_path / "data", ca))
        wait(lambda: line in caplog.text)
        time.sleep(2.5)  # long enough for a second try
        assert caplog.text.count(line) == 1
        broker.stop()
        mend(broker, tmp_path)
        broker.start()
        wait(lambda: "broker: connected to" in caplog.text.partition(line)[2])
        board = Board(broker.port, ca)
        board.send()
        wait(lambda: kept(tmp_path / "data") == board.taken != set())
        board.close()
        running.stop()


def _tls(home: Path) -> str:
    return f"cafile {home}/ca.crt\ncertfile {home}/broker.crt\nkeyfile {home}/broker.key"


def _watch(broker: Mosquitto, sink: Sink, data: Path, ca: Path | None) -> Watch:
    found = settings(broker, sink, data)
    mqtt = dataclasses.replace(found.mqtt, ca_file=ca)
    return Watch(dataclasses.replace(found, mqtt=mqtt), load_words())


class Stalled(Watch):
    """A watch whose loop stands still until it is let go."""

    def __init__(self, found: Settings) -> None:
        super().__init__(found, load_words())
        self.goes = threading.Event()
        self._door._queue.messages = 100

    def turn(self, wait: float = 0.0) -> bool:
        self.goes.wait(30)
        return super().turn(wait)


def test_a_full_queue_is_one_line_and_loses_nothing(
    tmp_path: Path, sink: Sink, caplog: pytest.LogCaptureFixture
) -> None:
    """While the loop stands still the broker keeps what has no room, and sends it again."""
    with Mosquitto(tmp_path, without=UNSAVED) as broker:
        found = settings(broker, sink, tmp_path / "data")
        mqtt = dataclasses.replace(found.mqtt, keepalive=4.0)
        watch = Stalled(dataclasses.replace(found, mqtt=mqtt))
        running = Running(watch)
        wait(lambda: watch._door.connected)
        board = Board(broker.port)
        for _ in range(1000):
            board.send()
        line = "broker: 100 messages wait; the broker is asked to send again"
        wait(lambda: line in caplog.text)
        watch.goes.set()
        board.settle()
        wait(lambda: kept(tmp_path / "data") == board.taken, 30)
        assert len(board.taken) == 1000
        board.close()
        running.stop()
