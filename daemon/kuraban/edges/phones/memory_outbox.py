"""An outbox in memory, for while the journal fails: pages still go out, nothing survives a crash.

It behaves as `kuraban.store.outbox.Outbox` does towards a courier.
"""

from __future__ import annotations

from collections.abc import Callable
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

    def __len__(self) -> int:
        return len(self._rows)

    def put(self, message: Message) -> None:
        """Take in a message; one whose id stands here already is nothing."""
        row = Row(message.id, message.person, message, message.at, 0, False, frozenset())
        with self._lock:
            self._rows.setdefault(message.id, row)

    def withdraw(self, alarm: str) -> None:
        """Somebody has `alarm` in hand: pages that wait and tell of nothing else go away."""
        with self._lock:
            for row in list(self._rows.values()):
                if row.message.alarms == (alarm,) and row.id not in self._claimed:
                    del self._rows[row.id]

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
        if sent:
            self._change(row_id, lambda row: replace(row, had=row.had | {service}))

    def sent(self, row_id: str, now: float) -> None:
        with self._lock:
            self._rows.pop(row_id, None)
            self._claimed.discard(row_id)

    def failed(self, row_id: str, now: float, reason: str, next_try: float | None) -> None:
        if next_try is None:
            self.sent(row_id, now)
            return
        self._change(row_id, lambda row: replace(row, due=next_try))
        with self._lock:
            self._claimed.discard(row_id)

    def recover(self, now: float) -> int:
        with self._lock:
            lost, self._claimed = self._claimed, set()
            for row_id in lost:
                self._rows[row_id] = replace(self._rows[row_id], doubtful=True)
        return len(lost)

    def _waiting(self, person: str) -> list[Row]:
        rows = self._rows.values()
        return [row for row in rows if row.person == person and row.id not in self._claimed]

    def _change(self, row_id: str, change: Callable[[Row], Row]) -> None:
        with self._lock:
            row = self._rows.get(row_id)
            if row is not None:
                self._rows[row_id] = change(row)
