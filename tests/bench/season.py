"""What a season leaves in the journal and how fast it is asked: 100 probes once a minute, 200 days.

    tests/bench/season [--days N] [--keep FOLDER]

Twenty tanks with three product probes and a valve each, four chillers with five signals: 28.8
million readings, a day in a transaction. After each day old readings are summarised as the watch
does it in its idle moments, step by step, with the settings as they are when nobody sets them. The
last day is lived through by the engine, so that the commands find what they would. Then the steps
of one more day are timed, a place is asked for a day and for fourteen days at every age, beside the
same SQL on a bare connection, and `kuraban status` and `kuraban history` are run.
"""

from __future__ import annotations

import argparse
import json
import random
import shutil
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from rich.progress import track

from kuraban.core import entries as e
from kuraban.core.effects import Turn
from kuraban.core.engine.engine import Engine
from kuraban.core.facts import HouseChanged, Logged, Reading
from kuraban.core.site import to_document
from kuraban.core.units import DAY
from kuraban.edges.web import history_queries as past
from kuraban.runtime import freeze
from kuraban.runtime.storage.retention_scheduler import held
from kuraban.runtime.watch import JOURNAL
from kuraban.settings import Keep, load
from kuraban.settings.catalogues import load_words
from kuraban.store.history import History
from kuraban.store.journal import Journal
from kuraban.store.upkeep.retention import Bounds
from tests.bench import ground, replay

AIM_BYTES, AIM_SECONDS = 0.4e9, 0.3
DAYS, BATCHES_RUN = 200, 20
PLACE = "tank-3"
REPEATS = 5
CELLAR, SIGNAL = 7919, 4001
"""Lengths of two stretches of values that are told over and over, every probe at its own place."""
BARE = "SELECT at, value FROM reading WHERE probe = ? AND at >= ? AND at < ? ORDER BY at"


def site() -> str:
    """The replay's brewery, with two more product probes in every tank."""
    more = [
        replay._probe(f"t{k}-{depth}", f"tank-{k}", "product")
        for k in range(replay.TANKS)
        for depth in ("upper", "lower")
    ]
    return "\n".join((replay.site(), *more)) + "\n"


