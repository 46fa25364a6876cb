"""How fast a backlog is drained: by a bare client that only counts, and by the watch.

    tests/bench/ingest [--messages N] [--rounds R] [--profile]

One Mosquitto holds the same messages for two kept sessions, QoS 1. First a paho client drains its
own and counts; then the watch drains its own: each message journalled with synchronous = FULL,
judged, and answered after the commit. 60 probes on 20 tanks with running batches. Each in a process
of its own, on the machine's clock from the first message to the last answer.

The watch is measured twice: `live` judges every reading as if it had just come; `late` goes by the
machine's clock, as after a real outage: readings older than ten minutes are kept and counted and
raise nothing by themselves.
"""

from __future__ import annotations

import argparse
import cProfile
import dataclasses
import io
import json
import pstats
import resource
import tempfile
import time
from pathlib import Path
from statistics import median
from typing import Any

import paho.mqtt.client as mqtt
from rich.console import Console
from rich.progress import track
from rich.table import Table

from kuraban.clock import elapsed
from kuraban.core.facts import Reading
from kuraban.edges.mqtt.front_door import Arrived
from kuraban.runtime.watch import JOURNAL, Watch
from kuraban.settings import Settings
from kuraban.settings.catalogues import load_words
from kuraban.store.history import History
from tests.bench import ground
from tests.bench.led import LedClock
from tests.bench.replay import TANKS
from tests.broker import Mosquitto
from tests.nights import Publisher

MODULE = "tests.bench.ingest"
AIM = 0.8
DRAINS = ("bare", "live", "late")


# ------------------------------------------------------------------------------ the parts, alone


def bare(port: int, _folder: Path, count: int) -> dict[str, Any]:
    """A paho client that counts."""
    times: list[float] = []
    seen = 0

    def on_message(client: mqtt.Client, _data: object, _message: mqtt.MQTTMessage) -> None:
        nonlocal seen
        seen += 1
        if seen == 1 or seen == count:
            times.append(time.perf_counter())
        if seen == count:
            client.disconnect()

    client = ground.session("bare")
    used = _used()
    client.on_message = on_message
    client.connect("127.0.0.1", port, clean_start=False, properties=ground.kept())
    client.loop_forever()
    return _told(times[1] - times[0], used)


class Drainer(Watch):
    """A watch that notes when its first message came and when it answered the last."""

    first = last = 0.0
    seen = 0
    count = 0

    def _keep(self, arrived: list[Arrived]) -> bool:
        kept = super()._keep(arrived)
        if arrived and not self.seen:
            self.first = arrived[0].received
        self.seen += len(arrived)
        if self.seen == self.count:
            self.last = elapsed()
            self.stop()
        return kept


def live(port: int, folder: Path, count: int) -> dict[str, Any]:
    return _watch("live", port, folder, count)


def late(port: int, folder: Path, count: int) -> dict[str, Any]:
    return _watch("late", port, folder, count)


def profiled(port: int, folder: Path, count: int) -> dict[str, Any]:
    profile = cProfile.Profile()
    found = profile.runcall(_watch, "live", port, folder, count)
    text = io.StringIO()
    stats = pstats.Stats(profile, stream=text)
    stats.strip_dirs().sort_stats("tottime").print_stats(15)
    lines = [line.rstrip() for line in text.getvalue().strip().splitlines()]
    return {**found, "profile": "\n".join(lines)}


def _watch(name: str, port: int, folder: Path, count: int) -> dict[str, Any]:
    home = folder / name
    home.mkdir(parents=True, exist_ok=True)
    clock = None
    if name == "live":
        clock = LedClock([sent.at for sent in ground.messages(count - TANKS)])
    watch = Drainer(_settings(home, port, name), load_words(), clock=clock)
    watch.count = count
    used = _used()
    watch.run()
    return _told(watch.last - watch.first, used)


