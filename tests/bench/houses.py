"""What a group of breweries costs: houses of 60 probes, one engine, one head broker.

    tests/bench/houses [--houses 10 25 50] [--faster 1 2 4 8 16]

Each house is as it would be installed: Mosquitto as delivered (without its access list, since one
speaks for all probes), `kuraban run` with its pages, which forwards to one Victoria Metrics and is bridged to the head house's broker. For a minute and more at
each size, then at the largest size at a pace that is so many times life's, each part's processor
time and memory are read from the kernel, what the links carry from the sockets. Where the readings
are not in the journals ten seconds after the last was sent it bends, and nothing faster is tried.
"""

from __future__ import annotations

import argparse
import json
import os
import re
import sqlite3
import subprocess
import sys
import tempfile
import time
import urllib.request
from collections.abc import Iterator, Sequence
from contextlib import ExitStack
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import msgspec
from rich.console import Console
from rich.progress import Progress
from rich.table import Table

from kuraban.core.units import DAY, show_time
from kuraban.runtime.watch import JOURNAL
from tests.bench import ground, replay
from tests.bench.memory_child import resident
from tests.broker import USERS, Mosquitto, free_port
from tests.engines import VictoriaMetrics
from tests.nights import Publisher, wait
from tests.soak.group_house import BRIDGE

TICK = os.sysconf("SC_CLK_TCK")
SETTLES = 10.0


class House:
    """One brewery: its broker, its watch, its pages, and whoever publishes for its probes."""

    def __init__(self, number: int, folder: Path, engine: str, head: int) -> None:
        self.folder, self.name = folder, f"house-{number}"
        folder.mkdir()
        conf = BRIDGE.format(head=f"127.0.0.1:{head}", name=self.name, word=USERS["kuraban"])
        self.broker = Mosquitto(folder, conf, without=("acl_file",))  # one speaks for all probes
        self.port = free_port()
        site = replay.site().replace("Twenty tanks", self.name)
        reach = f'[mqtt]\nport = {self.broker.port}\nuser = "kuraban"\nclient_id = "watch"\n'
        reach += f'password = "{USERS["kuraban"]}"\n'
        kept = f'[history]\nurl = "{engine}"\nbucket = "group"\n'
        pages = f'[web]\nlisten = "127.0.0.1:{self.port}"\n'
        (folder / "site.toml").write_text("\n".join((site, reach, kept, pages)))

    def start(self) -> None:
        self.broker.start()
        run = "from kuraban.cli import main; main()"
        with (self.folder / "log").open("ab") as log:
            self.watch = subprocess.Popen(
                [sys.executable, "-c", run, "run", "--site", str(self.folder / "site.toml")],
                cwd=self.folder, stdout=log, stderr=log,
            )  # fmt: skip
        self.publisher = Publisher(self.broker.port)

    def await_up(self) -> None:
        """Until it hears its broker and serves its first page."""
        wait(lambda: "connected" in (self.folder / "log").read_text(), 120)
        wait(self._served, 120)

    def _served(self) -> bool:
        try:
            with urllib.request.urlopen(f"http://127.0.0.1:{self.port}/", timeout=20):
                return True
        except OSError:
            return False

    def stop(self) -> None:
        self.publisher.close()
        self.watch.terminate()
        self.watch.wait(60)
        self.broker.stop()

    @property
    def parts(self) -> dict[str, int]:
        """The process of each part."""
        watch = self.watch.pid
        (pages,) = Path(f"/proc/{watch}/task/{watch}/children").read_text().split()
        return {"broker": self.broker.pid, "watch": watch, "pages": int(pages)}

    def kept(self) -> int:
        with sqlite3.connect(f"file:{self.folder}/data/{JOURNAL}?mode=ro", uri=True) as journal:
            found: int = journal.execute("SELECT count(*) FROM reading").fetchone()[0]
        return found


def used(pid: int) -> float:
    """Processor seconds of a process so far, its threads included."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / TICK


def carried(port: int) -> int:
    """Bytes that the sockets of a listening port have taken in so far."""
    words = ("ss", "-tniH", "state", "established", f"( sport = :{port} )")
    said = subprocess.run(words, capture_output=True, text=True, check=True).stdout
    return sum(map(int, re.findall(r"bytes_received:(\d+)", said)))


def readings() -> Iterator[tuple[str, str]]:
    """Topics and payloads of a house, each probe once in sixty; a day of it, again and again."""
    line_of = msgspec.json.Decoder(replay.Line).decode
    value_of = msgspec.json.Decoder(replay.Reading).decode
    while True:
        for text in replay.lines(1):
            line = line_of(text)
            if line.topic.startswith("kura/reading/"):
                yield line.topic, msgspec.json.encode(value_of(line.payload).value).decode()


def begin(house: House) -> None:
    """A batch in each tank, ten days old."""
    since = show_time(time.time() - 10 * DAY, ZoneInfo("Asia/Tokyo"))
    for k in range(replay.TANKS):
        entry = {"entry": "batch-start", "batch": f"No. {k}", "course": "night-slow",
                 "stage": "moromi", "since": since, "id": f"start-{k}"}  # fmt: skip
        house.publisher.publish(f"kura/log/tank-{k}", json.dumps(entry))


def publish(houses: Sequence[House], faster: float, seconds: float) -> None:
    """What the probes of all houses say for so long, at a pace that is so many times life's."""
    said = readings()
    apart, began = 60.0 / faster / replay.PROBES / len(houses), time.monotonic()
    for number in range(int(seconds / apart)):
        if number % len(houses) == 0:
            topic, payload = next(said)
        time.sleep(max(0.0, began + number * apart - time.monotonic()))
        houses[number % len(houses)].publisher.publish(topic, payload)


