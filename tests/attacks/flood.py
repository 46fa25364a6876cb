"""Floods that a stolen password can send, and a brewery of seconds that is watched through them.

    python -m tests.attacks.flood HOST PORT USER WORD KIND SECONDS [CA-FILE]

sends one flood as fast as the broker takes it, or at its rate.
"""

from __future__ import annotations

import json
import os
import random
import signal
import socket
import ssl
import struct
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path

from kuraban.core.intake.payload import LARGEST
from tests.broker import USERS, Mosquitto
from tests.sink import Sink

ROOT = Path(__file__).parents[2]
PYTHON = sys.executable
"""Whose kuraban is watched."""
TANKS = 6
DELAY = 5.0
"""Seconds that a tank must be outside before it is told."""
WITHIN = DELAY + 10.0
"""Seconds from leaving the tolerance to the phone, whatever is sent."""
PLAN, TOLERANCE = 10.0, 0.3
RISE = 0.02
"""K a second: the brewery lives a day in some minutes."""
PROBES = (
    *(f"t{n}-{where}" for n in range(1, TANKS + 1) for where in ("mid", "top", "valve")),
    *(f"c{n}-{what}" for n in (1, 2) for what in ("supply", "return", "power")),
    "cellar-air", "store-air", "room-air",
)  # fmt: skip
"""Twenty-seven."""
DRIFTS = f"t{TANKS}-mid"


# ------------------------------------------------------------------------------------- the floods


