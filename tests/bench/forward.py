"""How fast a journal goes to the long history, beside influxdb-client writing from memory.

    tests/bench/forward [--points N] [--profile]

60 probes once a minute and their batches, in a journal; Victoria Metrics on loopback keeps them. In
the same run the same points are written by influxdb-client alone, synchronously and in batches of
the same size, once as its own points and once as lines that were ready before. The forwarder reads
the journal, finds place and batch of each reading, writes and moves its cursor. Each three times,
by turns, into an engine that is empty; the medians, and their ratios.
"""

from __future__ import annotations

import argparse
import statistics
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from influxdb_client import InfluxDBClient
from influxdb_client import Point as ClientPoint
from influxdb_client.client.write_api import SYNCHRONOUS

from kuraban.core.effects import Turn
from kuraban.core.facts import Fact, HouseChanged
from kuraban.core.intake.wire import Wire
from kuraban.core.site import to_document
from kuraban.edges.history.forwarder import BATCH, Forwarder
from kuraban.edges.history.line_protocol import Points
from kuraban.settings import Receiver, load
from kuraban.store.forwarded import Forwarded
from kuraban.store.journal import Journal
from tests.bench import ground, replay
from tests.engines import VictoriaMetrics, parse

AIM = 0.8
REPEATS = 3
TURN = 500


def journal(path: Path, count: int) -> int:
    """A journal of `count` readings; the number of its last row."""
    site = path.with_name("site.toml")
    site.write_text(replay.site(), encoding="utf-8")
    house = load(site, {}).house
    wire, kept = Wire(house, "kura"), Journal.open(path)
    began = replay.START.timestamp()
    facts: list[Fact] = [HouseChanged(began, to_document(house))]
    for sent in ground.messages(count):
        facts += wire.read(sent.topic, sent.payload, sent.at)
        if len(facts) >= TURN:
            kept.commit(Turn(now=sent.at, facts=facts))
            facts = []
    kept.commit(Turn(now=sent.at, facts=facts))
    kept.close()
    held = Forwarded(path, "nobody", "ro")
    last = held.rows_after(0, 10**9).last
    held.close()
    return last


def lines_of(path: Path) -> list[str]:
    """Every point of the journal as a line."""
    held = Forwarded(path, "nobody", "ro")
    _, lines = Points().of(held.rows_after(0, 10**9))
    held.close()
    return lines


def points_of(lines: list[str]) -> list[ClientPoint]:
    """The same as the client library's own points."""
    made = []
    for line in lines:
        point = parse(line)
        one = ClientPoint(point.measurement)
        for name, text in point.tags:
            one.tag(name, text)
        for name, value in point.fields.items():
            one.field(name, value)
        made.append(one.time(point.time))
    return made


def by_client(url: str, points: list[ClientPoint] | list[str]) -> float:
    """Seconds that influxdb-client takes for points in memory."""
    with InfluxDBClient(url=url, token="", org="kuraban") as client:
        api = client.write_api(write_options=SYNCHRONOUS)
        began = time.perf_counter()
        for start in range(0, len(points), BATCH):
            api.write("sake", record=points[start : start + BATCH])
        return time.perf_counter() - began


def by_forwarder(url: str, path: Path, last: int) -> float:
    """Seconds from its start until its cursor stands behind everything."""
    to = Receiver(url, "sake")
    held = Forwarded(path, to.name)
    held.move(0)
    forwarder = Forwarder(path, to, lambda late, why: None, time.time)
    began = time.perf_counter()
    forwarder.start()
    while held.seq() != last:
        time.sleep(0.001)
    took = time.perf_counter() - began
    forwarder.stop(5)
    held.close()
    return took


def measured(folder: Path, count: int) -> dict[str, list[float]]:
    path = folder / "kuraban.journal"
    last = journal(path, count)
    lines = lines_of(path)
    points = points_of(lines)
    ways: dict[str, Callable[[str], float]] = {
        "points": lambda url: by_client(url, points),
        "lines": lambda url: by_client(url, lines),
        "forwarder": lambda url: by_forwarder(url, path, last),
    }
    took: dict[str, list[float]] = {way: [] for way in ways}
    for turn in range(REPEATS):
        for way, write in ways.items():
            empty = folder / f"{way}-{turn}"
            empty.mkdir()
            with VictoriaMetrics(empty) as server:
                took[way].append(write(server.url))
                assert server.count("reading_value") == count, way
    return took


def main() -> None:
    parser = argparse.ArgumentParser(description="The journal to the long history, how fast.")
    parser.add_argument("--points", type=int, default=200_000)
    parser.add_argument("--profile", action="store_true", help="where the forwarder's time goes")
    asked = parser.parse_args()
    machine = ground.machine()
    with tempfile.TemporaryDirectory() as name:
        if asked.profile:
            profile(Path(name), asked.points)
            return
        took = measured(Path(name), asked.points)
    pace = {way: round(asked.points / statistics.median(times)) for way, times in took.items()}
    ratios = {way: round(pace["forwarder"] / pace[way], 2) for way in ("points", "lines")}
    ground.keep(
        "forward", machine=machine, points=asked.points, batch=BATCH, aim=AIM,
        points_a_second=pace, ratio=ratios,
        seconds={way: [round(one, 2) for one in times] for way, times in took.items()},
    )  # fmt: skip
    for way, rate in pace.items():
        print(f"{way:>10} {rate:>9,} points a second")
    print(
        f"ratio {ratios['points']} of its own points, {ratios['lines']} of ready lines; aim {AIM}"
    )


def profile(folder: Path, count: int) -> None:
    """The forwarder's own turns, one after the other in this thread."""
    path = folder / "kuraban.journal"
    journal(path, count)
    with VictoriaMetrics(folder) as server:
        forwarder = Forwarder(path, Receiver(server.url, "sake"), lambda *_: None, time.time)

        def work() -> None:
            while forwarder._turn() == 0.0:
                pass

        print(replay.profiled(work))


if __name__ == "__main__":
    main()
