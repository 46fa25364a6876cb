"""An outbox in memory, for while the journal fails: pages still go out, nothing survives a crash.

It behaves as `kuraban.store.outbox.Outbox` does towards a courier, and as the journal's turns do
towards that: one suite of tests holds both to it.
"""

from __future__ import annotations

from dataclasses import replace
from threading import Lock

from kuraban.core.effects import Message
from kuraban.store.outbox import Row


class MemoryOutbox:
    """Rows of messages that were `put`, until they are done."""

    def __init__(self) -> None:
        self._lock = Lock()
        self._rows: dict[str, Row] = {}
        self._claimed: set[str] = set()
        self._withdrawn: set[str] = set()
        """Those claimed that have no next try: somebody has all their alarms in hand."""

    def __len__(self) -> int:
        return len(self._rows)

    def __contains__(self, row_id: str) -> bool:
        return row_id in self._rows

    # What the watch does.

    def put(self, message: Message) -> None:
        """Take in a message; one whose id stands here already is nothing."""
        wanted = frozenset(message.alarms if message.step == "page" else ())
        row = Row(message.id, message.person, message, message.at, 0, False, frozenset(), wanted)
        with self._lock:
            self._rows.setdefault(message.id, row)

    def take_over(self, row: Row, *, claimed: bool = False, withdrawn: bool = False) -> None:
        """A row of another outbox as it stands; `claimed`: somebody is sending it; `withdrawn`:
        this once more and not again."""
        with self._lock:
            self._rows[row.id] = row
            if claimed:
                self._claimed.add(row.id)
            if withdrawn:
                self._withdrawn.add(row.id)

    def withdraw(self, alarm: str) -> list[str]:
        """Somebody has `alarm` in hand: the rows that wait, tell of nothing else, and are gone."""
        gone = []
        with self._lock:
            for row in [row for row in self._rows.values() if alarm in row.wanted]:
                self._rows[row.id] = replace(row, wanted=row.wanted - {alarm})
                if row.wanted != {alarm}:
                    continue
                if row.id in self._claimed:
                    self._withdrawn.add(row.id)
                else:
                    self._drop(row.id)
                    gone.append(row.id)
        return gone

    def forget(self, row_id: str) -> None:
        """Another outbox has the row now."""
        with self._lock:
            self._drop(row_id)

    # What the courier asks.

    def waiting(self, person: str, now: float) -> list[Row]:
        with self._lock:
            rows = [row for row in self._waiting(person) if row.due <= now]
        return sorted(rows, key=lambda row: row.message.step == "notice")

    def next_due(self, person: str) -> float | None:
        with self._lock:
            return min((row.due for row in self._waiting(person)), default=None)

    def claim(self, row_id: str, now: float) -> Row | None:
        with self._lock:
            row = self._rows.get(row_id)
            if row is None or row_id in self._claimed:
                return None
            self._claimed.add(row_id)
            self._rows[row_id] = row = replace(row, tries=row.tries + 1)
            return row

    def tried(self, row_id: str, service: str, now: float, *, sent: bool, reason: str = "") -> None:
        with self._lock:
            row = self._rows.get(row_id)
            if row is not None and sent:
                self._rows[row_id] = replace(row, had=row.had | {service})

    def sent(self, row_id: str, now: float) -> None:
        with self._lock:
            if row_id in self._claimed:
                self._drop(row_id)

    def failed(self, row_id: str, now: float, reason: str, next_try: float | None) -> None:
        with self._lock:
            if row_id not in self._claimed:
                return
            if next_try is None or row_id in self._withdrawn:
                self._drop(row_id)
            else:
                self._claimed.discard(row_id)
                self._rows[row_id] = replace(self._rows[row_id], due=next_try)

    def recover(self, now: float) -> int:
        with self._lock:
            lost, self._claimed = self._claimed, set()
            for row_id in lost:
                if row_id in self._withdrawn:
                    self._drop(row_id)
                else:
                    self._rows[row_id] = replace(self._rows[row_id], doubtful=True)
        return len(lost)

    def _waiting(self, person: str) -> list[Row]:
        rows = self._rows.values()
        return [row for row in rows if row.person == person and row.id not in self._claimed]

    def _drop(self, row_id: str) -> None:
        self._rows.pop(row_id, None)
        self._claimed.discard(row_id)
        self._withdrawn.discard(row_id)
