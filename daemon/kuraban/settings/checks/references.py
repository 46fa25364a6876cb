"""What must hold between the tables of a site: ids, references, and what a probe can measure.

The checks look at the tables as they were written, so that one broken value hides no other fault.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from kuraban.core.site import SIGNALS, TEMPERATURES, WATCH
from kuraban.settings.files.faults import label
from kuraban.settings.files.values import listed, nearest, show

SUBJECTS = ("place", "cooler", "probe")
ROOMS = ("room", "cold-store")
FITS: dict[str, tuple[str, ...]] = {
    "tank": ("product", "air", "valve", "pump"),
    "starter": ("product", "air", "valve", "pump"),
    "koji-bed": ("product", "air", "wet-bulb", "humidity", "valve"),
    "room": ("air", "wet-bulb", "humidity", "valve"),
    "cold-store": ("air", "product", "wet-bulb", "humidity", "valve"),
    "water": ("product", "air", "valve", "pump"),
}
COOLER_FITS = ("supply", "return", "air", "power", "running", "demand", "valve", "pump")


@dataclass(frozen=True, slots=True)
class Row:
    """One row of a list table as it was written, and the name by which faults call it."""

    table: str
    index: int
    values: Mapping[str, Any]

    @property
    def name(self) -> str:
        return label(self.table, self.index, self.values)

    def text(self, key: str) -> str:
        """The text of a key, empty if it has none."""
        value = self.values.get(key)
        return value if isinstance(value, str) else ""


@dataclass(frozen=True, slots=True)
class Wrong:
    """A fault before it has a file: the location in the tables, the key's name, the texts."""

    location: tuple[int | str, ...]
    key: str
    wrong: str
    right: str


Found = Iterator[Wrong]


def rows(raw: Mapping[str, Any], table: str) -> list[Row]:
    """The rows of a list table; what is no table is left to the check of form."""
    held = raw.get(table)
    if not isinstance(held, list):
        return []
    return [Row(table, index, row) for index, row in enumerate(held) if isinstance(row, dict)]


def check(raw: Mapping[str, Any], folder: Path) -> Found:
    """Every fault between the tables."""
    yield from _ids(raw)
    yield from _places(raw)
    yield from _probes(raw)
    yield from _people(raw)
    yield from _mqtt(raw, folder)


def _at(row: Row, key: str, wrong: str, right: str) -> Wrong:
    return Wrong((row.table, row.index, key), f"{row.name}.{key}", wrong, right)


def _ids(raw: Mapping[str, Any]) -> Found:
    """Places, coolers and probes share one set of names; people have their own."""
    for tables in (SUBJECTS, ("person",), ("account",)):
        taken: dict[str, Row] = {}
        for row in (row for table in tables for row in rows(raw, table)):
            own = row.text("id")
            if own == WATCH and tables is SUBJECTS:
                right = "choose another id"
                yield _at(row, "id", f'"{WATCH}" stands for the site and the daemon', right)
            elif own in taken:
                right = "places, coolers and probes share one set of ids: choose another"
                right = right if row.table in SUBJECTS else f"give every {row.table} an own id"
                yield _at(row, "id", f'"{own}" is also the id of a {taken[own].table}', right)
            elif own:
                taken[own] = row


def _kinds(raw: Mapping[str, Any], table: str) -> dict[str, str]:
    return {row.text("id"): row.text("kind") for row in rows(raw, table) if row.text("id")}


def _refers(
    row: Row, key: str, known: Mapping[str, str], fits: Callable[[str], bool], noun: str
) -> Found:
    """A fault where a key names nothing, or something of a kind that does not fit."""
    named = row.text(key)
    if not named:
        return
    right_ones = [own for own, kind in known.items() if fits(kind)]
    if named not in known:
        right = nearest(named, right_ones or list(known), f"known are {listed(right_ones)}")
        yield _at(row, key, f"there is no {noun} {show(named)}", right)
    elif known[named] and not fits(known[named]):
        right = f"name one of {listed(right_ones)}" if right_ones else f"add a {noun} first"
        yield _at(row, key, f"{show(named)} is of kind {known[named]}, not a {noun}", right)


