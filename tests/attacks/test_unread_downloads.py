"""Downloads that nobody reads hold up nothing: neither the journal, nor the memory of the pages."""

from __future__ import annotations

import dataclasses
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import ExitStack, suppress
from multiprocessing.connection import Pipe
from pathlib import Path
from typing import NamedTuple

import httpx
import pytest

from kuraban.clock import Clock
from kuraban.core.effects import Turn
from kuraban.core.facts import Reading
from kuraban.edges.child_process import END
from kuraban.edges.web.security import connections
from kuraban.runtime.pages_protocol import Start, pack_picture, read_word
from kuraban.settings import Web
from kuraban.store.connection import connect
from kuraban.store.journal import Journal
from tests.edges.web.served import Served

LARGEST_LOG, MOST_MEMORY = 64e6, 30e6
"""Bytes of the write-ahead log, and by how much the pages' process may grow."""
READERS, TURNS, A_TURN = 5, 3000, 100
PROBE, PATH = "t3-mid", "/api/v1/places/tank-3/readings?format={}&start={:.0f}"


class Beside(NamedTuple):
    """The pages in a process of their own, and a writer of their journal."""

    port: int
    pid: int
    journal: Journal
    path: Path
    since: float

    def write(self, number: int, turns: int = 1) -> None:
        """Many readings, the first before those of the turn after it; of so many turns at once."""
        first, count = self.since + number * A_TURN, turns * A_TURN
        facts = [Reading(PROBE, first + n, 10.0 + n % 7 / 10, first + n) for n in range(count)]
        self.journal.commit(Turn(now=first + count, facts=[*facts]))

    @property
    def log(self) -> int:
        return self.path.with_name(f"{self.path.name}-wal").stat().st_size

    @property
    def memory(self) -> float:
        pages = int(Path(f"/proc/{self.pid}/statm").read_text().split()[1])
        return pages * 4096.0


@pytest.fixture(scope="module")
def lived(lived: Served, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """The night with many readings of one probe behind it; nobody may change it."""
    night = lived.twin(tmp_path_factory.mktemp("long"))
    journal = Journal(night.path, connect(night.path, "rw"))
    for number in range(0, TURNS, 20):
        Beside(0, 0, journal, night.path, night.clock() + 60.0).write(number, 20)
    journal.close()
    yield night
    night.close()


@pytest.fixture
def beside(served: Served) -> Iterator[Beside]:
    """With the pages of that night."""
    settings = dataclasses.replace(served.settings, web=Web(port=0))
    ours, theirs = Pipe()
    child = subprocess.Popen(
        [sys.executable, "-P", "-m", "kuraban.runtime.pages_main", str(theirs.fileno())],
        pass_fds=[theirs.fileno()],
    )
    theirs.close()
    journal = Journal(served.path, connect(served.path, "rw"))
    try:
        ours.send_bytes(Start(settings, "k" * 64, served.path, Clock().pace).packed())
        assert ours.poll(30)
        port = read_word(ours.recv_bytes()).port
        ours.send_bytes(pack_picture(served.snapshot()))
        assert port is not None
        yield Beside(port, child.pid, journal, served.path, served.clock() + 60.0)
    finally:
        journal.close()
        ours.send_bytes(END)
        child.wait(10)


def unread(beside: Beside, kind: str, held: ExitStack) -> socket.socket:
    """A download of everything, of which only the first bytes are read."""
    wire = held.enter_context(socket.socket())
    wire.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
    wire.settimeout(20)
    wire.connect(("127.0.0.1", beside.port))
    path = PATH.format(kind, beside.since) + f"&end={beside.since + 2 * TURNS * A_TURN:.0f}"
    wire.sendall(f"GET {path} HTTP/1.1\r\nhost: 127.0.0.1\r\n\r\n".encode())
    assert wire.recv(12) == b"HTTP/1.1 200"
    return wire


@pytest.mark.slow
@pytest.mark.parametrize("kind", ["csv", "json", "jsonl"])
def test_a_writer_s_log_stays_small_beside_downloads_that_nobody_reads(
    beside: Beside, kind: str
) -> None:
    """And the pages need no more memory for them than for any others."""
    httpx.get(f"http://127.0.0.1:{beside.port}/place/tank-3")
    before = beside.memory
    with ExitStack() as held:
        for _ in range(READERS):
            unread(beside, kind, held)
        largest, grown = 0, 0.0
        for number in range(TURNS, 2 * TURNS):
            beside.write(number)
            largest, grown = max(largest, beside.log), max(grown, beside.memory - before)
        assert largest < LARGEST_LOG, f"{largest / 1e6:.0f} MB"
        assert grown < MOST_MEMORY, f"{grown / 1e6:.0f} MB"
        page = httpx.get(f"http://127.0.0.1:{beside.port}/place/tank-3", timeout=10)
        assert page.status_code == 200


STREAM = b"GET /live/cellar HTTP/1.1\r\nhost: x\r\n\r\n"
FORM = b"POST /log/tank-3 HTTP/1.1\r\nhost: x\r\ncontent-length: 60000\r\n\r\nname="
HALF = b"GET /place/tank-3 HTTP/1.1\r\nhost: x\r\nx-long: "
FLOODS = {"open pages": STREAM, "forms": FORM + b"x" * 59_000, "heads": HALF + b"x" * 50_000}
MOST_GROWTH = 16e6
"""Bytes by which the pages' process may grow, be there a hundred connections or a thousand."""


def test_a_thousand_connections_take_no_more_memory_than_there_are_places(beside: Beside) -> None:
    """Open pages that nobody reads, forms and heads that never end, each as long as it may be:
    those that are over the count go, and the pages are served beside them."""
    address = f"http://127.0.0.1:{beside.port}"
    for path in ("/", "/place/tank-3", "/login", "/coolers"):
        httpx.get(address + path)
    before, grown = beside.memory, 0.0
    with ExitStack() as held:
        for number in range(1000):
            wire = held.enter_context(socket.socket())
            wire.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
            wire.connect(("127.0.0.1", beside.port))
            wire.setblocking(False)
            with suppress(OSError):
                wire.send(list(FLOODS.values())[number % len(FLOODS)])
            if number % 50 == 49:
                grown = max(grown, beside.memory - before)
        held.close()
        assert httpx.get(f"{address}/place/tank-3", timeout=20).status_code == 200
        grown = max(grown, beside.memory - before)
    assert grown < MOST_GROWTH, f"{grown / 1e6:.0f} MB"


def test_whoever_reads_nothing_goes(
    served: Served, port: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Within a minute; here within a second."""
    monkeypatch.setattr(connections, "READ_WITHIN", 1.0)
    journal = Journal(served.path, connect(served.path, "rw"))
    beside = Beside(port, 0, journal, served.path, served.clock() + 60.0)
    journal.close()
    with ExitStack() as held:
        wire = unread(beside, "csv", held)
        time.sleep(4.0)
        got, began = 0, time.monotonic()
        with suppress(ConnectionError):
            while some := wire.recv(65536):
                got += len(some)
        assert got < TURNS * A_TURN * 30, "it was cut off"
        assert time.monotonic() - began < 10