def _used() -> float:
    """Processor seconds of this process so far."""
    used = resource.getrusage(resource.RUSAGE_SELF)
    return used.ru_utime + used.ru_stime


def _told(seconds: float, before: float) -> dict[str, Any]:
    return {"seconds": seconds, "processor": _used() - before}


def _settings(home: Path, port: int, name: str) -> Settings:
    found = ground.settings(home, port)
    return dataclasses.replace(found, mqtt=dataclasses.replace(found.mqtt, client_id=name))


# ------------------------------------------------------------------------------------ the rounds


def round_(folder: Path, count: int, drains: tuple[str, ...]) -> dict[str, dict[str, Any]]:
    """The same messages for each of `drains`, one after the other."""
    with Mosquitto(folder, without=ground.NOTHING_SAVED) as broker:
        for name in drains:
            ground.register(broker.port, "live" if name == "profiled" else name)
        publisher = Publisher(broker.port)
        for sent in track(ground.messages(count), "publishing", count + TANKS, transient=True):
            publisher.publish(sent.topic, sent.payload)
            if publisher.sent % 2000 == 0:
                publisher.flush()
        publisher.flush()
        publisher.close()
        time.sleep(1.0)
        found = {
            name: ground.part(MODULE, "--part", name, broker.port, folder, count + TANKS)
            for name in drains
        }
        for name in set(drains) - {"bare"}:
            _all_there(folder / ("live" if name == "profiled" else name) / "data", count)
    return found


def _all_there(data: Path, count: int) -> None:
    history = History(data / JOURNAL)
    there = sum(isinstance(fact, Reading) for _, fact in history.facts_after())
    history.close()
    assert there == count, f"{there} of {count} readings are in the journal"


def main() -> None:
    parser = argparse.ArgumentParser(description="How fast the watch drains a broker's backlog.")
    parser.add_argument("--messages", type=int, default=100_000)
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--profile", action="store_true", help="print where the watch's time goes")
    parser.add_argument("--part", nargs=4, help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.part:
        name, port, folder, count = asked.part
        print(json.dumps(globals()[name](int(port), Path(folder), int(count))))
        return
    if asked.profile:
        with tempfile.TemporaryDirectory() as folder:
            told = round_(Path(folder), asked.messages, ("profiled",))["profiled"]
        print(told["profile"])
        (ground.RESULTS / "ingest-profile.txt").write_text(told["profile"] + "\n")
        return
    where, rounds = ground.machine(), []
    for _ in range(asked.rounds):
        with tempfile.TemporaryDirectory() as folder:
            rounds.append(round_(Path(folder), asked.messages, DRAINS))
    _report(rounds, asked.messages + TANKS, where)


def _report(rounds: list[dict[str, dict[str, Any]]], count: int, where: dict[str, Any]) -> None:
    table = Table(box=None, padding=(0, 2, 0, 0))
    for column in ("drained by", "messages/s", "processor µs a message", "ratio", "worst", "best"):
        table.add_column(column, justify="left" if column == "drained by" else "right")
    numbers: dict[str, Any] = {}
    for name in DRAINS:
        ratios = sorted(one["bare"]["seconds"] / one[name]["seconds"] for one in rounds)
        speed = median(count / one[name]["seconds"] for one in rounds)
        work = median(one[name]["processor"] / count * 1e6 for one in rounds)
        numbers[name] = {
            "messages_a_second": round(speed),
            "processor_us_a_message": round(work, 1),
            "ratio": round(median(ratios), 3),
            "ratios": [round(ratio, 3) for ratio in ratios],
        }
        cells = (f"{speed:,.0f}", f"{work:.1f}", f"{median(ratios):.2f}")
        table.add_row(name, *cells, f"{ratios[0]:.2f}", f"{ratios[-1]:.2f}")
    Console().print(table)
    print(f"aim: {AIM} of bare, live")
    ground.keep("ingest", messages=count, rounds=len(rounds), aim=AIM, machine=where, **numbers)


if __name__ == "__main__":
    main()
