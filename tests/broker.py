"""Real brokers on loopback for the tests: Mosquitto as we deliver it, and its embedded twin."""

from __future__ import annotations

import os
import shutil
import signal
import socket
import subprocess
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from types import TracebackType
from typing import Self

from iotcore import Broker

DEPLOY = Path(__file__).parents[1] / "deploy" / "mosquitto"
UP_WITHIN = 20.0
"""Seconds."""
USERS = {
    "kuraban": "night-watch",
    "crew": "kai-ire",
    "feed": "bus-word",
    "wall": "lamp-oil",
    "t3-mid": "probe-word",
    "t4-mid": "other-word",
}


def free_port() -> int:
    """A loopback TCP port that nobody listens on at this moment."""
    with socket.socket() as sock:
        sock.bind(("127.0.0.1", 0))
        return int(sock.getsockname()[1])


def listens(port: int, host: str = "127.0.0.1") -> bool:
    try:
        with socket.create_connection((host, port), timeout=0.2):
            return True
    except OSError:
        return False


def await_up(
    process: subprocess.Popen[bytes], port: int, log: Path | None = None, host: str = "127.0.0.1"
) -> None:
    """Until it listens; RuntimeError, with what it logged, where it ends or takes too long."""
    deadline = time.monotonic() + UP_WITHIN
    while not listens(port, host):
        if process.poll() is not None or time.monotonic() > deadline:
            raise RuntimeError(f"it did not come up: {log.read_text() if log else process.args!r}")
        time.sleep(0.02)


@contextmanager
def started(
    command: Sequence[str | Path], port: int, env: Mapping[str, str] | None = None
) -> Iterator[None]:
    """A broker of somebody else's configuration, while the test lasts."""
    process = subprocess.Popen(command, env=env)
    try:
        await_up(process, port)
        yield
    finally:
        process.terminate()
        process.wait(10)


def lets_in(port: int, user: str, word: str, topic: str) -> bool:
    """Whether a user of the command line's client can publish."""
    command = ["mosquitto_pub", "-h", "127.0.0.1", "-p", str(port), "-q", "1", "-t", topic]
    command += ["-m", "10.46", "-u", user, "-P", word]
    return subprocess.run(command, capture_output=True, check=False).returncode == 0


class _Server:
    """What both brokers do for a test: come up, go away in two ways, come up again."""

    port: int

    def start(self) -> None: ...

    def stop(self) -> None: ...

    def kill(self) -> None: ...

    def restart(self) -> None:
        self.stop()
        self.start()

    def __enter__(self) -> Self:
        self.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.stop()


class Mosquitto(_Server):
    """Mosquitto with `deploy/mosquitto/kuraban.conf` and `acl`, paths and port substituted.

    `users` maps names to passwords (USERS where None); `conf_extra` is appended; `without`
    names options of ours to leave out, such as `acl_file`. `kill` is SIGKILL.
    """

    def __init__(
        self,
        tmp_path: Path,
        conf_extra: str = "",
        users: Mapping[str, str] | None = None,
        *,
        without: tuple[str, ...] = (),
    ) -> None:
        self.port = free_port()
        self.home = tmp_path / "mosquitto"
        self.home.mkdir(parents=True, exist_ok=True)
        self.log = self.home / "log"
        self.conf = self.home / "kuraban.conf"
        self._process: subprocess.Popen[bytes] | None = None
        self._users = dict(USERS if users is None else users)
        self._write_passwords()
        shutil.copy(DEPLOY / "acl", self.home / "acl")
        self._write_conf(conf_extra, without)

    def set_password(self, user: str, word: str) -> None:
        """Counts from the next start on."""
        self._users[user] = word
        self._write_passwords()

    def _write_passwords(self) -> None:
        file = self.home / "passwords"
        file.write_text("".join(f"{name}:{word}\n" for name, word in self._users.items()))
        file.chmod(0o600)
        subprocess.run(["mosquitto_passwd", "-U", str(file)], check=True, capture_output=True)

    def _write_conf(self, extra: str, without: tuple[str, ...]) -> None:
        ours = {
            "password_file": f"password_file {self.home}/passwords",
            "acl_file": f"acl_file {self.home}/acl",
            "listener": f"listener {self.port} 127.0.0.1",
            "persistence_location": f"persistence_location {self.home}/",
        }
        lines = []
        for line in (DEPLOY / "kuraban.conf").read_text().splitlines():
            key = line.partition(" ")[0]
            if key not in without:
                lines.append(ours.get(key, line))
        if os.geteuid() == 0:
            lines.append("user root")
        self.conf.write_text("\n".join([*lines, extra, ""]))

    def start(self) -> None:
        with self.log.open("ab") as log:
            self._process = subprocess.Popen(
                ["mosquitto", "-c", str(self.conf)], stdout=log, stderr=log
            )
        await_up(self._process, self.port, self.log)

    @property
    def pid(self) -> int:
        assert self._process is not None
        return self._process.pid

    def stop(self) -> None:
        self._end(signal.SIGTERM)

    def kill(self) -> None:
        self._end(signal.SIGKILL)

    def _end(self, number: signal.Signals) -> None:
        if self._process is not None:
            self._process.send_signal(number)
            self._process.wait(10)
            self._process = None


EMBEDDED_CONF = """\
id = 0

[router]
id = 0
max_connections = 100
max_outgoing_packet_count = 200
max_segment_size = 104857600
max_segment_count = 10

[v5.1]
name = "v5-1"
listen = "127.0.0.1:{port}"
next_connection_delay_ms = 1
    [v5.1.connections]
    connection_timeout_ms = 60000
    max_payload_size = 1048576
    max_inflight_count = 1000
    dynamic_filters = false
"""


class Embedded(_Server):
    """The broker in a wheel, bound to loopback, MQTT 5. It keeps nothing across a restart."""

    def __init__(self, tmp_path: Path) -> None:
        self.port = free_port()
        conf = tmp_path / "embedded.toml"
        conf.write_text(EMBEDDED_CONF.format(port=self.port))
        self._broker = Broker(config_path=str(conf))

    def start(self) -> None:
        self._broker.start()

    def stop(self) -> None:
        self._broker.stop()

    kill = stop
