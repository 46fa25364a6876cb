"""Every fault on purpose, and what became of readings and pages: the table of README.

    tests/soak/faults [--times SHARE] [--only NAMES]

Each line is one night of five tanks that drift while the fault goes on. `--times 0.1` does a tenth
of the repetitions, to try it out. Needs root for the small disk and the memory limit.
"""

from __future__ import annotations

import argparse
import json
import random
import shutil
import subprocess
import tempfile
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any

import msgspec
from rich.console import Console
from rich.progress import Progress
from rich.table import Table

from fixtures.mangle import mangled_messages
from kuraban.core.effects import Turn
from kuraban.core.facts import Reading
from kuraban.runtime.watch import JOURNAL
from kuraban.store.history import History
from kuraban.store.journal import Journal
from tests.bench import ground
from tests.engines import VictoriaMetrics
from tests.killed_broker import killed
from tests.nights import wait
from tests.soak.trial import HOURS, Row, Trial, trial
from tests.test_kills import START

Each = Callable[[], None]
MEGABYTES = 128
MANGLED_A_MINUTE = 10_000


def broker_stopped(folder: Path, times: int, each: Each) -> Row:
    """Down for 0.3 s, which are three, and up for minutes, again and again, all night: at a pace at
    which the seconds until all are connected again are not as long as a true loss."""
    chance = random.Random("stop")
    with trial(folder, 10.0) as night:
        for _ in range(times):
            night.live(chance.uniform(8.0, 50.0))
            night.broker.stop()
            night.live(0.3)
            night.broker.start()
            each()
        return night.row("broker stopped and started", times)


def broker_killed(folder: Path, times: int, each: Each) -> Row:
    """SIGKILL, with our configuration. `in` is what the broker said that it has."""
    folder.mkdir(parents=True)
    found = killed(folder, autosave=True, watching=True, kills=times, each=each)
    return Row(
        fault="broker killed", times=times, readings_in=found.taken,
        readings_kept=found.taken - found.forgotten, pages_due=0, pages_made=0, doubled=0,
        note=f"answered by the watch {found.answered}, of them lost {found.answered_lost}",
    )  # fmt: skip


def watch_killed(folder: Path, times: int, each: Each) -> Row:
    """SIGKILL at random moments, those of its start among them, all night; a start is no more than
    a minute of it."""
    chance = random.Random(times)
    with trial(folder, 20.0) as night:
        for _ in range(times):
            night.live(chance.uniform(0.1, 7.5))
            night.kill()
            night.start()
            each()
        return night.row("watch killed (SIGKILL)", times)


def power_cut(folder: Path, times: int, each: Each) -> Row:
    """What was written since the last sync is cut off, or zeroes; what was answered must be there.

    No broker here: turns of five readings go through the journal, and copies of its files are taken
    whose last turn is damaged as a power cut leaves it.
    """
    chance, folder = random.Random(7), folder / "cut"
    folder.mkdir(parents=True)
    path, kept_in_all, answered_in_all, twice = folder / JOURNAL, 0, 0, 0
    journal = Journal.open(path)
    wal = Path(f"{path}-wal")
    for number in range(times):
        for turn in range(chance.randint(1, 5)):
            journal.commit(_turn(number * 10 + turn))
        answered, size = _held(path), wal.stat().st_size
        journal.commit(_turn(number * 10 + 9))
        copy = folder / f"copy-{number}"
        copy.mkdir()
        for file in (path, wal):
            shutil.copy(file, copy / file.name)
        _harm(copy / wal.name, size, chance)
        again = Journal.open(copy / JOURNAL)
        assert again.verify() == []
        again.close()
        there = _held(copy / JOURNAL)
        assert there - answered in (0, 5), "a turn is whole or not there"
        answered_in_all += answered
        kept_in_all += min(there, answered)
        shutil.rmtree(copy)
        each()
    journal.close()
    return Row(
        fault="power cut: the journal's tail cut off or zeroes", times=times,
        readings_in=answered_in_all, readings_kept=kept_in_all, pages_due=0, pages_made=0,
        doubled=twice, note="readings that were answered, summed over the copies",
    )  # fmt: skip


def _turn(number: int) -> Turn:
    at = START + 60.0 * number
    facts = [Reading(f"t{tank}-mid", at, 10.0 + number % 7, at) for tank in range(2, 7)]
    return Turn(now=at, facts=list(facts))


def _held(path: Path) -> int:
    history = History(path)
    try:
        return sum(len(list(history.readings(f"t{tank}-mid", 0, 1e12))) for tank in range(2, 7))
    finally:
        history.close()


def _harm(wal: Path, since: int, chance: random.Random) -> None:
    """Cut off somewhere after `since`, or zero from there on."""
    end = wal.stat().st_size
    if end <= since:
        return
    at = chance.randint(since, end - 1)
    if chance.random() < 0.5:
        with wal.open("r+b") as file:
            file.truncate(at)
    else:
        with wal.open("r+b") as file:
            file.seek(at)
            file.write(bytes(end - at))


