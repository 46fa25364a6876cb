"""What a probe's id says: the place or cooler it hangs on, and what it measures.

Common practice in naming: a short prefix for the place, a word for where or what. A guess is there
to be put right by whoever knows the house.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import NamedTuple

from kuraban.settings.checks.references import COOLER_FITS, FITS

PLACES: dict[str, tuple[str, str]] = {
    "t": ("tank", "Tank"), "tank": ("tank", "Tank"), "m": ("tank", "Tank"),
    "st": ("starter", "Starter"), "starter": ("starter", "Starter"), "moto": ("starter", "Starter"),
    "kb": ("koji-bed", "Koji bed"), "bed": ("koji-bed", "Koji bed"),
    "koji": ("koji-bed", "Koji bed"), "kr": ("room", "Koji room"), "muro": ("room", "Koji room"),
    "room": ("room", "Room"), "cellar": ("room", "Cellar"),
    "store": ("cold-store", "Cold store"), "cs": ("cold-store", "Cold store"),
    "water": ("water", "Water tank"), "w": ("water", "Water tank"),
}  # fmt: skip
COOLERS: dict[str, tuple[str, str]] = {
    "ch": ("chilled-water", "Chiller"), "chiller": ("chilled-water", "Chiller"),
    "cold": ("cold-room", "Cold room"), "cooler": ("chilled-water", "Cooler"),
    "h": ("heater", "Heater"), "heater": ("heater", "Heater"),
}  # fmt: skip
MEASURES: dict[str, str] = {
    "air": "air", "dry": "air", "wet": "wet-bulb", "rh": "humidity", "humidity": "humidity",
    "supply": "supply", "out": "supply", "return": "return", "back": "return", "power": "power",
    "watts": "power", "running": "running", "run": "running", "demand": "demand", "call": "demand",
    "valve": "valve", "pump": "pump",
}  # fmt: skip
AIR_BY_NATURE = ("room", "cold-store")
_SHAPE = re.compile(r"([a-z]+?)-?(\d*)(?:-(.*))?")


class Guess(NamedTuple):
    """One probe. `of` is the id of a place or cooler of `kind`, called `name`."""

    probe: str
    of: str
    kind: str
    name: str
    cooler: bool
    measures: str


def guess(probe: str) -> Guess:
    """The best guess from a probe's id, a tank of its own where nothing is recognised."""
    shape = _SHAPE.fullmatch(probe)
    letters, number, rest = shape.groups() if shape is not None else ("", "", "")
    known = COOLERS.get(letters) or PLACES.get(letters)
    if known is None:
        stem = probe.partition("-")[0]
        return Guess(probe, f"tank-{stem}", "tank", f"Tank {stem}", False, _measure(probe, "tank"))
    kind, name = known
    of = "-".join(filter(None, (name.lower().replace(" ", "-"), number)))
    title = f"{name} {number}".strip()
    measures = _measure(rest or "", kind)
    return Guess(probe, of, kind, title, letters in COOLERS, measures)


def guesses(probes: Iterable[str]) -> list[Guess]:
    """One for each probe; a place never has the id of a probe, which the device has fixed."""
    heard = sorted(set(probes))
    return [_apart(guess(probe), heard) for probe in heard]


def _apart(one: Guess, heard: list[str]) -> Guess:
    if one.of not in heard:
        return one
    return one._replace(of=f"{'cooler' if one.cooler else 'place'}-{one.of}")


def _measure(words: str, kind: str) -> str:
    fits = FITS.get(kind, COOLER_FITS)
    for word in words.split("-"):
        if MEASURES.get(word) in fits:
            return MEASURES[word]
    if kind in ("chilled-water", "cold-room"):
        return "supply"
    if kind == "heater":
        return "power"
    return "air" if kind in AIR_BY_NATURE else "product"