def _places(raw: Mapping[str, Any]) -> Found:
    places, coolers = _kinds(raw, "place"), _kinds(raw, "cooler")
    for row in rows(raw, "place"):
        yield from _refers(row, "room", places, lambda kind: kind in ROOMS, "room")
        yield from _refers(row, "cooler", coolers, lambda kind: kind != "heater", "cooler")
        yield from _refers(row, "heater", coolers, lambda kind: kind == "heater", "heater")
        if row.text("room") and row.text("room") == row.text("id"):
            yield _at(row, "room", "a place cannot stand in itself", "name the room around it")
        if "height" in row.values and "litres" not in row.values:
            yield _at(row, "height", "is given without litres", "give litres, or a dip table")


def _probes(raw: Mapping[str, Any]) -> Found:
    places, coolers = _kinds(raw, "place"), _kinds(raw, "cooler")
    sources: dict[tuple[str, str], str] = {}
    for row in rows(raw, "probe"):
        both = places | coolers
        yield from _refers(row, "of", both, lambda _: True, "place or cooler")
        of, measures = row.text("of"), row.text("measures")
        fits = COOLER_FITS if of in coolers else FITS.get(places.get(of, ""), ())
        if fits and measures not in fits and _is_measure(measures):
            wrong = f'"{measures}" does not fit {show(of)}, of kind {both[of]}'
            yield _at(row, "measures", wrong, f"there measure one of {listed(fits)}")
        yield from _own_units(row)
        yield from _own_topic(row, sources)


def _own_units(row: Row) -> Found:
    measures = row.text("measures")
    if not _is_measure(measures):
        return
    if "unit" in row.values and measures not in TEMPERATURES:
        yield _at(row, "unit", f"{measures} is no temperature", "leave the unit out")
    if "factor" in row.values and measures in SIGNALS:
        yield _at(row, "factor", f"{measures} is true or false", "leave the factor out")
    if "draught" in row.values and measures != "wet-bulb":
        yield _at(row, "draught", f"{measures} has no wick", "leave the draught out")


def _is_measure(word: str) -> bool:
    return word in COOLER_FITS or any(word in fits for fits in FITS.values())


def _own_topic(row: Row, sources: dict[tuple[str, str], str]) -> Found:
    topic, pointer = row.text("topic"), row.text("pointer")
    if not topic:
        return
    if row.text("at_pointer") and "pointer" not in row.values:
        right = "name the pointer to the value as well"
        yield _at(row, "at_pointer", "the time is named but not the value", right)
    if (topic, pointer) in sources:
        wrong = f"probe {sources[topic, pointer]} reads the same value"
        yield _at(row, "topic", wrong, "give each probe its own topic or pointer")
    sources.setdefault((topic, pointer), row.text("id"))


def _people(raw: Mapping[str, Any]) -> Found:
    people = {row.text("id"): "person" for row in rows(raw, "person") if row.text("id")}
    for row in rows(raw, "duty"):
        yield from _refers(row, "person", people, lambda _: True, "person")
    for row in rows(raw, "person"):
        if "pages" not in row.values and "pages_from" not in row.values:
            right = "give pages (Apprise addresses that ring) or pages_from; [] for none"
            yield _at(row, "pages", "is missing", right)


def _mqtt(raw: Mapping[str, Any], folder: Path) -> Found:
    table = raw.get("mqtt")
    if not isinstance(table, dict):
        return
    for key, other in (("cert_file", "key_file"), ("key_file", "cert_file")):
        if key in table and other not in table:
            yield Wrong(("mqtt", key), f"mqtt.{key}", f"is given without {other}", f"give {other}")
    for key in ("ca_file", "cert_file", "key_file"):
        named = table.get(key)
        if isinstance(named, str) and not (folder / named).is_file():
            right = "name a file that is there; relative paths start at the site file"
            yield Wrong(("mqtt", key), f"mqtt.{key}", f"there is no file {folder / named}", right)