def disk_full(folder: Path, times: int, each: Each) -> Row:
    """A small disk filled to the last byte for a while, and freed."""
    disk = folder / "disk"
    disk.mkdir(parents=True)
    subprocess.run(("mount", "-t", "tmpfs", "-o", "size=24m", "tmpfs", disk), check=True)
    try:
        with trial(disk, 120.0) as night:
            for _ in range(times):
                night.live(4.0)
                _fill(disk / "ballast")
                night.live(6.0)
                (disk / "ballast").unlink()
                each()
            night.live(40.0)
            return night.row("disk full, and freed", times, ("journal-failing",))
    finally:
        subprocess.run(("umount", "-l", disk), check=False)


def _fill(ballast: Path) -> None:
    with ballast.open("wb", buffering=0) as file:
        for size in (1 << 16, 1 << 12, 1):
            with suppress(OSError):
                while True:
                    file.write(bytes(size))


def writing_refused(folder: Path, times: int, each: Each) -> Row:
    """Every write fails for a while, as on a file system that became read-only."""
    with trial(folder, 120.0) as night:
        for _ in range(times):
            night.live(4.0)
            _limit(night, "0")
            night.live(6.0)
            _limit(night, "unlimited")
            each()
        night.live(40.0)
        return night.row("file system refuses writing, and back", times, ("journal-failing",))


def _limit(night: Trial, size: str) -> None:
    subprocess.run(("prlimit", f"--pid={night.watch.pid}", f"--fsize={size}:unlimited"), check=True)


STEPPED, WRONG_FOR = 1.4, 2.5
"""Hours of the brewery: when the clock is set wrong, four tanks in the middle of their delays or
still to drift, and for how long; longer than a delay and its whole ladder."""


def clock_set(hours: float, named: str) -> Callable[[Path, int, Each], Row]:
    """Somebody sets the machine's clock, and hours later it is put right."""

    def run(folder: Path, times: int, each: Each) -> Row:
        with trial(folder, 120.0, wrap=_with_clock) as night:
            night.until(STEPPED)
            _set_clock(night, hours * 3600.0)
            night.until(STEPPED + WRONG_FOR)
            _set_clock(night, 0.0)
            each()
            return night.row(f"clock set {named}, right after {WRONG_FOR} h", 1, ("clock-wrong",))

    return run


def boots_in_the_past(folder: Path, times: int, each: Each) -> Row:
    """A board without a clock battery goes out and comes back three days behind, and is put right
    ten minutes later."""
    with trial(folder, 120.0, wrap=_with_clock) as night:
        night.until(STEPPED)
        night.kill()
        _set_clock(night, -3 * 86400.0)
        night.start()
        night.until(STEPPED + 0.2)
        _set_clock(night, 0.0)
        each()
        named = "board comes back three days in the past, right after 10 min"
        return night.row(named, 1, ("clock-wrong",), dated=False)


def _with_clock(one: Trial) -> None:
    one.clock = one.folder / "clock"
    _set_clock(one, 0.0)


def _set_clock(one: Trial, ahead: float) -> None:
    assert one.clock is not None
    new = one.clock.with_suffix(".new")
    new.write_text(f"{ahead}")
    new.replace(one.clock)


def mangled(folder: Path, times: int, each: Each) -> Row:
    """Payloads that no probe should ever send, 10,000 a minute of ours, beside the good ones."""
    with trial(folder, 120.0) as night:
        lot = mangled_messages(0.0, 1.0, times, "faults")
        a_second, sent, began = MANGLED_A_MINUTE / 60, 0, time.time()
        while night.hours < HOURS and sent < times:
            night.live(0.1)
            while sent < min(times, (time.time() - began) * a_second):
                _, topic, payload, retain = lot[sent]
                if not topic.endswith("/") and "/t2-mid" not in topic and "/t3-mid" not in topic:
                    night.publisher.publish(topic, _bytes(payload), retain)
                sent += 1
                each()
        return night.row("mangled payloads, 10,000 a minute", sent)


def _bytes(payload: object) -> bytes:
    return payload if isinstance(payload, bytes) else str(payload).encode()


def phones_hang(folder: Path, times: int, each: Each) -> Row:
    """The message service takes connections and never answers, for a third of the night."""
    with trial(folder, 120.0) as night:
        for _ in range(times):
            night.until(1.0)
            night.sink.mode = "hang"
            night.live(40.0)
            night.sink.mode = "ok"
            each()
        return night.row("message service hangs for 80 min", times, ("pages-failing",))


