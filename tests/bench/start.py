"""How long a start takes with a year in the journal: from the command to READY=1.

    tests/bench/start [--keep FOLDER]

The journal holds 3.15 million readings, a year of 60 probes at ten-minute steps, and a last day at
one a minute with twenty running batches, which ends now. It is invented once and kept in `--keep`
(the system's folder for temporary files). `kuraban run` is started as systemd would start it, in
three ways: after a clean stop, after a kill just before the hourly checkpoint, and after an
upgrade, when the checkpoint does not fit and the watch is warmed up from the record. The first of
three starts and the best, and the processor time of the best, which others on the machine prolong
less.
"""

from __future__ import annotations

import argparse
import json
import os
import shutil
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any, NamedTuple

from rich.console import Console
from rich.progress import track
from rich.table import Table

from kuraban.core.effects import Turn
from kuraban.core.engine.engine import Engine
from kuraban.core.facts import HouseChanged, Reading
from kuraban.core.intake.wire import Wire
from kuraban.core.site import House, to_document
from kuraban.core.units import show_time
from kuraban.runtime import freeze
from kuraban.runtime.watch import JOURNAL
from kuraban.settings import load
from kuraban.settings.catalogues import load_words
from kuraban.store.journal import Checkpoint, Journal
from tests.bench import ground, replay
from tests.broker import USERS, Mosquitto

AIM = 1.0
DAYS, STEP = 365, 600.0
DAY = 86400.0
BATCH = 60_000
COMMAND = (sys.executable, "-c", "from kuraban.cli import main; main()", "run", "--site")


def year(path: Path) -> None:
    """A journal with a year of readings that end at a fixed moment, in `path`."""
    end = replay.START.timestamp()
    house = _house(path.parent)
    journal = Journal.open(path)
    journal.commit(
        Turn(now=end - DAYS * DAY, facts=[HouseChanged(end - DAYS * DAY, to_document(house))])
    )
    probes = [probe.id for probe in house.probes]
    facts: list[Any] = []
    for step in track(range(int(DAYS * DAY / STEP)), "a year passes", transient=True):
        at = end - DAYS * DAY + (step + 1) * STEP
        facts += [
            Reading(probe, at - 30 + k / 4, 10.0 + (step + k) % 16 / 16, at)
            for k, probe in enumerate(probes)
        ]
        if len(facts) >= BATCH:
            journal.commit(Turn(now=at, facts=facts))
            facts = []
    journal.commit(Turn(now=end, facts=facts))
    journal.close()


def _house(folder: Path) -> House:
    site = folder / "site.toml"
    site.write_text(replay.site(), encoding="utf-8")
    return load(site, {}).house


def last_day(path: Path, now: float, how: str) -> None:
    """Live through a day that ends `now`, written turn by turn as the watch does."""
    house, words = _house(path.parent), load_words()
    wire, engine, journal = Wire(house, "kura"), Engine(words), Journal.open(path)
    engine.take(HouseChanged(now - DAY, to_document(house)))
    for number, (topic, payload, at) in enumerate(_day(now - DAY)):
        for fact in wire.read(topic, payload, at):
            engine.take(fact)
        if number % 600 == 599:
            keep = how == "killed" and now - at > 3590.0
            journal.commit(engine.drain(), freeze(engine) if keep else None)
    engine.wake(now)
    kept = freeze(engine)
    if how == "upgraded" and kept is not None:
        kept = Checkpoint("an earlier version", kept.blob)
    journal.commit(engine.drain(), None if how == "killed" else kept)
    journal.close()


def _day(start: float) -> Iterator[tuple[str, bytes, float]]:
    """The messages of the bench's brewery, moved so that they begin at `start`."""
    shift = start - replay.START.timestamp()
    for sent in ground.messages(int(DAY / 60) * replay.PROBES):
        fields = json.loads(sent.payload)
        if "value" in fields:
            fields["at"] = sent.at + shift
        else:
            fields["since"] = show_time(start - 11 * DAY, replay.TOKYO)
        yield sent.topic, json.dumps(fields).encode(), sent.at + shift


class Took(NamedTuple):
    """Seconds from the command to its READY=1, and the processor's until then."""

    all: float
    worked: float


def until_ready(site: Path, log: Path) -> Took:
    """One start; stopped again afterwards."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as ear, log.open("ab") as file:
        ear.bind(str(log.with_suffix(".socket")))
        ear.settimeout(60)
        env = {**os.environ, "NOTIFY_SOCKET": str(log.with_suffix(".socket"))}
        began = time.perf_counter()
        watch = subprocess.Popen([*COMMAND, str(site)], env=env, stderr=file, cwd=ground.ROOT)
        while b"READY=1" not in ear.recv(4096):
            pass
        took = Took(time.perf_counter() - began, ground.worked(watch.pid))
        watch.kill()
        watch.wait()
    log.with_suffix(".socket").unlink()
    return took


def measured(source: Path, folder: Path, how: str) -> list[Took]:
    """Three starts from the same journal."""
    with Mosquitto(folder, without=ground.NOTHING_SAVED) as broker:
        reach = f'[mqtt]\nport = {broker.port}\nuser = "kuraban"\npassword = "{USERS["kuraban"]}"\n'
        data = folder / "data"
        data.mkdir()
        shutil.copy(source, data / JOURNAL)
        last_day(data / JOURNAL, time.time(), how)
        (data / "site.toml").unlink()
        site = folder / "site.toml"
        site.write_text(replay.site() + "\n" + reach, encoding="utf-8")
        times = []
        for _ in range(3):
            shutil.copytree(data, folder / "kept")
            times.append(until_ready(site, folder / "log"))
            shutil.rmtree(data)
            (folder / "kept").rename(data)
    return times


def _told(times: list[Took]) -> dict[str, float]:
    found = {"first": times[0].all, "best": min(times).all,
             "worked": min(took.worked for took in times)}  # fmt: skip
    return {name: round(took, 2) for name, took in found.items()}


def main() -> None:
    parser = argparse.ArgumentParser(description="From the command to READY=1 with a year kept.")
    home = Path(tempfile.gettempdir()) / "kuraban-bench-year"
    parser.add_argument("--keep", type=Path, default=home, metavar="FOLDER")
    asked = parser.parse_args()
    asked.keep.mkdir(parents=True, exist_ok=True)
    source = asked.keep / "year.journal"
    if not source.exists():
        year(asked.keep / "new.journal")
        (asked.keep / "new.journal").rename(source)
    where, found = ground.machine(), {}
    for how in ("stopped", "killed", "upgraded"):
        with tempfile.TemporaryDirectory(dir=asked.keep) as folder:
            found[how] = measured(source, Path(folder), how)
    table = Table(box=None, padding=(0, 2, 0, 0))
    for column in ("after it was", "first", "best", "processor, best"):
        table.add_column(column)
    for how, times in found.items():
        table.add_row(how, *(f"{took:.2f} s" for took in _told(times).values()))
    Console().print(table)
    print(f"aim: {AIM:g} s; journal of {source.stat().st_size / 1e6:.0f} MB")
    told = {how: _told(times) for how, times in found.items()}
    ground.keep(
        "start", readings=int(DAYS * DAY / STEP) * replay.PROBES, aim=AIM, machine=where, **told
    )


if __name__ == "__main__":
    main()
