"""How the cost of a reading grows with the house: 10, 100, 1,000 and 10,000 probes in one run.

    tests/bench/growth [--sizes N,N,...] [--minutes M]

Units of one chiller and four tanks, ten probes once a minute, a batch in every tank, nothing wrong.
The whole turn of the watch is led through a backlog: decoding, judging, the journal on the disk,
the answer; only the broker is left out, and the checkpoint of the hour. Told is processor time a
reading after the first ten minutes, in turns of 500 messages whatever the size; the sizes are taken
one after the other, several times, each in a process of its own, and the least counts. No house
lives until its evening word, fourteen hours on: the first notice loads the sending library, which
is no cost of a reading. An entry makes those detectors look that it can touch, a checkpoint holds
all: both are told beside it, and the first entry, for which what the books say is laid by subject,
and what the process holds at the end (`--minutes 840` fills what the judging remembers).
"""

from __future__ import annotations

import argparse
import itertools
import json
import random
import statistics
import tempfile
import time
from collections.abc import Iterator
from math import ceil
from pathlib import Path
from typing import Any

from rich.console import Console
from rich.table import Table

from kuraban.core import entries as e
from kuraban.core.facts import Logged
from kuraban.edges.mqtt.front_door import Arrived
from kuraban.runtime import feed, freeze
from kuraban.runtime.watch import MOST, Watch
from kuraban.settings import load
from kuraban.settings.catalogues import load_words
from tests.bench import ground
from tests.bench.led import LedClock
from tests.bench.memory_child import resident

MODULE = "tests.bench.growth"
SIZES = (10, 100, 1000, 10_000)
UNIT, TANKS = 10, 4
START = 1_770_672_600.0
"""2026-02-10 06:30 in Japan."""
PLANNED = 10.3
FIRST = 10
"""Minutes that are not counted: every detector looks for the first time."""
LEVEL = 1.2
LEAST = 8_000
"""Readings of one measurement at least: a small house is measured longer."""
COURSES = ground.ROOT / "fixtures" / "brewery" / "courses"


def site(units: int) -> str:
    """The TOML text of the house."""
    rows = [
        f'[site]\nname = "Growing"\ntimezone = "Asia/Tokyo"\ncourses = ["{COURSES}"]\n'
        'data = "data"',
        '[[person]]\nid = "aki"\nname = "Aki"\npages = ["json://127.0.0.1:9/aki"]',
        *(
            f'[[duty]]\nrole = "{role}"\nperson = "aki"\norder = 1'
            for role in ("brewer", "maintenance", "crew")
        ),
    ]
    for unit in range(units):
        rows.append(
            f'[[cooler]]\nid = "c{unit}"\nkind = "chilled-water"\nname = "Chiller {unit}"\n'
            "rated_watts = 1500\nband = [0.5, 6.0]"
        )
        rows += [_probe(f"c{unit}", measures) for measures in ("power", "supply")]
        for tank in range(TANKS):
            name = f"t{unit}-{tank}"
            rows.append(
                f'[[place]]\nid = "{name}"\nkind = "tank"\nname = "Tank {name}"\n'
                f'litres = 1400\ncooler = "c{unit}"'
            )
            rows += [_probe(name, measures) for measures in ("product", "valve")]
    return "\n\n".join(rows) + "\n"


def _probe(of: str, measures: str) -> str:
    return f'[[probe]]\nid = "{of}-{measures}"\nof = "{of}"\nmeasures = "{measures}"\nevery = "1m"'


class Backlog:
    """Stands where the front door stands, and has every message ready."""

    alive = connected = True
    more = False
    waiting = 0

    def __init__(self, units: int, minutes: int) -> None:
        self._rng = random.Random("growth")
        self._units = units
        self._left = units * UNIT * minutes
        minute = map(self._minute, range(minutes))
        self._waits: Iterator[Arrived] = itertools.chain.from_iterable(minute)
        self.marks: list[float] = []
        """Processor time at the beginning of each turn, the making of its messages left out."""
        self._making = 0.0

    @property
    def over(self) -> bool:
        return self._left <= 0

    def take(self, most: int, wait: float) -> list[Arrived]:
        began = time.process_time()
        self.marks.append(began - self._making)
        now = list(itertools.islice(self._waits, most))
        self._left -= len(now)
        self._making += time.process_time() - began
        return now

    def _minute(self, minute: int) -> Iterator[Arrived]:
        gauss, at = self._rng.gauss, START + minute * 60.0
        for unit in range(self._units):
            called = False
            for tank in range(TANKS):
                is_open = (minute + 7 * tank + unit) % 60 < 20
                called = called or is_open
                value = round((PLANNED + gauss(0, 0.04)) * 16) / 16
                yield _arrived(f"t{unit}-{tank}-product", value, at)
                yield _arrived(f"t{unit}-{tank}-valve", is_open, at)
            watts = round(900 + gauss(0, 15) if called else 41 + gauss(0, 0.5), 1)
            yield _arrived(f"c{unit}-power", watts, at)
            yield _arrived(f"c{unit}-supply", round((3.0 + gauss(0, 0.1)) * 16) / 16, at)

    def give_back(self, arrived: list[Arrived]) -> None:
        self._waits = itertools.chain(arrived, self._waits)
        self._left += len(arrived)

    def cuts(self) -> tuple[()]:
        return ()

    def backlog(self) -> None: ...

    def answer(self, arrived: list[Arrived], cuts: object) -> None: ...
    def publish(self, topic: str, payload: bytes, retain: bool = False) -> None: ...
    def rouse(self) -> None: ...
    def start(self, away: float) -> None: ...
    def stop(self, within: float) -> None: ...


