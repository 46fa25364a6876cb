from __future__ import annotations

import socket
from pathlib import Path

import pytest

from kuraban.edges.supervisor import Supervisor


@pytest.fixture(params=["file", "abstract"])
def listener(request: pytest.FixtureRequest, tmp_path: Path) -> tuple[str, socket.socket]:
    """The supervisor's end of the socket, and its name as NOTIFY_SOCKET gives it."""
    path = str(tmp_path / "notify") if request.param == "file" else f"@{tmp_path}/notify"
    sock = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
    sock.bind("\0" + path[1:] if path.startswith("@") else path)
    sock.settimeout(1.0)
    return path, sock


def test_the_supervisor_hears_how_the_watch_is(listener: tuple[str, socket.socket]) -> None:
    """Ready with a status of one line, a good turn, a new status, stopping."""
    path, sock = listener
    supervisor = Supervisor(path, watchdog=30.0)
    supervisor.ready("12 places\nwatched")
    supervisor.good_turn()
    supervisor.status("broker lost")
    supervisor.stopping()
    heard = [sock.recv(1024).decode() for _ in range(4)]
    assert heard == [
        "READY=1\nSTATUS=12 places watched",
        "WATCHDOG=1",
        "STATUS=broker lost",
        "STOPPING=1",
    ]
    assert supervisor.pet_every == 15.0
    sock.close()


def test_without_a_watchdog_a_good_turn_says_nothing(listener: tuple[str, socket.socket]) -> None:
    """Where nobody waits for it, nothing is sent."""
    path, sock = listener
    sock.setblocking(False)
    Supervisor(path).good_turn()
    with pytest.raises(BlockingIOError):
        sock.recv(1024)
    sock.close()


def test_without_a_supervisor_nothing_happens(tmp_path: Path) -> None:
    """No socket, or one that nobody reads any more, disturbs no turn."""
    for path in (None, "", str(tmp_path / "gone"), "@gone"):
        supervisor = Supervisor(path, watchdog=10.0)
        supervisor.ready()
        supervisor.good_turn()
        supervisor.stopping()


def test_of_many_good_turns_it_hears_the_first_and_some(
    listener: tuple[str, socket.socket],
) -> None:
    """A watch turns a thousand times a second, and is asked once in a quarter of the patience."""
    path, sock = listener
    sock.setblocking(False)
    supervisor = Supervisor(path, watchdog=30.0)
    for _ in range(50):
        supervisor.pet("watching")
    assert sock.recv(1024) == b"READY=1\nSTATUS=watching"
    assert sock.recv(1024) == b"WATCHDOG=1"
    with pytest.raises(BlockingIOError):
        sock.recv(1024)
    sock.close()
