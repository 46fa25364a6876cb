"""One table into the archive beside the journal: all of it or nothing, and nothing twice."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import closing
from math import inf
from pathlib import Path
from typing import NamedTuple

import msgspec

from kuraban.core.site import House, to_document
from kuraban.imports.books import Books, lay
from kuraban.imports.local_times import LocalTimes
from kuraban.imports.mapping import Mapping
from kuraban.imports.readings import Readings
from kuraban.imports.table import Table, table_at
from kuraban.queries.batches.batch_history import BatchHistory
from kuraban.store.archive import Added, Archive, archive_of
from kuraban.store.history import History


class Imported(NamedTuple):
    """What came of a table. `later` is from after the watch began, which has its own."""

    added: Added
    later: int
    gaps: int
    times: LocalTimes


class Import:
    """Of tables for one house; JournalError where journal or archive cannot be used."""

    def __init__(self, house: House, journal: Path, now: float) -> None:
        self.house, self._journal, self._now = house, journal, now
        self._begun = _begun(journal)
        self._archive = Archive(journal)

    def close(self) -> None:
        self._archive.close()

    def table(
        self, path: Path, mapping: Mapping, sized: Callable[[int], None],
        passed: Callable[[int], None],
    ) -> Imported:  # fmt: skip
        """Import one; `sized` hears about how many rows it has, `passed` how many were taken.
        ConfigurationError, and nothing imported, where anything in it is wrong."""
        with table_at(path, mapping, self.house, sized) as table, self._archive.begin():
            take = self._readings if mapping.kind == "readings" else self._entries
            added, later = take(table, passed)
            self._archive.house(to_document(self.house))
        return Imported(added, later, table.gaps.total(), table.times)

    def _readings(self, table: Table, passed: Callable[[int], None]) -> tuple[Added, int]:
        total, later = Added(), 0
        for bundle in Readings(table, self._now).bundles():
            own = [one for one in bundle if one[1] < self._begun]
            later += len(bundle) - len(own)
            added = self._archive.readings(own)
            total = Added(*map(sum, zip(total, added, strict=True)))
            passed(table.at_row)
        return total, later

    def _entries(self, table: Table, passed: Callable[[int], None]) -> tuple[Added, int]:
        with closing(History(archive_of(self._journal))) as past:
            books = BatchHistory(self.house)
            books.catch_up(past)
            stays = [stay for stays in books.stays.values() for stay in stays]
            found = list(Books(table, self._now, stays).entries())
            lay(table, past.counting(None, 0.0, inf), found)
        passed(table.at_row)
        ends: dict[int, float] = {}
        for one in found:
            ends[one.row] = max(one.logged.at, ends.get(one.row, 0.0))
        own = [one.logged for one in found if ends[one.row] < self._begun]
        return self._archive.entries(own, self._course), len(found) - len(own)

    def _course(self, course: str) -> str:
        return msgspec.json.encode(self.house.course[course]).decode()


def _begun(journal: Path) -> float:
    """When the watch began; what it saw itself is not imported."""
    if not journal.is_file():
        return inf
    with closing(History(journal)) as history:
        begun = history.begun()
    return inf if begun is None else begun
