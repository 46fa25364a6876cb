"""The board's program as delivered, in MicroPython's Unix port, on hardware that a test lays."""

from __future__ import annotations

import json
import os
import shutil
import socket
import struct
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

from tests.broker import Mosquitto
from tests.deploy.test_access import Client

ROOT = Path(__file__).parents[3]
DELIVERED = ROOT / "deploy" / "probes" / "board"
HARDWARE = Path(__file__).parent / "hardware"
FILES = ("clock.py", "keep.py", "main.py", "mqtt.py", "probes.py")
USER, WORD = "board-cellar", "cellar-word"
ACL = "\nuser board-cellar\ntopic write kura/reading/t3-mid\ntopic write kura/reading/t4-mid\n"
COUNTER, OTHER = "2816fa7945230100", "28112233445566ff"
"""The bytes of two probes, as they lie on the wire."""
NAMES = {"28-01234579fa16": "t3-mid", "28-665544332211": "t4-mid"}
NTP = 2208988800


def with_board(broker: Mosquitto) -> Mosquitto:
    """The broker lets the board in, by lines as `deploy/mosquitto/README.md` has them."""
    broker.set_password(USER, WORD)
    with (broker.home / "acl").open("a") as acl:
        acl.write(ACL)
    return broker


class Network:
    """Between a board and its broker, to be cut: whoever is connected hears nothing more, not even
    that it is over, and nobody comes in."""

    def __init__(self, broker: int) -> None:
        self._broker, self._up = broker, True
        self._lines: list[socket.socket] = []
        self._door = socket.create_server(("127.0.0.1", 0))
        self.port = int(self._door.getsockname()[1])
        threading.Thread(target=self._serve, daemon=True).start()

    def _serve(self) -> None:
        with suppress(OSError):
            while True:
                near, _ = self._door.accept()
                if not self._up:
                    near.close()
                    continue
                far = socket.create_connection(("127.0.0.1", self._broker))
                self._lines += [near, far]
                for one, other in ((near, far), (far, near)):
                    threading.Thread(target=self._carry, args=(one, other), daemon=True).start()

    def _carry(self, one: socket.socket, other: socket.socket) -> None:
        with suppress(OSError):
            while said := one.recv(4096):
                if self._up:
                    other.sendall(said)
        with suppress(OSError):
            other.shutdown(socket.SHUT_RDWR)

    def cut(self) -> None:
        self._up = False

    def heal(self) -> None:
        for line in self._lines:
            with suppress(OSError):
                line.shutdown(socket.SHUT_RDWR)
            line.close()
        self._lines, self._up = [], True

    def close(self) -> None:
        self.heal()
        self._door.close()


class Board:
    """In a folder of its own; `more` are further settings."""

    def __init__(self, folder: Path, port: int, **more: Any) -> None:
        self.folder, self.port = folder, port
        (folder / "wire").mkdir(parents=True)
        (folder / "ledger").touch()
        (folder / "wire" / COUNTER).write_text("counts")
        for name in FILES:
            shutil.copy(DELIVERED / name, folder)
        settings = {
            "WIFI": None, "BROKER": "127.0.0.1", "PORT": port, "CA": None, "USER": USER,
            "PASSWORD": WORD, "ROOT": "kura", "NTP": None, "EVERY": 0.05, "KEEP": 10_000,
            "ONE_WIRE": {4: {"28-01234579fa16": "t3-mid"}}, "SPI": {}, "PT100": {}, **more,
        }  # fmt: skip
        lines = (f"{name} = {value!r}\n" for name, value in settings.items())
        (folder / "settings.py").write_text("".join(lines))
        self._process: subprocess.Popen[bytes] | None = None

    def start(self, **env: object) -> None:
        """`CUT`: blocks until the power goes; `BLOCKS`: of the flash; `LINES`: of a kept file;
        `PATIENCE`: seconds for the broker to answer."""
        path = f"{self.folder}:{HARDWARE}:.frozen"
        given = {name: str(value) for name, value in env.items()}
        with (self.folder / "said").open("ab") as said:
            self._process = subprocess.Popen(
                [sys.executable, "-m", "micropython_unix", str(HARDWARE / "start.py")],
                env={**os.environ, "MICROPYPATH": path, "HARDWARE": str(self.folder), **given},
                stdout=said, stderr=said,
            )  # fmt: skip

    def kill(self) -> None:
        assert self._process is not None
        self._process.kill()
        self._process.wait()

    def ends(self) -> int:
        """Its status, once it has ended by itself."""
        assert self._process is not None
        return self._process.wait(60)

    @property
    def alive(self) -> bool:
        return self._process is not None and self._process.poll() is None

    @property
    def said(self) -> str:
        return (self.folder / "said").read_text()

    @property
    def measured(self) -> int:
        return (self.folder / "ledger").stat().st_size

    def await_more(self, count: int) -> None:
        wanted = self.measured + count
        until(lambda: self.measured >= wanted or not self.alive)


def until(done: Callable[[], bool], within: float = 40.0) -> None:
    deadline = time.monotonic() + within
    while not done():
        assert time.monotonic() < deadline, "it took too long"
        time.sleep(0.02)


def heard(watch: Client, probe: str = "t3-mid") -> list[tuple[float, float | None]]:
    """Value of each reading in the order in which it came, and its own time, as Unix seconds or as
    seconds before its message came."""
    found: list[tuple[float, float | None]] = []
    for topic, said in list(watch.heard):
        if topic == f"kura/reading/{probe}":
            told = json.loads(said)
            for one in told if isinstance(told, list) else [told]:
                if isinstance(one, dict):
                    found.append((one.get("value", one.get("v")), one.get("at", one.get("t"))))
                else:
                    found.append((one, None))
    return found


def counted(watch: Client) -> list[int]:
    """The numbers of the counting probe's readings."""
    return [round(value * 16) for value, _ in heard(watch)]


@contextmanager
def time_server(ahead: float = 0.0) -> Iterator[int]:
    """An NTP server on this machine, whose clock is ahead by so many seconds; its port."""
    line = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    line.bind(("127.0.0.1", 0))

    def serve() -> None:
        while True:
            asked, who = line.recvfrom(48)
            if not asked:
                return
            now = time.time() + ahead + NTP
            stamp = struct.pack(">II", int(now) & 0xFFFFFFFF, int(now % 1 * 2**32))
            line.sendto(b"\x1c\x02\x00\x00" + bytes(36) + stamp, who)

    thread = threading.Thread(target=serve, daemon=True)
    thread.start()
    try:
        yield line.getsockname()[1]
    finally:
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as last:
            last.sendto(b"", line.getsockname())
        thread.join(10)
        line.close()
