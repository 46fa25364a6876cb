"""Thirty days of a brewery in 43 minutes, through a real broker: does anything grow?

    tests/soak/month [--days N] [--speed X]

Six tanks follow their plans with the saw-tooth of on/off cooling, a stir is logged every morning,
and every third day one of them is left warm for five hours and answered. At the end of each day
the watch's memory, open files and threads are written down, and how long a reading took from its
publish to the journal. A phone has the cellar open all the month, and every noon somebody looks at
each of the pages: the memory and files of the pages' own process stand beside it.
"""

from __future__ import annotations

import argparse
import math
import random
import signal
import tempfile
import threading
import time
from contextlib import suppress
from pathlib import Path
from statistics import median
from typing import Any

import httpx
from rich.console import Console
from rich.progress import Progress
from rich.table import Table

from kuraban.clock import elapsed
from kuraban.core.engine.engine import Engine
from kuraban.core.entries import BatchStart
from kuraban.core.facts import HouseChanged, Logged
from kuraban.core.site import to_document
from kuraban.core.units import show_time
from kuraban.runtime.watch import JOURNAL
from kuraban.settings import load
from kuraban.settings.catalogues import load_words
from kuraban.store.history import History
from tests.bench import ground
from tests.broker import Mosquitto, free_port
from tests.nights import SITE, await_hearing, spawn, wait
from tests.sink import Sink
from tests.soak.trial import Insisting
from tests.test_kills import NO_LIST

START = 1768899600.0
"""2026-01-20 18:00 in Japan."""
TANKS = tuple(f"tank-{number}" for number in range(1, 7))
COURSE = "night-slow"
DAY, EVERY = 86400.0, 60.0
WARM = 0.9
LOOKED_AT = (
    "/",
    "/round",
    "/place/tank-1",
    "/place/tank-1/curve.svg",
    "/place/tank-2?range=batch",
    "/place/tank-3/plan",
    "/rings",
    "/coolers",
    "/koji",
    "/batches",
    "/setup",
    "/metrics",
    "/api/v1/picture",
)
NOON = 18 * 60
"""Minutes from six in the evening."""
PROBED = 40
"""Readings a day whose way into the journal is timed."""


class Brewery:
    """What the probes say and the crew does, at any moment of the month."""

    def __init__(self) -> None:
        self.house = load(SITE, {}).house
        self.engine = Engine(load_words())
        self.engine.take(HouseChanged(START, to_document(self.house)))
        self.chance = random.Random(30)
        self.probes = {
            tank: [one.id for one in self.house.probes_of(tank, "product")] for tank in TANKS
        }
        self.starts = {tank: START - DAY * (2 + number) for number, tank in enumerate(TANKS)}
        for tank, since in self.starts.items():
            entry = BatchStart(batch=f"{tank} soak", course=COURSE, stage="moromi", since=since)
            self.engine.take(Logged(f"start {tank}", tank, entry, START, START))

    def begin(self, publisher: Insisting) -> None:
        for tank, since in self.starts.items():
            start = show_time(since, self.house.zone)
            publisher.publish(f"kura/log/{tank}", (
                f'{{"entry":"batch-start","id":"start {tank}","batch":"{tank} soak",'
                f'"course":"{COURSE}","stage":"moromi","since":"{start}"}}'
            ))  # fmt: skip

    def minute(self, publisher: Insisting, at: float) -> None:
        day, clock = divmod(at - START, DAY)
        for number, tank in enumerate(TANKS):
            batch = self.engine.view.batch(tank, at)
            planned = 10.0 if batch is None else batch.plan.at(at)
            value = planned + 0.12 * math.sin(at / 1500.0 + number)
            if day % 3 == 1 and number == int(day) % len(TANKS) and 8 * 3600 < clock < 13 * 3600:
                value += WARM
            for probe in self.probes[tank]:
                said = round((value + self.chance.gauss(0, 0.02)) * 16) / 16
                publisher.publish(f"kura/reading/{probe}", f'{{"value": {said}, "at": {at}}}')
            if clock == 12 * 3600:
                publisher.publish(f"kura/log/{tank}", f'{{"entry":"stir","id":"stir {at} {tank}"}}')
            if clock == 11 * 3600:
                publisher.publish(f"kura/log/{tank}", (
                    f'{{"entry":"acknowledge","id":"ack {at} {tank}","by":"aki"}}'
                ))  # fmt: skip


def measures(pid: int) -> dict[str, float]:
    status = Path(f"/proc/{pid}/status").read_text()
    fields = dict(line.split(":", 1) for line in status.splitlines())
    return {
        "mb": round(int(fields["VmRSS"].split()[0]) / 1024, 1),
        "files": len(list(Path(f"/proc/{pid}/fd").iterdir())),
        "threads": int(fields["Threads"]),
    }


