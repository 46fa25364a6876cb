"""The measured series in `data/`; data/README.md says where each is from and what it is for."""

from __future__ import annotations

import csv
import gzip
from functools import cache
from pathlib import Path
from typing import NamedTuple

DATA = Path(__file__).resolve().parent / "data"


class Hour(NamedTuple):
    """One hour of weather: °C, °C, %, Pa."""

    station: str
    month: int
    day: int
    hour: int
    air: float
    dew_point: float
    humidity: float
    pressure: float


class Mote(NamedTuple):
    """A sensor's readings every 5 s, °C, and which of them people called an event."""

    celsius: list[float]
    event: list[bool]


def rows(name: str) -> list[dict[str, str]]:
    data = (DATA / name).read_bytes()
    text = (gzip.decompress(data) if name.endswith(".gz") else data).decode()
    return list(csv.DictReader(text.splitlines()))


@cache
def nile() -> tuple[int, list[float]]:
    """The first year, and the flow of each year at Aswan, 1e8 m³."""
    found = rows("nile.csv")
    return int(found[0]["year"]), [float(row["volume"]) for row in found]


@cache
def weather() -> list[Hour]:
    return [
        Hour(
            row["station"], int(row["month"]), int(row["day"]), int(row["hour"]),
            _celsius(row["temp"]), _celsius(row["dewp"]), float(row["humid"]),
            100 * float(row["pressure"]),
        )
        for row in rows("weather.csv.gz")
    ]  # fmt: skip


@cache
def motes() -> dict[str, Mote]:
    found: dict[str, Mote] = {}
    for row in rows("motes.csv.gz"):
        mote = found.setdefault(row["mote"], Mote([], []))
        mote.celsius.append(float(row["temperature"]))
        mote.event.append(row["label"] != "0")
    return found


@cache
def room() -> list[float]:
    """An office, °C, every 16 min for six days."""
    return [float(row["temperature"]) for row in rows("room.csv")]


def _celsius(fahrenheit: str) -> float:
    return (float(fahrenheit) - 32) / 1.8
