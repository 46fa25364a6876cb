"""How fast an old season is imported: a million rows a minute is the aim.

A season of two tanks, a row a minute, as a logger writes it; then the same once more, of which
nothing may be new; beside a bare csv reader that turns the same cells into numbers. A spreadsheet
is read with a tenth of the rows: of dates and numbers, as spreadsheets save them, and of nothing
but texts, as some programs write them.
"""

from __future__ import annotations

import argparse
import csv
import tempfile
import time
from collections.abc import Callable, Sequence
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import openpyxl

from kuraban.core.units import parse_time
from kuraban.imports.importing import Import, Imported
from kuraban.imports.mapping import Mapping
from tests.bench import ground
from tests.journals import house

AIM = 1_000_000
NOW = parse_time("2026-11-01T00:00:00+09:00")
MAPPING = Mapping(kind="readings", columns={"time": "time", "Tank 3": "tank-3", "Tank 5": "tank-5"})


def rows(count: int) -> list[tuple[str, str, str]]:
    start = datetime(2023, 10, 1)
    return [
        (f"{start + timedelta(minutes=n):%Y-%m-%d %H:%M:%S}", f"{10 + n % 50 / 10}", f"{9.5}")
        for n in range(count)
    ]


def dated(line: tuple[str, str, str]) -> tuple[datetime, float, float]:
    return datetime.fromisoformat(line[0]), float(line[1]), float(line[2])


def save(sheet: Path, lines: Sequence[tuple[Any, ...]]) -> None:
    book = openpyxl.Workbook(write_only=True)
    page = book.create_sheet()
    for row in ([*MAPPING.columns], *lines):
        page.append(row)
    book.save(sheet)


def timed(work: Callable[[], Any]) -> tuple[float, Any]:
    """Seconds of processor time, which a machine shared with others does not stretch."""
    start = time.process_time()
    found = work()
    return time.process_time() - start, found


def bare(path: Path) -> int:
    with path.open(newline="") as file:
        reader = csv.reader(file)
        next(reader)
        return sum(1 for _, one, other in reader if float(one) + float(other))


def imported(folder: Path, path: Path) -> Imported:
    importing = Import(house(), folder / "kuraban.journal", NOW)
    try:
        return importing.table(path, MAPPING, lambda count: None, lambda count: None)
    finally:
        importing.close()


def main() -> None:
    parser = argparse.ArgumentParser(description="Old seasons into the archive, how fast.")
    parser.add_argument("--rows", type=int, default=AIM)
    count = parser.parse_args().rows
    machine = ground.machine()
    with tempfile.TemporaryDirectory() as name:
        folder, lines = Path(name), rows(count)
        path, sheet, texts = (folder / f"season{end}" for end in (".csv", ".xlsx", "-2.xlsx"))
        with path.open("w", newline="") as file:
            csv.writer(file).writerows([MAPPING.columns, *lines])
        save(sheet, [dated(line) for line in lines[: count // 10]])
        save(texts, lines[: count // 10])
        plain, _ = timed(lambda: bare(path))
        first, found = timed(lambda: imported(folder, path))
        again, known = timed(lambda: imported(folder, path))
        cells, _ = timed(lambda: imported(folder / "dates", sheet))
        words, _ = timed(lambda: imported(folder / "texts", texts))
        size = (folder / "kuraban.past").stat().st_size
    assert found.added == (2 * count, 0, 0) and known.added == (0, 2 * count, 0)
    pace = {
        "import": round(60 * count / first), "again": round(60 * count / again),
        "spreadsheet": round(60 * count / 10 / cells),
        "of texts": round(60 * count / 10 / words), "bare": round(60 * count / plain),
    }  # fmt: skip
    ground.keep(
        "import", machine=machine, rows=count, readings=2 * count, aim=AIM,
        rows_a_minute_of_processor_time=pace,
        ratio_to_bare=round(plain / first, 3), bytes_a_reading=round(size / count / 2, 1),
    )  # fmt: skip
    for way, rate in pace.items():
        print(f"{way:>12} {rate:>12,} rows a minute")


if __name__ == "__main__":
    main()
