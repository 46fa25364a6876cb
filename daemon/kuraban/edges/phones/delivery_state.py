"""Who is given which message when: the book-keeping of one person's courier, without threads.

A row is claimed when the first of the person's services takes it up. It stays claimed until every
service that is well has been given it once, so that a crash before then gives the others their
turn; a service that rests after a failure, or hangs, is not waited for. Then the row is done if
any service took it, else it goes back to the outbox with the time of its next try.

A service that failed rests 2 s, then twice as long each time, at most 5 min. Only a page that it
has not been given yet disturbs its rest, no sooner than 2 s after the failure. The first success
after failures fetches at once everything that waited. The jitter comes from the row's id.

Every method is called under `lock`.
"""

from __future__ import annotations

import math
import zlib
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from threading import Condition
from typing import Final, Protocol

from kuraban.core.facts import Delivered
from kuraban.errors import JournalError
from kuraban.store.outbox import Row

SHORTEST, LONGEST = 2.0, 300.0
STUCK: Final = 20.0
"""A send that takes longer than this, seconds, is not waited for."""
NO_ANSWER: Final = f"no answer within {STUCK:g} s"
FAILED: Final = "it fails again and again"


class Rows(Protocol):
    """The part of the outbox that a courier needs."""

    def waiting(self, person: str, now: float) -> list[Row]: ...
    def next_due(self, person: str) -> float | None: ...
    def claim(self, row_id: str, now: float) -> Row | None: ...
    def tried(
        self, row_id: str, service: str, now: float, *, sent: bool, reason: str = ""
    ) -> None: ...
    def sent(self, row_id: str, now: float) -> None: ...
    def failed(self, row_id: str, now: float, reason: str, next_try: float | None) -> None: ...
    def recover(self, now: float) -> int: ...


def rest(failures: int, row_id: str) -> float:
    """Seconds until the next try after `failures` of them, between 0.75 and 1.25 of the step."""
    step = min(SHORTEST * 2.0 ** (failures - 1), LONGEST)
    return min(step * (0.75 + zlib.crc32(row_id.encode()) / 2**33), LONGEST)


@dataclass(slots=True, eq=False)
class Service:
    """One way to one person, under a name without secrets."""

    name: str
    failures: int = 0
    failed_at: float = -math.inf
    rest_until: float = -math.inf
    eager: bool = False
    """It has just come back: rows that wait for a later try are tried at once."""
    busy_with: str | None = None
    busy_since: float = 0.0

    def rests(self, now: float) -> bool:
        return now < self.rest_until

    def hangs(self, now: float) -> bool:
        return self.busy_with is not None and now - self.busy_since > STUCK


@dataclass(slots=True)
class Work:
    """A claimed row and what its services have made of it in this round."""

    row: Row
    services: tuple[Service, ...]
    had: set[str]
    tried: set[str] = field(default_factory=set)
    reason: str = ""