def _arrived(probe: str, value: float | bool, at: float) -> Arrived:
    payload = json.dumps({"value": value, "at": at}).encode()
    return Arrived(f"kura/reading/{probe}", payload, at, False, 0, 0, 1)


class Led(Watch):
    """A watch whose every tank has a batch already, and which stops at the backlog's end."""

    entry_ms = first_entry_ms = 0.0
    checkpoint_ms = resident_mb = 0.0

    def _begin(self) -> None:
        super()._begin()
        self._checkpointed = float("inf")
        entry_log, at = self.engine.watched.state.entry_log, START - 60.0
        for place in self.settings.house.places:
            batch = e.BatchStart(batch=place.id, course="night-slow", stage="moromi",
                                 since=e.Moment(START - 10 * 86400))  # fmt: skip
            entry_log.add(Logged(place.id, place.id, batch, at, at))
        self.engine.registry.look_at(None, self.engine.now)

    def _keep(self, arrived: list[Arrived]) -> bool:
        kept = super()._keep(arrived)
        if self._door.over:  # type: ignore[attr-defined]
            self._finish()
        return kept

    def _finish(self) -> None:
        self.resident_mb = resident()
        taken = []
        for number in range(6):
            stir = Logged(f"stir-{number}", "t0-0", e.Stir(), self.engine.now, self.engine.now)
            began = time.process_time()
            feed(self.engine, stir)
            taken.append((time.process_time() - began) * 1000)
        self.first_entry_ms, self.entry_ms = taken[0], statistics.median(taken[1:])
        began = time.process_time()
        freeze(self.engine)
        self.checkpoint_ms = (time.process_time() - began) * 1000
        self.stop()


def one(probes: int, minutes: int) -> dict[str, float]:
    """One house; microseconds a reading, milliseconds an entry and a checkpoint."""
    units = probes // UNIT
    minutes = max(minutes, LEAST // probes) + FIRST
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "site.toml"
        path.write_text(site(units))
        settings = load(path, {}, advised=False)
        apart = 60.0 / (units * UNIT)
        clock = LedClock(START + n * apart for n in itertools.count())
        watch, backlog = Led(settings, load_words(), clock=clock), Backlog(units, minutes)
        setattr(watch, "_door", backlog)  # noqa: B010
        watch.run()
    turns = backlog.marks[ceil(units * UNIT * FIRST / MOST) :]
    return {
        "reading_us": (turns[-1] - turns[0]) / (len(turns) - 1) / MOST * 1e6,
        "entry_ms": watch.entry_ms, "first_entry_ms": watch.first_entry_ms,
        "checkpoint_ms": watch.checkpoint_ms, "resident_mb": watch.resident_mb,
    }  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(description="How the cost of a reading grows with the house.")
    parser.add_argument("--sizes", default=",".join(map(str, SIZES)), help="probes, by commas")
    parser.add_argument("--minutes", type=int, default=60, help="of every probe, at least")
    parser.add_argument("--rounds", type=int, default=3, help="times that the sizes are taken")
    parser.add_argument("--one", type=int, help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.one:
        print(json.dumps(one(asked.one, asked.minutes)))
        return
    where, sizes = ground.machine(), [int(size) for size in asked.sizes.split(",")]
    rounds = [
        {size: ground.part(MODULE, "--one", size, "--minutes", asked.minutes) for size in sizes}
        for _ in range(asked.rounds)
    ]
    found = {size: _least([taken[size] for taken in rounds]) for size in sizes}
    _report(found, where)


def _least(taken: list[dict[str, float]]) -> dict[str, float]:
    """The least of the rounds: whatever else the machine does only adds."""
    return {key: min(one[key] for one in taken) for key in taken[0]}


def _report(found: dict[int, dict[str, float]], where: dict[str, Any]) -> None:
    table = Table(box=None, padding=(0, 2, 0, 0))
    least = min(cost["reading_us"] for cost in found.values())
    for column in ("probes", "µs a reading", "ratio", "entry, ms", "checkpoint, ms", "MB"):
        table.add_column(column, justify="right")
    rows = []
    for size, cost in found.items():
        ratio = cost["reading_us"] / least
        rows.append({"probes": size, **{k: round(v, 2) for k, v in cost.items()},
                     "ratio": round(ratio, 2)})  # fmt: skip
        table.add_row(f"{size:,}", f"{cost['reading_us']:.1f}", f"{ratio:.2f}",
                      f"{cost['entry_ms']:.2f}", f"{cost['checkpoint_ms']:.1f}",
                      f"{cost['resident_mb']:.0f}")  # fmt: skip
    Console().print(table)
    print(f"aim: no size costs more than {LEVEL} times the cheapest")
    ground.keep("growth", aim_ratio=LEVEL, machine=where, sizes=rows)


if __name__ == "__main__":
    main()