def engine_down(folder: Path, times: int, each: Each) -> Row:
    """The engine of the long history away for an hour; then it has every point once."""
    folder.mkdir(parents=True)
    with (
        VictoriaMetrics(folder) as engine,
        trial(folder, 120.0, wrap=_forwards(engine.url)) as night,
    ):
        night.until(1.0)
        engine.stop()
        night.until(2.0)
        engine.start()
        each()
        night.until(HOURS)
        night.publisher.settle()
        published = {
            (probe, round(at * 1000)) for probe, told in night.night.readings.items()
            for at, _ in told
        }  # fmt: skip
        wait(lambda: engine.count("reading_value") >= len(published), 60)
        there = [
            (labels["probe"], at)
            for labels, _, times_ in engine.series("reading_value")
            for at in times_
        ]
        found = night.row("engine of the long history down for an hour", times)
        kept = len(published & set(there)) - (len(there) - len(published))
        note = f"points at the engine {len(there)}, of {len(published)} readings"
        return msgspec.structs.replace(found, readings_kept=kept, note=note)


def _forwards(engine: str) -> Callable[[Trial], None]:
    def wrap(one: Trial) -> None:
        one.engine = engine

    return wrap


def little_memory(folder: Path, times: int, each: Each) -> Row:
    """The watch within 128 MB, page cache included, without pages and charts."""
    group = Path("/sys/fs/cgroup/memory/kuraban-faults")
    limit = group / "memory.limit_in_bytes"
    if not group.parent.exists():
        group = Path("/sys/fs/cgroup/kuraban-faults")
        limit = group / "memory.max"
    group.mkdir(exist_ok=True)
    limit.write_text(str(MEGABYTES << 20))
    try:
        with trial(folder, 120.0) as night:
            (group / "cgroup.procs").write_text(str(night.watch.pid))
            each()
            return night.row(f"memory limited to {MEGABYTES} MB", 1)
    finally:
        with suppress(OSError):
            group.rmdir()


FAULTS: dict[str, tuple[Callable[[Path, int, Each], Row], int]] = {
    "broker-stopped": (broker_stopped, 50),
    "broker-killed": (broker_killed, 50),
    "watch-killed": (watch_killed, 200),
    "power-cut": (power_cut, 200),
    "disk-full": (disk_full, 3),
    "writing-refused": (writing_refused, 3),
    "clock-hour-back": (clock_set(-1.0, "an hour back"), 1),
    "clock-nine-hours-back": (clock_set(-9.0, "nine hours back"), 1),
    "clock-hour-forward": (clock_set(1.0, "an hour forward"), 1),
    "boots-in-the-past": (boots_in_the_past, 1),
    "mangled": (mangled, 10_000),
    "phones-hang": (phones_hang, 1),
    "engine-down": (engine_down, 1),
    "little-memory": (little_memory, 1),
}


def main() -> None:
    parser = argparse.ArgumentParser(description="Every fault on purpose.")
    parser.add_argument("--times", type=float, default=1.0, metavar="SHARE")
    parser.add_argument("--only", default="", metavar="NAMES", help="some of them, by comma")
    asked = parser.parse_args()
    where, rows = ground.machine(), []
    names = asked.only.split(",") if asked.only else list(FAULTS)
    chosen = {name: FAULTS[name] for name in names}
    with tempfile.TemporaryDirectory() as name, Progress(transient=True) as progress:
        for fault, (run, times) in chosen.items():
            often = max(round(times * asked.times), 1)
            task = progress.add_task(fault, total=often)
            row = run(Path(name) / fault, often, lambda task=task: progress.advance(task))  # type: ignore[misc]
            progress.console.print(f"{'well' if row.well else 'NOT WELL'}: {row}")
            rows.append(row)
    _print(rows)
    if asked.times >= 1.0:
        _keep(rows, where)


def _keep(rows: list[Row], where: dict[str, Any]) -> None:
    """Beside what was measured of the other faults."""
    kept = ground.RESULTS / "faults.json"
    old = json.loads(kept.read_text())["rows"] if kept.exists() else []
    found = {row["fault"]: row for row in old}
    found |= {row.fault: msgspec.to_builtins(row) for row in rows}
    ground.keep("faults", machine=where, rows=list(found.values()))


def _print(rows: list[Row]) -> None:
    table = Table(box=None, padding=(0, 2, 0, 0))
    for column in (
        "fault",
        "times",
        "readings in",
        "kept",
        "pages due",
        "made",
        "doubled",
        "false",
    ):
        table.add_column(column, justify="left" if column == "fault" else "right")
    for row in rows:
        numbers = (row.times, row.readings_in, row.readings_kept, row.pages_due, row.pages_made,
                   row.doubled, row.pages_false)  # fmt: skip
        table.add_row(row.fault, *("" if n is None else f"{n:,}" for n in numbers))
    Console().print(table)


if __name__ == "__main__":
    main()