def readings(probes: list[str], start: float) -> Iterator[Reading]:
    """A day of every probe, in the order in which they come."""
    rng = random.Random("a season")
    tank = replay.Tank(rng)
    cellar = [round(tank.step(rng) + rng.gauss(0, 0.02), 2) for _ in range(CELLAR)]
    signal = [float(rng.random() < 0.3) for _ in range(SIGNAL)]
    day = int(start // DAY)
    for minute in range(1440):
        at = start + 60.0 * minute
        for number, probe in enumerate(probes):
            values = signal if probe.endswith(("valve", "running", "demand")) else cellar
            value = values[(1440 * day + minute + 131 * number) % len(values)]
            yield Reading(probe, at + number * 0.59, value, at + number * 0.59 + 0.12)


def live(path: Path, days: int) -> dict[str, Any]:
    """Write the season; how many steps the summaries took, and how long all of it."""
    began = time.perf_counter()
    site_file = path.parent.parent / "site.toml"
    site_file.write_text(site(), encoding="utf-8")
    house, keep = load(site_file, {}).house, Keep()
    probes = [probe.id for probe in house.probes]
    end = time.time() // 60 * 60
    engine, journal = Engine(load_words()), Journal.open(path)
    starts = [
        Logged(f"b{k}", f"tank-{k}", e.BatchStart(batch=f"No. {k}", course="night-slow",
               stage="moromi"), end - BATCHES_RUN * DAY, end - BATCHES_RUN * DAY)
        for k in range(replay.TANKS)
    ]  # fmt: skip
    first = end - days * DAY
    journal.commit(Turn(now=first, facts=[HouseChanged(first, to_document(house))]))
    steps = 0
    for day in track(range(days), "a season passes", transient=True):
        now = first + (day + 1) * DAY
        facts: list[Any] = list(readings(probes, now - DAY))
        if day == days - BATCHES_RUN:
            facts = [*starts, *facts]
        if day < days - 1:
            journal.commit(Turn(now=now, facts=facts))
        else:
            engine.take(HouseChanged(now - DAY, to_document(house)))
            for fact in (*starts, *facts):
                engine.take(fact)
            journal.commit(engine.drain(), freeze(engine))
        running = held(engine, now) if engine.started else {}
        bounds = Bounds(now=now, full=now - keep.full, minutes=now - keep.minutes, held=running)
        while journal.summarise(bounds):
            steps += 1
    journal.close()
    return {"steps": steps, "written_in_s": round(time.perf_counter() - began)}


def stepped(path: Path) -> dict[str, Any]:
    """Milliseconds of the steps that another day takes, and of the processor in them."""
    keep, copy = Keep(), path.with_name("copy")
    shutil.copy(path, copy)
    journal = Journal.open(copy)
    now = (journal.now() or 0.0) + DAY
    bounds = Bounds(now=now, full=now - keep.full, minutes=now - keep.minutes)
    lengths, worked = [], []
    while True:
        began, busy = time.perf_counter(), time.thread_time()
        if not journal.summarise(bounds):
            break
        lengths.append(time.perf_counter() - began)
        worked.append(time.thread_time() - busy)
    journal.close()
    copy.unlink()
    return {"a_day": len(lengths), "ms": _spread(lengths), "processor_ms": _spread(worked)}


def _spread(times: list[float]) -> dict[str, float]:
    held = sorted(times)
    told = {"median": statistics.median(held), "99 %": held[int(0.99 * len(held))]}
    return {name: round(1000 * one, 1) for name, one in {**told, "longest": held[-1]}.items()}


def timed(ask: Callable[[], object]) -> float:
    """Milliseconds, the median of some."""
    took = []
    for _ in range(REPEATS):
        began = time.perf_counter()
        ask()
        took.append(time.perf_counter() - began)
    return round(1000 * statistics.median(took), 1)


def asked(path: Path) -> dict[str, Any]:
    """Milliseconds of one place's product, by how long ago it was, all its probes."""
    house = load(path.parent.parent / "site.toml", {}).house
    probes = [probe.id for probe in house.probes_of(PLACE, "product")]
    history, db = History(path), sqlite3.connect(f"{path.as_uri()}?mode=ro", uri=True)
    now = history.now() or 0.0
    numbers = [
        db.execute("SELECT number FROM probe WHERE id = ?", (probe,)).fetchone()[0]
        for probe in probes
    ]
    found: dict[str, Any] = {}
    for name, ago, length in (
        ("24 h", 1, 1), ("14 days", 14, 14), ("14 days, half of it minutes", 37, 14),
        ("14 days of minutes", 70, 14), ("14 days of ten minutes", 160, 14),
    ):  # fmt: skip
        start, end = now - ago * DAY, now - (ago - length) * DAY

        def all_of(start: float = start, end: float = end) -> int:
            return sum(len(list(history.readings(probe, start, end))) for probe in probes)

        def bare(start: float = start, end: float = end) -> None:
            for number in numbers:
                db.execute(BARE, (number, start, end)).fetchall()

        def drawn(start: float = start, end: float = end) -> None:
            past.curve(history, house, PLACE, start, end, past.step_for(end - start, 400))

        told = {"values": all_of(), "history_ms": timed(all_of), "curve_ms": timed(drawn)}
        if ago <= 14:
            told["bare_sql_ms"] = timed(bare)
            told["ratio"] = round(told["history_ms"] / told["bare_sql_ms"], 2)
        found[name] = told
    history.close()
    db.close()
    return found


def commands(site_file: Path) -> dict[str, float]:
    """Milliseconds from the start of the command to its end."""
    found = {}
    for words in (("status",), ("history", PLACE), ("history", PLACE, "--since", "14d"),
                  ("history", PLACE, "--since", "100d", "--json")):  # fmt: skip
        line = (sys.executable, "-c", "from kuraban.cli import main; main()", *words,
                "--site", str(site_file))  # fmt: skip

        def run(line: tuple[str, ...] = line) -> None:
            done = subprocess.run(line, cwd=ground.ROOT, capture_output=True)
            assert done.returncode == 0, done.stderr.decode()

        found[" ".join(words)] = timed(run)
    return found


def sizes(path: Path) -> dict[str, float]:
    """Megabytes of the file, and what fills it."""
    db = sqlite3.connect(path)
    db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    free = db.execute("PRAGMA freelist_count").fetchone()[0]
    free *= db.execute("PRAGMA page_size").fetchone()[0]
    rows = db.execute("SELECT name, sum(pgsize) FROM dbstat GROUP BY name").fetchall()
    held = dict(rows)
    told = {
        "journal": path.stat().st_size,
        "readings": held["reading"] + held["reading_moment"],
        "summaries": held["summary"] + held["summary_moment"],
        "free": free,
    }
    told_of = {name: round(size / 1e6, 1) for name, size in told.items()}
    (rows_left,) = db.execute("SELECT count(*) FROM reading").fetchone()
    (every,) = db.execute("SELECT sum(readings) FROM summary").fetchone()
    told_of["had all stayed"] = round((every + rows_left) * told_of["readings"] / rows_left, 1)
    for grain in (60, 600):
        mean = db.execute(
            "SELECT avg(length(points)) FROM summary WHERE grain = ?", (grain,)
        ).fetchone()[0]
        if mean:
            told_of[f"bytes a span of {grain} s"] = round(mean)
    db.close()
    return told_of


def main() -> None:
    parser = argparse.ArgumentParser(description="A season of 100 probes in the journal.")
    parser.add_argument("--days", type=int, default=DAYS)
    parser.add_argument("--keep", type=Path, metavar="FOLDER", help="else a temporary one")
    wanted = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = wanted.keep or Path(name)
        path = folder / "data" / JOURNAL
        machine = ground.machine()
        lived = kept(path, wanted.days)
        told = {"megabytes": sizes(path), "step": stepped(path), "asked": asked(path),
                "commands_ms": commands(folder / "site.toml")}  # fmt: skip
    ground.keep(
        "season", machine=machine, days=wanted.days, readings=wanted.days * 144_000,
        aim_bytes=AIM_BYTES, aim_seconds=AIM_SECONDS, **lived, **told,
    )  # fmt: skip
    for part, numbers in (lived | told).items():
        print(f"{part}: {numbers}")


def kept(path: Path, days: int) -> dict[str, Any]:
    """What `live` told, now or when the journal in that folder was made."""
    told = path.with_name("lived.json")
    if not told.exists():
        path.parent.mkdir(parents=True, exist_ok=True)
        told.write_text(json.dumps(live(path, days)), encoding="utf-8")
    found: dict[str, Any] = json.loads(told.read_text(encoding="utf-8"))
    return found


if __name__ == "__main__":
    main()