def pages_of(watch: int) -> int:
    """The process of the pages that a watch has started."""
    (pages,) = Path(f"/proc/{watch}/task/{watch}/children").read_text().split()
    return int(pages)


class Phone:
    """Has the cellar open, and looks at every page when asked."""

    def __init__(self, port: int) -> None:
        self._browser = httpx.Client(base_url=f"http://127.0.0.1:{port}", timeout=30)
        threading.Thread(target=self._watch, daemon=True).start()
        self.seen = 0

    def _watch(self) -> None:
        with (
            suppress(httpx.HTTPError),
            self._browser.stream("GET", "/live/cellar", timeout=None) as live,
        ):
            for line in live.iter_lines():
                self.seen += line.startswith("data:")

    def look(self) -> None:
        for page in LOOKED_AT:
            answer = self._browser.get(page)
            assert answer.status_code == 200, f"{page}: {answer.status_code}"


def answers(port: int) -> bool:
    try:
        return httpx.get(f"http://127.0.0.1:{port}/").status_code == 200
    except httpx.HTTPError:
        return False


def way(publisher: Insisting, path: Path, at: float) -> float:
    """Seconds from the publish of a reading until it stands in the journal."""
    began = time.perf_counter()
    publisher.publish("kura/reading/cellar-air", f'{{"value": 6.5, "at": {at}}}')
    history = History(path)
    try:
        while not list(history.readings("cellar-air", at, at + 0.001)):
            assert time.perf_counter() - began < 10
            time.sleep(0.001)
    finally:
        history.close()
    return time.perf_counter() - began


def main() -> None:
    parser = argparse.ArgumentParser(description="Thirty days in 43 minutes.")
    parser.add_argument("--days", type=int, default=30)
    parser.add_argument("--speed", type=float, default=1000.0)
    asked = parser.parse_args()
    where, days = ground.machine(), []
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        with Mosquitto(folder, without=NO_LIST) as broker, Sink() as sink, Progress() as progress:
            days = _live(folder, broker, sink, progress, asked)
            told = len(sink.got)
    _print(days, told)
    ground.keep("month", machine=where, speed=asked.speed, messages_sent=told, days=days)


def _live(
    folder: Path, broker: Mosquitto, sink: Sink, progress: Progress, asked: argparse.Namespace
) -> list[dict[str, Any]]:
    data, brewery, publisher = folder / "data", Brewery(), Insisting(broker.port)
    began = elapsed() + 2.0
    port = free_port()
    watch = spawn(broker, sink, data, START, asked.speed, began, pages=port)
    try:
        await_hearing(data)
        brewery.begin(publisher)
        wait(lambda: answers(port), 20)
        days = _days(asked, began, brewery, publisher, watch.pid, Phone(port), data, progress)
        publisher.settle()
        watch.send_signal(signal.SIGTERM)
        assert watch.wait(20) == 0
    finally:
        watch.kill()
    assert "a fault of ours" not in (folder / "log").read_text()
    publisher.close()
    return days


def _days(
    asked: argparse.Namespace, began: float, brewery: Brewery, publisher: Insisting, watch: int,
    phone: Phone, data: Path, progress: Progress,
) -> list[dict[str, Any]]:  # fmt: skip
    pages = pages_of(watch)
    task, days = progress.add_task("days", total=asked.days), []
    for day in range(asked.days):
        ways = []
        for minute in range(1440):
            at = START + day * DAY + minute * EVERY
            time.sleep(max(began + (at - START) / asked.speed - elapsed(), 0.0))
            brewery.minute(publisher, at)
            if minute % (1440 // PROBED) == 7:
                ways.append(way(publisher, data / JOURNAL, at))
            if minute == NOON:
                phone.look()
        journal = sum(file.stat().st_size for file in data.iterdir()) / 1e6
        beside = {f"pages_{what}": amount for what, amount in measures(pages).items()}
        days.append({"day": day + 1, **measures(watch), **beside, "told": phone.seen,
                     "journal_mb": round(journal, 1),
                     "way_ms": round(1000 * median(ways), 1),
                     "slowest_ms": round(1000 * max(ways), 1)})  # fmt: skip
        progress.advance(task)
    return days


def _print(days: list[dict[str, Any]], told: int) -> None:
    table = Table(box=None, padding=(0, 2, 0, 0))
    for column in days[0]:
        table.add_column(column, justify="right")
    for day in days:
        table.add_row(*map(str, day.values()))
    Console().print(table)
    print(f"{told} messages went out")


if __name__ == "__main__":
    main()