class DeliveryState:
    """One person's rows and services. `report` gets the results; it must not raise."""

    def __init__(
        self,
        person: str,
        rows: Rows,
        pages: tuple[Service, ...],
        notices: tuple[Service, ...],
        report: Callable[[Delivered], None],
        tries: int,
    ) -> None:
        self.person = person
        self.lock = Condition()
        self.services = tuple(dict.fromkeys(pages + notices))
        self._rows = rows
        self._pages, self._notices = pages, notices
        self._report = report
        self._tries = tries
        self._open: dict[str, Work] = {}
        self._failures: dict[str, dict[str, int]] = {}
        self._told: set[str] = set()

    def pick(self, service: Service, now: float) -> Row | None:
        """The next row for `service`, claimed; None where there is none just now."""
        for work in self._open.values():
            if self._suits(service, work.row, work.had | work.tried, now):
                return self._take(service, work, now)
        for row in self._rows.waiting(self.person, math.inf if service.eager else now):
            if row.id in self._open or not self._suits(service, row, row.had, now):
                continue
            claimed = self._rows.claim(row.id, now)
            if claimed is not None:
                work = Work(claimed, self._for(claimed), set(claimed.had))
                self._open[row.id] = work
                return self._take(service, work, now)
        service.eager = False
        return None

    def settle(self, service: Service, row_id: str, reason: str, now: float) -> None:
        """`service` took the row (`reason` is empty) or did not."""
        service.busy_with = None
        if reason:
            self._failed(service, row_id, now)
        else:
            service.eager = service.failures > 0
            service.failures, service.rest_until = 0, -math.inf
        work = self._open.get(row_id)
        if work is not None:  # else it hung, and the row was put away without it
            work.tried.add(service.name)
            work.reason = f"{service.name}: {reason}" if reason else work.reason
            if not reason:
                work.had.add(service.name)
        with suppress(JournalError):  # `close` tries again to write what matters
            self._rows.tried(row_id, service.name, now, sent=not reason, reason=reason)
        self.close(now)

    def close(self, now: float) -> None:
        """Put away each row that no service has still to be waited for."""
        for work in list(self._open.values()):
            if not any(self._awaited(service, work, now) for service in work.services):
                self._put_away(work, now)

    def sweep(self, now: float) -> None:
        """Rows that no service can move: those had by all, or by nobody for want of addresses.

        What waits behind a service that hangs is told of as failing, since its turn may never come;
        so is what failed and waits behind another, once that shows that the service takes nothing.
        What is known of rows that were withdrawn meanwhile is forgotten.
        """
        waiting = {row.id for row in self._rows.waiting(self.person, math.inf)}
        known = waiting | self._open.keys()
        self._failures = {row: kept for row, kept in self._failures.items() if row in known}
        self._told &= known
        for row in self._rows.waiting(self.person, now) if waiting else ():
            left = [service for service in self._for(row) if service.name not in row.had]
            if not left:
                self._finish(row, now)
            elif row.id not in self._told and all(self._out(one, row, now) for one in left):
                self._told.add(row.id)
                reason = NO_ANSWER if left[0].hangs(now) else FAILED
                self._tell(row, now, False, f"{left[0].name}: {reason}")
        self.close(now)

    def _out(self, service: Service, row: Row, now: float) -> bool:
        """Whether a row that waits for `service` may wait for long."""
        failed = service.name in self._failures.get(row.id, ())
        return service.hangs(now) or (failed and service.failures >= self._tries)

    def _finish(self, row: Row, now: float) -> None:
        """A row that all services had, or for which there is none."""
        claimed = self._rows.claim(row.id, now)
        if claimed is not None and self._for(row):
            self._done(claimed, now)
        elif claimed is not None:
            reason = f"{self.person} has no address"
            self._rows.failed(row.id, now, reason, None)
            self._tell(claimed, now, False, reason)

    def give_back(self, now: float) -> None:
        """At the end: rows that no service is busy with wait again, without doubt."""
        busy = {service.busy_with for service in self.services}
        for row_id, work in list(self._open.items()):
            if row_id not in busy and work.had:
                self._done(work.row, now)
            elif row_id not in busy:
                self._rows.failed(row_id, now, "the watch was stopped", now)
                del self._open[row_id]

    def pause(self, service: Service, now: float) -> float:
        """Seconds that `service` may sleep, unless it is woken."""
        due = self._rows.next_due(self.person)
        if due is None:
            return 30.0
        wake = max(due, min(service.rest_until, service.failed_at + SHORTEST))
        if wake <= now:  # what is due was not for this service, or is not yet
            wake = service.rest_until if service.rests(now) else math.inf
        return min(max(wake - now, 0.2), 30.0)

    def _for(self, row: Row) -> tuple[Service, ...]:
        return self._pages if row.message.step == "page" else self._notices

    def _suits(
        self, service: Service, row: Row, had: set[str] | frozenset[str], now: float
    ) -> bool:
        if service.name in had or service not in self._for(row):
            return False
        if not service.rests(now):
            return True
        new = service.name not in self._failures.get(row.id, ())
        return new and row.message.step == "page" and now >= service.failed_at + SHORTEST

    def _take(self, service: Service, work: Work, now: float) -> Row:
        service.busy_with, service.busy_since = work.row.id, now
        return work.row

    def _failed(self, service: Service, row_id: str, now: float) -> None:
        service.failures += 1
        service.failed_at = now
        service.rest_until = now + rest(service.failures, row_id)
        service.eager = False
        if row_id in self._open:
            counts = self._failures.setdefault(row_id, {})
            counts[service.name] = counts.get(service.name, 0) + 1

    def _awaited(self, service: Service, work: Work, now: float) -> bool:
        if service.hangs(now) or service.name in work.had | work.tried:
            return False
        return service.busy_with == work.row.id or not service.rests(now)

    def _put_away(self, work: Work, now: float) -> None:
        row = work.row
        if work.had:
            with suppress(JournalError):  # it stays open, and the next `close` writes it
                self._done(row, now)
            return
        self._tell_failing(work, now)
        if any(service.busy_with == row.id for service in work.services):
            return
        with suppress(JournalError):
            self._rows.failed(row.id, now, work.reason, now + rest(row.tries, row.id))
            del self._open[row.id]

    def _done(self, row: Row, now: float) -> None:
        self._rows.sent(row.id, now)
        self._open.pop(row.id, None)
        self._failures.pop(row.id, None)
        self._told.discard(row.id)
        self._tell(row, now, True, "")

    def _tell_failing(self, work: Work, now: float) -> None:
        """Once a row, when every service has failed often enough or hangs."""
        counts = self._failures.get(work.row.id, {})
        for service in work.services:
            failures = max(service.failures, counts.get(service.name, 0))
            if failures < self._tries and not service.hangs(now):
                return
        if work.row.id not in self._told:
            self._told.add(work.row.id)
            reason = work.reason or f"{work.services[0].name}: {NO_ANSWER}"
            self._tell(work.row, now, False, reason)

    def _tell(self, row: Row, now: float, sent: bool, reason: str) -> None:
        self._report(Delivered(row.id, self.person, now, now, sent, row.tries, reason))
