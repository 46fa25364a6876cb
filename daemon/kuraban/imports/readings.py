"""Readings of a table: one column a tank, or a column that names it.

A row is taken whole or refused; an empty cell, or an error code of a sensor bus, is a gap. Degrees
become °C before they are held against what a temperature here can be.
"""

from __future__ import annotations

from collections.abc import Iterator
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
BUNDLE = 20_000


class Readings:
    """The readings of one table; `latest` is the moment after which there can be none."""

    def __init__(self, table: Table, latest: float) -> None:
        self._table, self._latest = table, latest
        self._scale, self._factor = table.mapping.unit, table.mapping.factor
        self._probes: dict[str, str] = {}

    def bundles(self) -> Iterator[list[Read]]:
        """All of them, so many rows of the table at a time."""
        rows = self._long() if self._table.mapping.column("subject") else self._wide()
        while some := list(islice(rows, BUNDLE)):
            yield some

    def _wide(self) -> Iterator[Read]:
        table = self._table
        columns = [
            (index, head, self._probe_of(role, 0, head))
            for index, head in enumerate(table.heads)
            if (role := table.mapping.columns.get(head)) is not None and role not in MOMENT
        ]
        for number, cells in table.rows():
            if not any(cells[index] != "" for index, _, _ in columns):
                continue
            at = table.moment(number, cells, "", self._latest)
            for index, head, probe in columns:
                value = self._value(number, cells[index], head)
                if value is not None:
                    yield probe, at, value

    def _long(self) -> Iterator[Read]:
        table = self._table
        head, figures = table.mapping.column("subject"), table.mapping.column("value")
        subject, figure = table.heads.index(head), table.heads.index(figures)
        for number, cells in table.rows():
            if cells[subject] == "" and cells[figure] == "":
                continue
            told = str(cells[subject])
            probe = self._probes.get(told)
            if probe is None:
                probe = self._probes[told] = self._named(number, head, told)
            at = table.moment(number, cells, told, self._latest)
            value = self._value(number, cells[figure], figures)
            if value is not None:
                yield probe, at, value

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

    def _named(self, number: int, head: str, told: str) -> str:
        house, mapping = self._table.house, self._table.mapping
        found = called(told, house, mapping, {**house.place, **house.probe})
        if found is None:
            right = f'give it its id in the mapping: [names] "{told}" = "tank-3"'
            self._table.refuse(number, head, f'"{told}" is no place or probe here', right)
        return self._probe_of(found, number, head)

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