def _ones(_: int) -> bytes:
    return b"[" + b",".join([b"1"] * (LARGEST // 2 - 1)) + b"]"


def _arrays(number: int) -> bytes:
    """A backfill that never ends: as many dated readings as fit, no two at one time."""
    start = int(time.time()) - 14 * 86400 + number * 1500
    told = ",".join(f'{{"value":10.4,"at":{start + n / 10:.1f}}}' for n in range(8000))
    return f"[{told}]".encode()[:LARGEST]


def _plain(number: int) -> bytes:
    return f"{10 + number % 7 / 16}".encode()


def _mangled(number: int) -> bytes:
    lot = random.Random(number)
    good = bytearray(b'{"value": 10.46, "at": "2026-02-01T03:10:00+09:00"}')
    for _ in range(3):
        good[lot.randrange(len(good))] = lot.randrange(256)
    return bytes(good)


def _junk(_: int) -> bytes:
    return b"\xff" * 900_000


def _entries(number: int) -> bytes:
    return json.dumps({"entry": "note", "text": f"so far {number}", "id": f"n{number}"}).encode()


def _stirs(number: int) -> bytes:
    """Back-dated, so that each makes the books anew."""
    return json.dumps({"entry": "stir", "id": f"s{number}", "at": time.time() - 600}).encode()


@dataclass(frozen=True)
class Kind:
    """One flood: who sends it where, each message, and how many a second; 0 is no limit."""

    user: str
    topic: str
    payload: Callable[[int], bytes]
    rate: float


NETWORK = 12.5e6
"""Bytes a second that a network of 100 Mbit/s carries: more no stolen probe sends."""
LONG, JUNK = NETWORK / LARGEST, NETWORK / 900_000
KINDS = {
    "list of ones": Kind("t1-mid", "kura/reading/t1-mid", _ones, LONG),
    "dated arrays": Kind("t2-mid", "kura/reading/t2-mid", _arrays, LONG),
    "plain readings": Kind("t3-mid", "kura/reading/t3-mid", _plain, 1000),
    "mangled": Kind("t4-mid", "kura/reading/t4-mid", _mangled, 1000),
    "900 kB junk": Kind("t5-mid", "kura/reading/t5-mid", _junk, JUNK),
    "entries": Kind("crew", "kura/log/tank-1", _entries, 1000),
    "back-dated entries": Kind("crew", "kura/log/tank-1", _stirs, 1000),
    "plain without limit": Kind("t3-mid", "kura/reading/t3-mid", _plain, 0),
    "ones without limit": Kind("t1-mid", "kura/reading/t1-mid", _ones, 0),
    "arrays without limit": Kind("t2-mid", "kura/reading/t2-mid", _arrays, 0),
}
TOGETHER = ("list of ones", "dated arrays", "plain readings", "mangled", "entries")


class Wire:
    """A bare MQTT 3.1.1 client that never waits for an answer (OASIS MQTT 3.1.1, 3.1 and 3.3)."""

    def __init__(self, port: int, user: str, word: str, ca_file: str | None = None) -> None:
        self.sent = 0
        plain = socket.create_connection(("127.0.0.1", port), 10)
        if ca_file is not None:
            context = ssl.create_default_context(cafile=ca_file)
            self._socket: socket.socket = context.wrap_socket(plain, server_hostname="127.0.0.1")
        else:
            self._socket = plain
        parts = (f"{user}-{os.getpid()}-{time.monotonic_ns()}", user, word)
        body = b"\x00\x04MQTT\x04\xc2\x00\x00" + b"".join(map(_text, parts))
        self._socket.sendall(b"\x10" + _length(len(body)) + body)
        if self._socket.recv(4)[3:] != b"\x00":
            raise RuntimeError(f"the broker does not let {user} in")
        threading.Thread(target=self._drain, daemon=True).start()

    def publish(self, topic: str, payload: bytes) -> None:
        self.sent += 1
        mid = struct.pack("!H", self.sent % 65535 + 1)
        body = _text(topic) + mid + payload
        self._socket.sendall(b"\x32" + _length(len(body)) + body)

    def _drain(self) -> None:
        with suppress(OSError):
            while self._socket.recv(65536):
                pass

    def close(self) -> None:
        with suppress(OSError):
            self._socket.sendall(b"\xe0\x00")
            self._socket.close()


def _text(text: str) -> bytes:
    data = text.encode()
    return struct.pack("!H", len(data)) + data


def _length(size: int) -> bytes:
    found = b""
    while True:
        size, low = divmod(size, 128)
        found += bytes([low | 128 * bool(size)])
        if not size:
            return found


def flood(port: int, word: str, kind: Kind, seconds: float, ca_file: str | None) -> int:
    """Bytes sent. A broker that hangs up is come back to."""
    made, sent, number = [kind.payload(n) for n in range(20)], 0, 0
    wire, began = Wire(port, kind.user, word, ca_file), time.monotonic()
    while (passed := time.monotonic() - began) < seconds:
        if kind.rate and number > kind.rate * passed:
            time.sleep(0.005)
            continue
        payload = made[number % 20] if len(made[0]) > 100_000 else kind.payload(number)
        number += 1
        try:
            wire.publish(kind.topic, payload)
            sent += len(payload)
        except OSError:
            wire.close()
            time.sleep(0.05)
            with suppress(OSError, RuntimeError):
                wire = Wire(port, kind.user, word, ca_file)
    wire.close()
    return sent


# ----------------------------------------------------------------------------------- the brewery


COURSE = """
id = "of-seconds"
for = ["tank"]
title = { en = "Of seconds", ja = "秒" }
never = [3.0, 30.0]

[defaults]
tolerance = %g
notice = 0.2
limit = 8.0
delay = "%ds"

[[stage]]
id = "main"
title = { en = "Main", ja = "本" }
length = "9d"
points = [["0h", %g]]
settle = "0s"
ends = "crew"
"""


def site(folder: Path, broker: int, sink: int) -> Path:
    """A brewery of six tanks and twenty-seven probes that speak every second."""
    lines = [
        '[site]\nname = "Brewery of seconds"\ntimezone = "Asia/Tokyo"\nlanguage = "en"',
        'courses = ["courses"]\ndata = "data"',
        f'[mqtt]\nhost = "127.0.0.1"\nport = {broker}\nuser = "kuraban"',
        f'password = "{USERS["kuraban"]}"\nclient_id = "flooded"',
        '[[place]]\nid = "cellar"\nkind = "room"\nname = "Cellar"',
        '[[place]]\nid = "store"\nkind = "cold-store"\nname = "Store"\nband = [1.0, 8.0]',
        '[[place]]\nid = "koji-room"\nkind = "room"\nname = "Koji room"',
    ]
    lines += [
        f'[[cooler]]\nid = "chiller-{n}"\nkind = "chilled-water"\nname = "Chiller {n}"'
        for n in (1, 2)
    ]
    for n in range(1, TANKS + 1):
        lines.append(f'[[place]]\nid = "tank-{n}"\nkind = "tank"\nname = "Tank {n}"\nlitres = 1400')
        lines.append(f'room = "cellar"\ncooler = "chiller-{(n + 1) % 2 + 1}"')
    for probe in PROBES:
        lines.append(f'[[probe]]\nid = "{probe}"\nof = "{_of(probe)}"\nmeasures = "{_what(probe)}"')
        lines.append('every = "10s"')
    lines.append(f'[[person]]\nid = "aki"\nname = "Aki"\npages = ["json://127.0.0.1:{sink}/aki"]')
    lines.append('[[duty]]\nrole = "brewer"\nperson = "aki"\norder = 1')
    (folder / "courses").mkdir(parents=True, exist_ok=True)
    course = COURSE % (TOLERANCE, DELAY, PLAN)
    (folder / "courses" / "of-seconds.toml").write_text(course, "utf-8")
    path = folder / "site.toml"
    path.write_text("\n".join(lines) + "\n", "utf-8")
    path.chmod(0o600)
    return path


def _of(probe: str) -> str:
    where = {"t": "tank-", "c": "chiller-"}
    rooms = {"cellar-air": "cellar", "store-air": "store", "room-air": "koji-room"}
    return rooms.get(probe) or where[probe[0]] + probe[1]


def _what(probe: str) -> str:
    return {"mid": "product", "top": "product"}.get(
        probe.partition("-")[2], probe.partition("-")[2]
    )


def _value(probe: str, risen: float, lot: random.Random) -> str:
    kind = probe.partition("-")[2]
    steady = {"valve": "false", "power": "400", "supply": "3.1", "return": "5.2"}
    if kind in steady:
        return steady[kind]
    if probe == "store-air":
        return f"{4 + lot.gauss(0, 0.03):.2f}"
    tank = PLAN + (risen if probe.startswith(f"t{TANKS}-") else 0.0)
    return f"{(tank if kind in ('mid', 'top') else 14.0) + lot.gauss(0, 0.02):.2f}"


@dataclass
class Boards:
    """Every probe but the stolen ones, once a second; tank 6 warms up when told to."""

    port: int
    words: dict[str, str]
    stolen: frozenset[str]
    rises_at: float = float("inf")
    left: float = 0.0
    """When the first value beyond the tolerance was sent, Unix seconds."""
    _ended: threading.Event = field(default_factory=threading.Event)

    def __post_init__(self) -> None:
        self._wires = {
            probe: Wire(self.port, probe, self.words[probe])
            for probe in PROBES
            if probe not in self.stolen
        }
        crew = self._wires["crew"] = Wire(self.port, "crew", self.words["crew"])
        for n in range(1, TANKS + 1):
            entry = {"entry": "batch-start", "batch": f"No. {n}", "course": "of-seconds"}
            crew.publish(f"kura/log/tank-{n}", json.dumps(entry).encode())
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def _run(self) -> None:
        lot, tick = random.Random(6), 0
        began = time.time()
        while not self._ended.wait(max(0.0, began + tick - time.time())):
            tick += 1
            now = time.time()
            risen = max(0.0, (now - self.rises_at) * RISE)
            for probe, wire in self._wires.items():
                if probe == "crew":
                    continue
                value = _value(probe, min(risen, 0.6), lot)
                wire.publish(f"kura/reading/{probe}", value.encode())
                if probe == DRIFTS and not self.left and float(value) > PLAN + TOLERANCE:
                    self.left = now

    def close(self) -> None:
        self._ended.set()
        self._thread.join(10)
        for wire in self._wires.values():
            wire.close()


def everyone() -> dict[str, str]:
    """Users of the broker and their passwords."""
    return {**USERS, **{probe: f"word-of-{probe}" for probe in PROBES}}


def held(pid: int, what: str) -> float:
    """MB, as the kernel counts them: VmRSS now, VmHWM the most that it was."""
    for line in Path(f"/proc/{pid}/status").read_text().splitlines():
        if line.startswith(f"{what}:"):
            return int(line.split()[1]) / 1024
    return 0.0


@dataclass
class Outcome:
    """What a flood came to. MB, seconds; `paged` from leaving the tolerance to the phone."""

    flood: str
    sent: float = 0.0
    paged: float | None = None
    watch: float = 0.0
    broker: float = 0.0
    journal: float = 0.0
    alive: bool = True
    log: str = ""


@contextmanager
def brewery(
    folder: Path, stolen: frozenset[str], limits: Callable[[int], None] = lambda pid: None,
    tls: str = "",
) -> Iterator[tuple[Mosquitto, Sink, Boards, subprocess.Popen[bytes]]]:  # fmt: skip
    """Broker, phones, boards and the watch as a process of its own, watching."""
    words, folder = everyone(), folder.absolute()
    with (
        Mosquitto(folder, tls, users=words, without=("autosave_on_changes",)) as broker,
        Sink() as sink,
    ):
        path = site(folder, broker.port, sink.port)
        with (folder / "log").open("ab") as log:
            watch = subprocess.Popen(
                [PYTHON, "-c", "from kuraban.cli import main; main()", "run", "--site", path],
                cwd=folder, stderr=log, stdout=log,
            )  # fmt: skip
        limits(watch.pid)
        try:
            _await(lambda: b"connected" in (folder / "log").read_bytes(), watch)
            boards = Boards(broker.port, words, stolen)
            try:
                yield broker, sink, boards, watch
            finally:
                boards.close()
        finally:
            watch.send_signal(signal.SIGTERM)
            with suppress(subprocess.TimeoutExpired):
                watch.wait(30)
            watch.kill()
            watch.wait()


def _await(true: Callable[[], bool], watch: subprocess.Popen[bytes], within: float = 40.0) -> None:
    deadline = time.monotonic() + within
    while not true():
        if watch.poll() is not None or time.monotonic() > deadline:
            raise RuntimeError("the watch did not come up")
        time.sleep(0.05)


def size_of(data: Path) -> float:
    """MB of the journal and what lies beside it."""
    return sum(file.stat().st_size for file in data.iterdir() if file.is_file()) / 1e6


def endure(
    folder: Path, kinds: tuple[str, ...], seconds: float, *, calm: float = 15.0,
    limits: Callable[[int], None] = lambda pid: None, tls: str = "", tls_port: int = 0,
    ca_file: str | None = None,
) -> Outcome:  # fmt: skip
    """Floods of these kinds together, and a tank that leaves its tolerance amid them."""
    chosen = [KINDS[name] for name in kinds]
    stolen = frozenset(kind.user for kind in chosen)
    with brewery(folder, stolen, limits, tls) as (broker, sink, boards, watch):
        boards.rises_at = time.time() + max(0.0, calm + seconds / 3 - TOLERANCE / RISE)
        time.sleep(calm)
        found, before = Outcome(" + ".join(kinds)), size_of(folder / "data")
        floods = [
            subprocess.Popen(
                [sys.executable, "-m", __name__, str(tls_port or broker.port), name, str(seconds)]
                + ([ca_file] if ca_file else []),
                cwd=Path(__file__).parents[2], stdout=subprocess.PIPE, text=True,
            )
            for name in kinds
        ]  # fmt: skip
        end = time.monotonic() + seconds + 30
        while time.monotonic() < end and (
            found.paged is None or any(f.poll() is None for f in floods)
        ):
            time.sleep(0.1)
            if watch.poll() is not None:
                found.alive = False
                break
            found.watch = held(watch.pid, "VmHWM")
            rung = [one.at for one in sink.got if "Tank 6" in one.title]
            if rung and found.paged is None and boards.left:
                found.paged = min(rung) - boards.left
        for one in floods:
            told = one.communicate(timeout=60)[0]
            found.sent += int(told or 0) / 1e6
        time.sleep(2)
        found.broker = held(broker.pid, "VmHWM")
        found.journal = size_of(folder / "data") - before
    found.log = (folder / "log").read_text("utf-8", "replace")
    return found


if __name__ == "__main__":
    port, name, seconds, *ca = sys.argv[1:]
    kind = KINDS[name]
    print(flood(int(port), everyone()[kind.user], kind, float(seconds), ca[0] if ca else None))