def level(houses: Sequence[House], head: Mosquitto, engine: VictoriaMetrics, faster: float,
          seconds: float) -> dict[str, Any]:  # fmt: skip
    """One row: processor time of each part in per cent of a core, of a house in the mean; MB."""
    parts = {house.name: house.parts for house in houses}
    single = {"head broker": head.pid, "engine": engine.pid}
    before = {name: {part: used(pid) for part, pid in of.items()} for name, of in parts.items()}
    began, alone = time.monotonic(), {name: used(pid) for name, pid in single.items()}
    stood, bridged = sum(house.kept() for house in houses), carried(head.port)
    machine = used_by_all()
    publish(houses, faster, seconds)
    sent = sum(house.publisher.sent for house in houses)
    time.sleep(SETTLES)
    lasted = time.monotonic() - began
    kept = sum(house.kept() for house in houses)
    row: dict[str, Any] = {"houses": len(houses), "pace": faster}
    for part in ("broker", "watch", "pages"):
        spent = [used(parts[one][part]) - before[one][part] for one in parts]
        row[f"{part}, % of a core"] = round(100 * sum(spent) / lasted / len(houses), 2)
        row[f"{part}, MB"] = round(sum(resident(of=parts[one][part]) for one in parts) / len(parts))
    for name, pid in single.items():
        row[f"{name}, % of a core"] = round(100 * (used(pid) - alone[name]) / lasted, 2)
        row[f"{name}, MB"] = round(resident(of=pid))
    row["all, % of the cores"] = round(100 * (used_by_all() - machine) / lasted / os.cpu_count())
    row["bridge, bytes a second a house"] = round(
        (carried(head.port) - bridged) / lasted / len(houses)
    )
    row["readings a second"] = round((kept - stood) / seconds, 1)
    row["not in the journals yet"] = sent - len(houses) * replay.TANKS - kept
    row["bytes a row at the engine"] = stored(engine)
    return row


def used_by_all() -> float:
    """Processor seconds that the machine has spent on anything."""
    user, nice, system, _idle, _waits, *rest = map(
        int, Path("/proc/stat").read_text().split("\n", 1)[0].split()[1:]
    )
    return (user + nice + system + sum(rest[:2])) / TICK


def stored(engine: VictoriaMetrics) -> float:
    """Bytes that the engine keeps of one row, as it counts them itself."""
    with urllib.request.urlopen(f"{engine.url}/metrics", timeout=20) as answer:
        told = dict(line.rsplit(" ", 1) for line in answer.read().decode().splitlines())
    size, rows = (
        sum(float(value) for name, value in told.items() if name.startswith(counter))
        for counter in ("vm_data_size_bytes", "vm_rows{")
    )
    return round(size / rows, 1) if rows else 0.0


def main() -> None:
    parser = argparse.ArgumentParser(description="What a group of breweries costs.")
    parser.add_argument("--houses", type=int, nargs="+", default=(10, 25, 50))
    parser.add_argument("--faster", type=float, nargs="+", default=(2, 4, 8, 16))
    parser.add_argument("--seconds", type=float, default=75.0, help="at each level")
    asked = parser.parse_args()
    where, rows = ground.machine(), []
    steps = [(size, 1.0) for size in asked.houses]
    steps += [(asked.houses[-1], pace) for pace in asked.faster]
    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory()))
        for part in ("engine", "head"):
            (folder / part).mkdir()
        engine = stack.enter_context(VictoriaMetrics(folder / "engine"))
        head = stack.enter_context(Mosquitto(folder / "head"))
        progress = stack.enter_context(Progress())
        task = progress.add_task("houses", total=len(steps))
        houses: list[House] = []
        for size, pace in steps:
            houses += grown(stack, folder, range(len(houses), size), engine, head)
            rows.append(level(houses, head, engine, pace, asked.seconds))
            progress.advance(task)
            if rows[-1]["not in the journals yet"] > size:
                break
    show(rows)
    ground.keep("houses", machine=where, seconds=asked.seconds, rows=rows)


def grown(
    stack: ExitStack, folder: Path, numbers: range, engine: VictoriaMetrics, head: Mosquitto
) -> list[House]:
    """So many more houses, their pages asked for once and their batches begun."""
    found = []
    for number in numbers:
        house = House(number, folder / f"house-{number}", engine.url, head.port)
        stack.callback(house.stop)
        house.start()
        house.await_up()
        begin(house)
        found.append(house)
    time.sleep(SETTLES if found else 0.0)
    return found


def show(rows: Sequence[dict[str, Any]]) -> None:
    table = Table(box=None, padding=(0, 2, 0, 0))
    table.add_column("")
    for row in rows:
        table.add_column(f"{row['houses']} x{row['pace']:g}", justify="right")
    for name in list(rows[0])[2:]:
        table.add_row(name, *(f"{row[name]:g}" for row in rows))
    Console(width=200).print(table)


if __name__ == "__main__":
    main()
