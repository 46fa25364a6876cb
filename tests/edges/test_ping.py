"""The sign of life to somewhere outside: real calls to a real far end on loopback."""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable, Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

import pytest

from kuraban.edges.ping import Ping, call
from tests.stopwatch import Stopwatch


class FarEnd:
    """Counts the calls; answers `status`, or hangs while `hang` is set."""

    def __init__(self) -> None:
        self.calls: list[str] = []
        self.status, self.hang = 200, threading.Event()
        self.came = threading.Condition()
        far = self

        class Answer(BaseHTTPRequestHandler):
            def do_GET(self) -> None:
                with far.came:
                    far.calls.append(self.path)
                    far.came.notify_all()
                while far.hang.is_set():
                    time.sleep(0.02)
                self.send_response(far.status)
                self.end_headers()

            def log_message(self, *args: object) -> None:
                pass

        self.server = ThreadingHTTPServer(("127.0.0.1", 0), Answer)
        self.url = f"http://127.0.0.1:{self.server.server_address[1]}/secret-token"
        threading.Thread(target=self.server.serve_forever, args=(0.02,), daemon=True).start()

    def counts(self, at_least: int, within: float = 5.0) -> bool:
        with self.came:
            return self.came.wait_for(lambda: len(self.calls) >= at_least, within)


@pytest.fixture
def far() -> Iterator[FarEnd]:
    end = FarEnd()
    yield end
    end.hang.clear()
    end.server.shutdown()
    end.server.server_close()


def until(true: Callable[[], bool], within: float = 5.0) -> bool:
    deadline = time.monotonic() + within
    while not true() and time.monotonic() < deadline:
        time.sleep(0.02)
    return true()


def test_while_turns_are_good_the_far_end_hears_it(far: FarEnd) -> None:
    ping = Ping(far.url, 0.1)
    ping.start()
    for count in (1, 2, 3):
        ping.well()
        assert far.counts(count)
    ping.stop()
    assert set(far.calls) == {"/secret-token"}


def test_without_a_good_turn_nothing_is_sent(far: FarEnd) -> None:
    """A watch that hangs or only fails falls silent, so that the far end rings."""
    ping = Ping(far.url, 0.05)
    ping.start()
    ping.well()
    assert far.counts(1)
    assert not far.counts(2, within=0.5)
    ping.stop()


def test_it_is_not_called_more_often_than_asked(far: FarEnd) -> None:
    ping = Ping(far.url, 30.0)
    ping.start()
    deadline = time.monotonic() + 0.5
    while time.monotonic() < deadline:
        ping.well()
        time.sleep(0.01)
    ping.stop()
    assert len(far.calls) == 1


def test_a_far_end_that_hangs_delays_nobody(far: FarEnd) -> None:
    far.hang.set()
    ping = Ping(far.url, 0.05)
    ping.start()
    ping.well()
    assert far.counts(1)
    took = Stopwatch()
    for _ in range(1000):
        ping.well()
    ping.stop()
    assert took.read() < 0.5


class Kept(logging.Handler):
    def __init__(self) -> None:
        super().__init__()
        self.told: list[str] = []

    def emit(self, record: logging.LogRecord) -> None:
        self.told.append(record.getMessage())


def test_failures_are_told_once_and_without_the_address(far: FarEnd) -> None:
    """The address holds a token. It is tried on, and the first success is told as well."""
    kept, log = Kept(), logging.getLogger("kuraban")
    level, log.handlers = log.level, [*log.handlers, kept]
    log.setLevel(logging.INFO)
    far.status = 500
    ping = Ping(far.url, 0.05)
    ping.start()
    for count in (1, 2, 3):
        ping.well()
        assert far.counts(count)
    assert until(lambda: ping.failing == "it answered 500")
    far.status = 200
    ping.well()
    assert until(lambda: ping.failing == "")
    ping.stop()
    log.removeHandler(kept)
    log.setLevel(level)
    assert len(kept.told) == 2 and "500" in kept.told[0] and "again" in kept.told[1]
    assert "secret" not in " ".join(kept.told)


def test_nobody_there_is_a_reason_and_no_exception() -> None:
    assert "not reached" in call("http://127.0.0.1:9/secret")
    assert "secret" not in call("http://127.0.0.1:9/secret")
