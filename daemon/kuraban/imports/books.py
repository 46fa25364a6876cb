"""Batches and samples of a table as the entries that people would have made.

A row passes the same door as every entry and is laid into the books of the past beside what is
there: what those refuse (a tank in which another batch stood, a stage that its course has not) is a
fault of its row. A batch ends a second before its end, so that the next one may begin then.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import NamedTuple

from kuraban.core import entries as e
from kuraban.core.facts import Logged, Refusal
from kuraban.core.intake.entry_parser import entry_from
from kuraban.core.plan.entry_reducer import apply
from kuraban.core.plan.subject_state import Refused, SubjectStates
from kuraban.core.site import House
from kuraban.core.units import DAY
from kuraban.edges.table_reader import Cell
from kuraban.imports.mapping import FIGURES, STAGE, called
from kuraban.imports.table import Table
from kuraban.queries.batches.batch_history import Stay

WAY = "import"


class FromRow(NamedTuple):
    row: int
    head: str
    logged: Logged


class Books:
    """The entries of one table; `latest` is the moment after which there can be none."""

    def __init__(self, table: Table, latest: float, stays: Sequence[Stay] = ()) -> None:
        self._table, self._latest, self._stays = table, latest, stays
        mapping = table.mapping
        self._columns = {role: head for head, role in mapping.columns.items()}
        self._at = {head: index for index, head in enumerate(table.heads)}

    def entries(self) -> Iterator[FromRow]:
        batches = self._table.mapping.kind == "batches"
        wanted = [self._at[head] for head in self._table.mapping.columns]
        for number, cells in self._table.rows():
            if any(str(cells[index]).strip() for index in wanted):
                yield from self._batch(number, cells) if batches else self._sample(number, cells)

    # Batches.

    def _batch(self, number: int, cells: Sequence[Cell]) -> Iterator[FromRow]:
        table, place = self._table, self._named(number, cells, "place")
        course = table.mapping.course or self._named(number, cells, "course")
        marks = sorted(
            (self._moment(number, cells, role), role.removeprefix(STAGE), head)
            for head, role in table.mapping.columns.items()
            if role.startswith(STAGE) and self._text(cells, role)
        )
        if not marks:
            head = next(head for head, role in table.mapping.columns.items() if STAGE in role)
            table.refuse(number, head, "no stage has a day", "say when the batch began")
        end = self._moment(number, cells, "end") - 1.0
        (start, stage, head), *later = marks
        if end <= marks[-1][0]:
            right = "say the day on which it was pressed or taken out"
            table.refuse(number, self._columns["end"], "is not after its stages", right)
        told = {role: self._text(cells, role) for role in ("batch", "title")}
        begun = {role: text for role, text in told.items() if text}
        rice = self._figure(number, cells, "rice_kg")
        kilograms = {} if rice is None else {"rice_kg": rice}
        begun |= {"entry": "batch-start", "course": course, "stage": stage}
        yield self._entry(number, head, place, start, {**begun, **kilograms})
        for at, stage, head in later:
            yield self._entry(number, head, place, at, {"entry": "stage", "stage": stage})
        for head, role in table.mapping.columns.items():
            if role == "note" and (text := str(cells[self._at[head]]).strip()):
                note = {"entry": "note", "text": f"{head}: {text}"[:200]}
                yield self._entry(number, head, place, end - 1.0, note)
        yield self._entry(number, self._columns["end"], place, end, {"entry": "batch-end"})

    # Samples.

    def _sample(self, number: int, cells: Sequence[Cell]) -> Iterator[FromRow]:
        at = self._table.moment(number, cells, "", self._latest)
        fields = {
            role: value
            for role in FIGURES
            if role in self._columns and (value := self._figure(number, cells, role)) is not None
        }
        if fields:
            place = self._place_of_sample(number, cells, at)
            head = self._columns[next(iter(fields))]
            yield self._entry(number, head, place, at, {"entry": "sample", **fields})

    def _place_of_sample(self, number: int, cells: Sequence[Cell], at: float) -> str:
        if "place" in self._columns:
            return self._named(number, cells, "place")
        batch = self._text(cells, "batch")
        stood = [
            stay
            for stay in self._stays
            if stay.batch.name == batch and stay.start <= at <= (stay.end or stay.start) + DAY
        ]
        if not stood:
            wrong = f'no batch "{batch}" stood anywhere then'
            right = "import the batches first, or name the place in a column"
            self._table.refuse(number, self._columns["batch"], wrong, right)
        return max(stood, key=lambda stay: stay.start).place

    # Cells.

    def _entry(
        self, number: int, head: str, place: str, at: float, fields: Mapping[str, object]
    ) -> FromRow:
        made = entry_from({**fields}, place, self._table.house, at, WAY, wall=False)
        if isinstance(made, Refusal):
            self._table.fault(number, head, ValueError(made.reason))
        return FromRow(number, head, made)

    def _text(self, cells: Sequence[Cell], role: str) -> str:
        cell = cells[self._at[self._columns[role]]] if role in self._columns else ""
        whole = isinstance(cell, float) and cell.is_integer()
        return str(int(cell) if whole else cell).strip()  # type: ignore[arg-type]

    def _figure(self, number: int, cells: Sequence[Cell], role: str) -> float | None:
        head = self._columns.get(role)
        if head is None:
            return None
        try:
            return self._table.number(cells[self._at[head]], head)
        except ValueError as error:
            self._table.fault(number, head, error)

    def _moment(self, number: int, cells: Sequence[Cell], role: str) -> float:
        head = self._columns[role]
        return self._table.moment(number, cells, role, self._latest, head)

    def _named(self, number: int, cells: Sequence[Cell], role: str) -> str:
        house, told = self._table.house, self._text(cells, role)
        table = house.course if role == "course" else house.place
        found = called(told, house, self._table.mapping.names, table)
        if found is None:
            right = f'give it its id in the mapping: [names] "{told}" = "{next(iter(table), "")}"'
            self._table.refuse(number, self._columns[role], f'"{told}" is no {role} here', right)
        return found


def lay(table: Table, kept: Iterable[Logged], found: Sequence[FromRow]) -> None:
    """Hold new entries against the books of the past; ConfigurationError where they do not fit."""
    before = list(kept)
    known = {logged.key for logged in before}
    new = {one.logged.key: one for one in found if one.logged.key not in known}
    alone = {logged.key for logged, _ in _refused(table.house, before)}
    for logged, why in _refused(table.house, [*before, *(one.logged for one in new.values())]):
        one = new.get(logged.key)
        if one is not None:
            table.fault(one.row, one.head, ValueError(why))
        if logged.key not in alone:
            right = "put its days right, or import the past anew"
            where = f"{e.kind_of(logged.entry)} of another in {logged.subject}"
            wrong = f"a batch here leaves no room for the {where}"
            table.refuse(found[0].row, found[0].head, wrong, right)


def _refused(house: House, entries: Iterable[Logged]) -> Iterator[tuple[Logged, str]]:
    books = SubjectStates(house)
    for logged in sorted(entries, key=lambda one: one.at):
        try:
            apply(books, logged)
        except Refused as error:
            yield logged, str(error)
