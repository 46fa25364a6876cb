"""A feed on a small board: twenty probes on four buses, a tenth of a core, 64 MB, every fault.

    tests/soak/feed [--minutes M]

Real parts all round: Modbus units over TCP and on a serial line, a folder as the kernel shows
probes on 1-wire, two programs, Mosquitto as delivered, the watch with its journal. One row a fault.
`read` are the lines that the two programs wrote down themselves; `lost` are those of them that
stand neither in the journal nor in the buffer at the end.
"""

from __future__ import annotations

import argparse
import json
import os
import signal
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any

from kuraban.runtime.watch import JOURNAL
from kuraban.settings import load
from kuraban.store.history import History
from kuraban.store.reading_buffer import ReadingBuffer
from tests.bench import ground
from tests.broker import USERS, Mosquitto
from tests.feed.test_service import start
from tests.feed.units import Bench, on_a_line, over_tcp
from tests.nights import SITE, await_hearing, spawn, wait
from tests.sink import Sink
from tests.soak.floods import held

CORE, MEMORY = 0.1, 64 * 2**20
EVERY = 3.0
SIGNALS = ("t1-valve", "t2-valve", "t3-valve", "t4-valve", "ch1-running", "ch1-demand")
LINES = ("ch1-supply", "ch1-return", "ch2-supply", "store-air", "kr-dry", "kr-wet")
WIRES = ("t1-upper", "t1-lower", "t2-mid", "t3-mid", "t4-mid", "t5-mid")
PROGRAMS = ("cellar-air", "st1-mid")
COUNTS = "n=$(($(wc -l <{0})+1)); echo $n >>{0}; echo $((10+n/1000)).$(printf %03d $((n%1000)))"
"""Writes down what it has measured: 10.001, 10.002 and so on."""


def config(folder: Path, port: int, tcp: int, device: str) -> Path:
    text = (
        f'[mqtt]\nport = {port}\nuser = "feed"\npassword = "{USERS["feed"]}"\n'
        f'[feed]\nevery = "{EVERY:g}s"\none_wire = "w1"\n'
        f'[[line]]\nid = "tcp"\nhost = "127.0.0.1"\nport = {tcp}\n'
        f'[[line]]\nid = "rtu"\ndevice = "{device}"\nparity = "none"\ntimeout = "0.3s"\n'
    )
    for number, probe in enumerate(WIRES):
        rom = f"28-00000000000{number}"
        (folder / "w1" / rom).mkdir(parents=True)
        (folder / "w1" / rom / "temperature").write_text("10460\n")
        text += f'[[wire]]\nid = "{probe}"\nrom = "{rom}"\n'
    for number, probe in enumerate(SIGNALS):
        text += f'[[value]]\nid = "{probe}"\nline = "tcp"\nunit = {number % 2 + 1}\n'
        text += 'address = 1\ntype = "bit"\nbit = 2\n'
    for number, probe in enumerate(LINES):
        text += f'[[value]]\nid = "{probe}"\nline = "rtu"\nunit = {number % 2 + 1}\n'
        text += 'address = 2\ntype = "float32"\norder = "CDAB"\n'
    for probe in PROGRAMS:
        (folder / probe).touch()
        run = json.dumps(["/bin/sh", "-c", COUNTS.format(folder / probe)])
        text += f'[[command]]\nid = "{probe}"\nrun = {run}\n'
    path = folder / "feed.toml"
    path.write_text(text)
    return path


