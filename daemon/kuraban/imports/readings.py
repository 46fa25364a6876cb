"""Readings of a table: one column a tank, or a column that names it.

A row is taken whole or refused; an empty cell, or an error code of a sensor bus, is a gap. Degrees
become °C before they are held against what a temperature here can be.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import islice

from kuraban.core.intake.reading_decoder import BUS_CODES, celsius
from kuraban.core.site import TEMPERATURES, House, Probe
from kuraban.edges.table_reader import Cell
from kuraban.imports.mapping import MOMENT, called
from kuraban.imports.table import Table

LOW, HIGH = -40.0, 110.0
RIGHT = 'it can be -40 to 110; say in the mapping unit = "°F" or "K", factor = 0.1 for tenths'
Read = tuple[str, float, float]
"""Probe, Unix seconds, value."""
Column = tuple[int, str, str]
"""Its place in a row, its heading, and the probe whose values stand in it."""
BUNDLE = 20_000


class Readings:
    """The readings of one table; `latest` is the moment after which there can be none."""

    def __init__(self, table: Table, latest: float) -> None:
        self._table, self._latest = table, latest
        self._scale, self._factor = table.mapping.unit, table.mapping.factor
        roles = {head: table.mapping.columns.get(head, MOMENT[0]) for head in table.heads}
        self._wanted = [at for at, role in enumerate(roles.values()) if role not in MOMENT]
        self._long = table.mapping.column("subject")
        self._named: dict[Cell, list[Column]] = {}
        self._wide = [] if self._long else [
            (at, table.heads[at], self._probe_of(roles[table.heads[at]], 0, table.heads[at]))
            for at in self._wanted
        ]  # fmt: skip

    def bundles(self) -> Iterator[list[Read]]:
        """All of them, so many rows of the table at a time."""
        rows = self._read()
        while some := list(islice(rows, BUNDLE)):
            yield some

    def _read(self) -> Iterator[Read]:
        table = self._table
        for number, cells in table.rows():
            if all(cells[index] == "" for index in self._wanted):
                continue
            columns = self._wide or self._column_of(number, cells)
            at = table.moment(number, cells, columns[0][2] if self._long else "", self._latest)
            for index, head, probe in columns:
                value = self._value(number, cells[index], head)
                if value is not None:
                    yield probe, at, value

    def _column_of(self, number: int, cells: Sequence[Cell]) -> list[Column]:
        """The one with the figure, for the probe that the row names."""
        table, head = self._table, self._table.mapping.column("value")
        told = cells[table.heads.index(self._long)]
        if told not in self._named:
            subjects = {**table.house.place, **table.house.probe}
            found = called(told, table.house, table.mapping.names, subjects)
            if found is None:
                right = f'give it its id in the mapping: [names] "{told}" = "tank-3"'
                table.refuse(number, self._long, f'"{told}" is no place or probe here', right)
            probe = self._probe_of(found, number, self._long)
            self._named[told] = [(table.heads.index(head), head, probe)]
        return self._named[told]

    def _value(self, number: int, cell: Cell, head: str) -> float | None:
        table = self._table
        try:
            told = table.number(cell, head)
            if told is None:
                return None
            value = celsius(told * self._factor, self._scale)
            if told in BUS_CODES or value in BUS_CODES:
                table.gaps[head] += 1
                return None
            if not LOW <= value <= HIGH:
                raise ValueError(f"{told:g} would be {value:g} °C; {RIGHT}")
        except ValueError as error:
            table.fault(number, head, error)
        return value

    def _probe_of(self, role: str, number: int, head: str) -> str:
        """The probe itself, or that of the place's product or air."""
        house = self._table.house
        if role in house.probe:
            if house.probe[role].measures not in TEMPERATURES:
                wrong = f"{role} measures {house.probe[role].measures}, no temperature"
                self._table.refuse(number, head, wrong, "name a probe of product or air")
            return role
        probe = product_of(house, role)
        if probe is None:
            right = "enter its [[probe]] in the site file first; without a batch it rings nobody"
            self._table.refuse(number, head, f"{role} has no probe of product or air", right)
        return probe.id


def product_of(house: House, place: str) -> Probe | None:
    return next(iter((*house.probes_of(place, "product"), *house.probes_of(place, "air"))), None)
