"""The outbox as the courier sees it, with a spare one in memory while the journal fails.

    well:     rows come from the outbox in the journal
    failing:  rows that waited there and new messages lie in the spare one; what is already being
              sent stays where it was claimed, and is noted in the spare one for its next try
    healed:   the journal has the messages by now; what the spare one sent is marked as sent, what
              it is sending goes on from there, what it did not get round to waits in the journal

The courier lives in elapsed time, rows in the watch's; moments are carried across here.
"""

from __future__ import annotations

import logging
import math
from collections.abc import Iterable
from threading import RLock

from kuraban.clock import Clock
from kuraban.core.effects import Message, Turn
from kuraban.core.facts import Delivered
from kuraban.edges.phones.fallback_outbox import MemoryOutbox
from kuraban.errors import JournalError
from kuraban.store.outbox import Outbox, Row

log = logging.getLogger("kuraban")


class FailoverOutbox:
    """What the courier claims from. The watch calls `fail`, `take_from_memory` and `heal`."""

    def __init__(self, outbox: Outbox, people: Iterable[str], clock: Clock) -> None:
        self._kept = outbox
        self._people = tuple(people)
        self._clock = clock
        self._lock = RLock()
        self._spare = MemoryOutbox()
        self._failing = False
        self._recovered = True
        self._claimed: dict[str, Row] = {}
        """Rows that the courier has claimed in the journal."""
        self._lies: dict[str, str] = {}
        """Rows of the spare outbox: waiting, busy, done, or in somebody's hand."""

    # What the watch loop says.

    def fail(self) -> None:
        """The journal cannot be written: go on from memory."""
        with self._lock:
            self._failing = True
            for row in self._claimed.values():
                self._spare.take_over(row, claimed=True, withdrawn=self._in_hand(row))
            try:
                for person in self._people:
                    for row in self._kept.waiting(person, math.inf):
                        self._spare.take_over(row)
                        self._lies[row.id] = "waiting"
            except JournalError as error:
                log.error("messages that still waited cannot be read: %s", error)

    def _in_hand(self, row: Row) -> bool:
        try:
            return self._kept.withdrawn(row.id)
        except JournalError:
            return False

    def take_from_memory(self, turn: Turn) -> None:
        """What a turn that cannot be written told and withdrew."""
        for event in turn.told():
            if isinstance(event, Message):
                self.put(event)
            elif isinstance(event, str):
                self.withdraw(event)

    def put(self, message: Message) -> None:
        with self._lock:
            self._spare.put(message)
            self._lies.setdefault(message.id, "waiting")

    def withdraw(self, alarm: str) -> None:
        with self._lock:
            for row_id in self._spare.withdraw(alarm):
                del self._lies[row_id]

    def heal(self, outbox: Outbox | None = None) -> None:
        """Everything is in the journal (in another one: `outbox`). JournalError: not yet."""
        with self._lock:
            noted = [row_id for row_id in self._claimed if row_id not in self._lies]
            if outbox is not None:
                self._kept.close()
                self._kept, self._claimed = outbox, {}
            now = self._clock()
            if not self._recovered:
                self._kept.recover(now)
                self._recovered = True
            for row_id, lies in list(self._lies.items()):
                if self._settle(row_id, lies, now):
                    del self._lies[row_id]
            for row_id in noted:
                if row_id not in self._spare:  # withdrawn as it waited for its next try
                    self._kept.failed(row_id, now, "withdrawn", now)
                    self._claimed.pop(row_id, None)
                self._spare.forget(row_id)
            self._failing = False

    def _settle(self, row_id: str, lies: str, now: float) -> bool:
        """Carry one row over to the journal; False for one that it does not have."""
        claimed = self._claimed.get(row_id) or self._kept.claim(row_id, now)
        if claimed is None:
            return lies in ("done", "in hand")
        if lies == "busy":
            self._claimed[row_id] = claimed
        elif lies == "done":
            self._kept.sent(row_id, now)
        else:
            self._kept.failed(row_id, now, "the journal could not be written", now)
        if lies != "busy":
            self._claimed.pop(row_id, None)
        self._spare.forget(row_id)
        return True

    # What the courier asks, in elapsed time.

    def waiting(self, person: str, now: float) -> list[Row]:
        with self._lock:
            moment = self._clock.of(now)
            rows = self._spare.waiting(person, moment)
            return rows if self._failing else rows + self._kept.waiting(person, moment)

    def next_due(self, person: str) -> float | None:
        with self._lock:
            dues = [self._spare.next_due(person)]
            if not self._failing:
                dues.append(self._kept.next_due(person))
        return min((self._clock.real(due) for due in dues if due is not None), default=None)

    def claim(self, row_id: str, now: float) -> Row | None:
        with self._lock:
            moment = self._clock.of(now)
            if self._failing or row_id in self._lies:
                row = self._spare.claim(row_id, moment)
                if row is not None:
                    self._lies[row_id] = "busy"
                return row
            row = self._kept.claim(row_id, moment)
            if row is not None:
                self._claimed[row_id] = row
            return row

    def tried(self, row_id: str, service: str, now: float, *, sent: bool, reason: str = "") -> None:
        with self._lock:
            rows = self._spare if row_id in self._lies else self._kept
            rows.tried(row_id, service, self._clock.of(now), sent=sent, reason=reason)

    def sent(self, row_id: str, now: float) -> None:
        with self._lock:
            if row_id in self._lies:
                self._spare.sent(row_id, now)
                if row_id not in self._spare:
                    self._lies[row_id] = "done"
                return
            self._kept.sent(row_id, self._clock.of(now))
            self._done(row_id)

    def failed(self, row_id: str, now: float, reason: str, next_try: float | None) -> None:
        due = None if next_try is None else self._clock.of(next_try)
        with self._lock:
            if row_id in self._lies:
                self._failed_in_memory(row_id, now, reason, due)
                return
            try:
                self._kept.failed(row_id, self._clock.of(now), reason, due)
                self._done(row_id)
            except JournalError:
                if row_id not in self._spare:
                    raise
                self._failed_in_memory(row_id, now, reason, due)

    def _failed_in_memory(self, row_id: str, now: float, reason: str, due: float | None) -> None:
        self._spare.failed(row_id, now, reason, due)
        if row_id in self._spare:
            self._lies[row_id] = "waiting"
        else:  # given up, or somebody has it in hand, as the journal will be told
            self._lies[row_id] = "done" if due is None else "in hand"

    def _done(self, row_id: str) -> None:
        """The journal knows what became of a row that was claimed there."""
        self._claimed.pop(row_id, None)
        self._spare.forget(row_id)

    def unreported(self) -> tuple[Delivered, ...]:
        """Results that the journal does not have yet; JournalError."""
        return self._kept.unreported(self._clock())

    def close(self) -> None:
        self._kept.close()

    def recover(self, now: float) -> int:
        with self._lock:
            try:
                return self._kept.recover(self._clock.of(now))
            except JournalError as error:
                log.error("messages that were being sent must wait: %s", error)
                self._recovered = False
                return 0
