"""What a reading writes to a memory card: bytes that reach the block device, by turn.

    tests/bench/card [--readings N]

A file system of its own (ext4) on a file, so that the kernel counts what reaches it; root. The
journal holds three days of 100 probes once a minute; then further readings are committed, each in a
turn of its own, three in a turn (as with `turn = "2s"`), and by the hundred. Beside it a bare table
of the same values on a bare connection with the same promise: durable before it is told.
"""

from __future__ import annotations

import argparse
import os
import sqlite3
import subprocess
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from rich.console import Console
from rich.table import Table

from kuraban.core.effects import Turn
from kuraban.core.facts import Reading
from kuraban.store.journal import Journal
from tests.bench import ground

PROBES, DAYS, START = 100, 3, 1_770_672_600.0
TURNS = (1, 3, 100)
ROOM = 200
"""Megabytes of the card."""


@contextmanager
def card() -> Iterator[tuple[Path, Callable[[], int]]]:
    """A card's folder, and what asks how many bytes were written to it so far."""
    with tempfile.TemporaryDirectory() as name:
        image, folder = Path(name) / "image", Path(name) / "card"
        folder.mkdir()
        with image.open("wb") as file:
            file.truncate(ROOM * 1_000_000)
        _run("mkfs.ext4", "-q", str(image))
        device = _run("losetup", "--find", "--show", str(image)).strip()
        try:
            _run("mount", device, str(folder))
            try:
                stat = Path("/sys/block", Path(device).name, "stat")
                yield folder, lambda: _written(stat)
            finally:
                _run("umount", str(folder))
        finally:
            _run("losetup", "--detach", device)


def _run(*command: str) -> str:
    return subprocess.run(command, check=True, capture_output=True, text=True).stdout


def _written(stat: Path) -> int:
    os.sync()
    return 512 * int(stat.read_text().split()[6])


def readings(first: int, count: int) -> list[Reading]:
    """So many, the first the one of that number."""
    ats = (round(START + 60 / PROBES * n, 1) for n in range(first, first + count))
    return [
        Reading(f"p{n % PROBES}", at, 10 + n * 7919 % 160 / 16, at + 0.05)
        for n, at in enumerate(ats, first)
    ]


def of_the_journal(folder: Path, written: Callable[[], int], count: int) -> dict[str, float]:
    """Bytes a reading, by the readings of a turn."""
    journal, number = Journal.open(folder / "journal"), 0
    found = {}
    for turn in (PROBES * 60, *TURNS):
        before, first = written(), number
        end = DAYS * 1440 * PROBES if number == 0 else number + count
        while number < end:
            facts = readings(number, turn)
            journal.commit(Turn(now=facts[-1].at + 0.05, facts=[*facts]))
            number += turn
        found[str(turn)] = (written() - before) / (number - first)
    journal.close()
    return {turn: round(found[turn]) for turn in map(str, TURNS)}


def of_a_bare_table(folder: Path, written: Callable[[], int], count: int) -> dict[str, float]:
    """The same of a table with the journal's columns and index, as SQLite makes it by itself."""
    found = {}
    for turn in TURNS:
        db = sqlite3.connect(folder / f"bare-{turn}", isolation_level=None)
        db.executescript(
            "PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL;"
            "CREATE TABLE reading(seq INTEGER PRIMARY KEY, probe TEXT, at REAL, value REAL);"
            "CREATE UNIQUE INDEX moment ON reading(probe, at);"
        )
        rows = [(one.probe, one.at, one.value) for one in readings(0, 60 * PROBES + count)]
        before = 0
        for number in (0, *range(60 * PROBES, len(rows), turn)):
            size = turn if number else 60 * PROBES
            before = written() if number == 60 * PROBES else before
            db.execute("BEGIN")
            db.executemany(
                "INSERT INTO reading(probe, at, value) VALUES (?, ?, ?)",
                rows[number : number + size],
            )
            db.execute("COMMIT")
        found[str(turn)] = round((written() - before) / count)
        db.close()
    return found


def main(arguments: list[str] | None = None) -> dict[str, float]:
    parser = argparse.ArgumentParser(description="What a reading writes to a memory card.")
    parser.add_argument("--readings", type=int, default=6000, help="of each kind of turn")
    count = parser.parse_args(arguments).readings
    where = ground.machine()
    with card() as (folder, written):
        ours = of_the_journal(folder, written, count)
        bare = of_a_bare_table(folder, written, count)
    table = Table(box=None, padding=(0, 2, 0, 0))
    for column in ("readings a turn", "bytes a reading", "of a bare table", "ratio"):
        table.add_column(column, justify="right")
    for turn, size in ours.items():
        ratio = f"{size / bare[turn]:.2f}"
        table.add_row(turn, f"{size:,.0f}", f"{bare[turn]:,.0f}", ratio)
    Console().print(table)
    ground.keep("card", machine=where, readings=count, bytes_a_reading=ours, bare_table=bare)
    return ours


if __name__ == "__main__":
    main()