class Trial:
    """The feed in its bounds, and what it has used so far, over all its lives."""

    def __init__(self, config: Path, hold: Callable[[int], None]) -> None:
        self._config, self._hold = config, hold
        self.most, self.worked, self.awake = 0.0, 0.0, 0.0
        self.begin()

    def begin(self) -> None:
        self.began = time.monotonic()
        self.process = start(self._config)
        self._hold(self.process.pid)

    def note(self) -> None:
        """Before it ends: MB at the most, as the program that it has become; seconds worked."""
        pid = self.process.pid
        status = Path(f"/proc/{pid}/status").read_text()
        self.most = max(self.most, int(status.split("VmHWM:")[1].split()[0]) / 1024)
        fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
        self.worked += (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")
        self.awake += time.monotonic() - self.began

    def end(self, how: signal.Signals) -> None:
        self.note()
        self.process.send_signal(how)
        self.process.wait(60)


def journaled(data: Path) -> dict[str, list[tuple[float, float]]]:
    history = History(data / JOURNAL)
    probes = (*SIGNALS, *LINES, *WIRES, *PROGRAMS)
    found = {probe: list(history.readings(probe, 0, 1e12)) for probe in probes}
    history.close()
    return found


def trial(folder: Path, minutes: float) -> dict[str, Any]:
    data, bench, rows = folder / "data", Bench(), []
    with (
        Mosquitto(folder) as broker, Sink() as sink, over_tcp(bench) as tcp,
        on_a_line(bench) as rtu, held(CORE, MEMORY) as (hold, how),
    ):  # fmt: skip
        watch = spawn(broker, sink, data, time.time(), 1.0)
        await_hearing(data)
        running = Trial(config(folder, broker.port, tcp.port, rtu.device or ""), hold)
        wait(lambda: any(journaled(data).values()), 120)
        first = time.monotonic() - running.began

        def killed() -> None:
            running.end(signal.SIGKILL)
            running.begin()

        def killed_alone() -> None:
            broker.stop()
            time.sleep(EVERY)
            killed()

        faults: list[tuple[str, int, Callable[[], None], Callable[[], None]]] = [
            ("none", 0, lambda: None, lambda: None),
            ("broker away", 0, broker.stop, broker.start),
            ("broker killed", 0, broker.kill, broker.start),
            ("feed killed", 1, killed, lambda: None),
            ("feed killed while the broker is away", 1, killed_alone,
             broker.start),
            ("unit 1 dead", 0, lambda: bench.dead.add(1), bench.dead.clear),
            ("unit 1 answers late", 0, lambda: bench.late.update({1: 0.45}), bench.late.clear),
            ("noise on the lines", 0, lambda: setattr(bench, "noise", True),
             lambda: setattr(bench, "noise", False)),
        ]  # fmt: skip
        for name, kills, begins, ends in faults:
            before = time.monotonic()
            counted = sum(len(found) for found in journaled(data).values())
            begins()
            time.sleep(minutes * 60 / len(faults) / 2)
            ends()
            time.sleep(minutes * 60 / len(faults) / 2)
            now = sum(len(found) for found in journaled(data).values())
            rows.append({"fault": name, "seconds": round(time.monotonic() - before),
                         "in the journal": now - counted, "kills": kills})  # fmt: skip
        buffer = ReadingBuffer(folder / "feed.buffer", 10**6, print)
        running.end(signal.SIGTERM)
        left = buffer.oldest(10**6)
        wait(lambda: len(buffer.oldest(10**6)) == len(left), 1)
        time.sleep(2)
        watch.terminate()
        watch.wait(30)
        return {"held": how, "first reading after, s": round(first, 1), "faults": rows,
                **outcome(folder, journaled(data), left), **used(running)}  # fmt: skip


def outcome(folder: Path, found: dict[str, list[tuple[float, float]]], left: Any) -> dict[str, Any]:
    """What was read against what was kept, told by the two programs that count."""
    lost = read = twice = 0
    for probe in PROGRAMS:
        measured = len((folder / probe).read_text().splitlines())
        waits = [float(one.value) for one in left if one.probe == probe]
        kept = Counter([round(value, 3) for _, value in found[probe]] + waits)
        read += measured
        lost += sum(1 for n in range(1, measured + 1) if round(10 + n / 1000, 3) not in kept)
        twice += sum(count - 1 for count in kept.values())
    return {
        "probes": len(found), "readings in the journal": sum(len(one) for one in found.values()),
        "wrong values": wrong(found), "read and written down": read, "lost": lost, "twice": twice,
        "left in the buffer": len(left),
    }  # fmt: skip


def wrong(found: dict[str, list[tuple[float, float]]]) -> int:
    """Values that their probe never had."""
    right = {**dict.fromkeys(SIGNALS, 1.0), **dict.fromkeys((*LINES, *WIRES), 10.46)}
    return sum(1 for probe, value in right.items() for _, one in found[probe] if one != value)


def used(running: Trial) -> dict[str, Any]:
    return {"MB at the most": round(running.most, 1),
            "of a core, %": round(running.worked / running.awake * 100, 2)}  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(description="A feed on a small board, and every fault.")
    parser.add_argument("--minutes", type=float, default=8.0)
    asked = parser.parse_args()
    assert {*SIGNALS, *LINES, *WIRES, *PROGRAMS} <= {one.id for one in load(SITE, {}).house.probes}
    with tempfile.TemporaryDirectory() as folder:
        result = trial(Path(folder), asked.minutes)
        result["log"] = len((Path(folder) / "feed.log").read_text().splitlines())
    ground.keep("feed", **ground.machine(), **result)
    print(json.dumps(result, indent=2))


if __name__ == "__main__":
    main()
