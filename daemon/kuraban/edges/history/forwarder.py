"""Forwarding: the journal, row by row, into an engine that keeps the long history.

A thread of its own follows the journal by the number of the last row that the engine has. It reads
a batch, writes it, and moves the cursor once the engine answered, so that nothing is lost and what
is written twice after a crash is the same points again. While the engine is away the rows wait in
the journal, which holds them anyway, and the tries grow farther apart. A batch that is refused is
halved until the point is found that the engine will not have; that one is set aside with the
reason and keeps nobody waiting. It is sent once more when the operator gives it back.

Nothing here is waited for by the watch. It is told when the history falls behind and when it has
caught up.
"""

from __future__ import annotations

import logging
import random
import time
from collections.abc import Callable, Sequence
from contextlib import suppress
from pathlib import Path
from threading import Event, Thread
from typing import TYPE_CHECKING, Final, NamedTuple, Protocol

from kuraban.core.units import HOUR, MINUTE
from kuraban.edges.history.line_protocol import Points
from kuraban.errors import JournalError
from kuraban.store.forwarded import Forwarded, SetAside

if TYPE_CHECKING:
    from kuraban.edges.history.answer import Answer

BATCH: Final = 5000
"""Rows of a kind that are read and written at a time."""
EVERY: Final = 10.0
"""Seconds between two looks for new rows."""
FIRST_WAIT, LONGEST_WAIT, LONGEST_ASKED = 1.0, 5 * MINUTE, HOUR
"""Seconds between two tries while the engine is away; they double. It may ask for more."""
BEHIND: Final = 15 * MINUTE
"""A row that waits for longer than this makes the history late."""
ANSWER_WITHIN: Final = 10.0
SAVE_EVERY: Final = 1.0
"""Seconds between two moves of the cursor on the disk while much is caught up."""

log = logging.getLogger("kuraban")


class Where(Protocol):
    """The way to an engine; `name` tells it from others and holds no secret."""

    @property
    def name(self) -> str: ...
    @property
    def url(self) -> str: ...
    @property
    def org(self) -> str: ...
    @property
    def bucket(self) -> str: ...
    @property
    def token(self) -> str | None: ...
    @property
    def site(self) -> str | None: ...
    @property
    def ca_file(self) -> Path | None: ...


class Takes(Protocol):
    """A receiver: blocks until it is known what became of the lines; does not raise."""

    def write(self, lines: Sequence[str]) -> Answer: ...
    def close(self) -> None: ...


class Forwarder:
    """Forwards the journal at `path`, which must exist, to `where`.

    `report` is called from its thread with whether the history is late, and why, at each change;
    `late` is how that stood at the start. `clock` is the watch's.
    """

    def __init__(
        self,
        path: Path,
        where: Where,
        report: Callable[[bool, str], None],
        clock: Callable[[], float],
        *,
        late: bool = False,
        every: float = EVERY,
        first_wait: float = FIRST_WAIT,
        batch: int = BATCH,
        answer_within: float = ANSWER_WITHIN,
    ) -> None:
        self._path, self._where, self._report, self._clock = path, where, report, clock
        self._every, self._first_wait, self._batch = every, first_wait, batch
        self._answer_within = answer_within
        self._late = late
        self._stopping, self._renewed = Event(), Event()
        self._tries = 0
        self._failing = ""
        self._cursor = self._saved = 0
        self._saved_at, self._busy_since = float("-inf"), float("inf")
        self._store: Forwarded | None = None
        self._ready: _Batch | None = None
        self._points = self._maker()
        self._receiver: Takes | None = None
        self._thread = Thread(target=self._run, name="long history", daemon=True)

    @property
    def alive(self) -> bool:
        return self._thread.is_alive()

    def start(self) -> None:
        self._thread.start()

    def renew(self) -> None:
        """The journal at the path is another one now."""
        self._renewed.set()

    def stop(self, timeout: float) -> None:
        """No further write; one that hangs is left behind after `timeout` seconds."""
        self._stopping.set()
        if self._thread.is_alive():
            self._thread.join(timeout)

    def _run(self) -> None:
        while not self._stopping.is_set():
            try:
                pause = self._turn()
            except JournalError as error:
                self._close()
                pause = self._missed(str(error))
            except Exception as error:
                log.exception("a fault of ours, please report it; the long history waits")
                self._close()
                pause = self._missed(f"a fault of ours ({type(error).__name__})")
            self._rest(pause)
        self._close()
        if self._receiver is not None:
            self._receiver.close()

    def _rest(self, pause: float) -> None:
        until = time.monotonic() + pause
        while (left := until - time.monotonic()) > 0:
            if self._stopping.wait(min(left, MINUTE)):
                return
            with suppress(JournalError):
                self._look(self._failing)

    def _turn(self) -> float:
        """Forward one batch; the seconds until the next."""
        if self._renewed.is_set():
            self._renewed.clear()
            self._close()
        store = self._store or self._open()
        batch = self._ready = self._ready or self._read(store)
        away = self._write(batch)
        if away is not None:
            self._save(store, [], [], at_once=True)
            return self._missed(away.reason, away.pause)
        if batch.pieces:
            return 0.0
        self._cursor, self._ready = batch.last, None
        self._save(store, batch.aside, batch.taken, at_once=not batch.full)
        self._well(batch.full)
        return 0.0 if batch.full else self._every

    def _read(self, store: Forwarded) -> _Batch:
        rows = store.rows_after(self._cursor, self._batch)
        full = len(rows.readings) >= self._batch or len(rows.events) >= self._batch
        numbers, lines = self._points.of(rows)
        unread = [SetAside(n, "", str(what)) for n, what in rows.events
                  if isinstance(what, JournalError)]  # fmt: skip
        pieces = [(numbers, lines)] if lines else []
        again = [] if full else store.given_back(self._batch)
        if again:
            pieces.insert(0, ([number for number, _ in again], [line for _, line in again]))
        full = full or len(again) >= self._batch
        return _Batch(pieces, unread, rows.last, full, [number for number, _ in again])

    def _open(self) -> Forwarded:
        """The journal where the cursor stands, and what runs where by then."""
        if self._receiver is None:
            self._receiver = self._connect()
        store = self._store = Forwarded(self._path, self._where.name)
        self._cursor = self._saved = store.seq()
        self._points = self._maker()
        self._points.learn(store.before(self._cursor))
        return store

    def _connect(self) -> Takes:
        from kuraban.edges.history.influx_writer import Receiver

        to = self._where
        return Receiver(to.url, to.org, to.bucket, to.token, self._answer_within, to.ca_file)

    def _maker(self) -> Points:
        return Points(self._where.site)

    def _close(self) -> None:
        """What was answered is kept; what was not is read anew."""
        store, self._store, self._ready = self._store, None, None
        if store is None:
            return
        try:
            if self._cursor != self._saved:
                store.move(self._cursor)
        except JournalError as error:
            log.warning("%s; some points will be written twice, which changes nothing", error)
        store.close()

    def _write(self, batch: _Batch) -> Answer | None:
        """Write all but the points that are refused; the answer of an engine that is away."""
        assert self._receiver is not None
        while batch.pieces and not self._stopping.is_set():
            numbers, lines = batch.pieces[-1]
            answer = self._receiver.write(lines)
            if answer.kind == "away":
                return answer
            batch.pieces.pop()
            if answer.kind == "refused" and len(lines) == 1:
                batch.aside.append(SetAside(numbers[0], lines[0], answer.reason))
            elif answer.kind == "refused":
                half = len(lines) // 2
                batch.pieces.append((numbers[half:], lines[half:]))
                batch.pieces.append((numbers[:half], lines[:half]))
        return None

    def _save(
        self, store: Forwarded, aside: list[SetAside], taken: list[int], *, at_once: bool
    ) -> None:
        """Move the cursor on the disk: not at every batch, since each time the card is written."""
        now = time.monotonic()
        if not (aside or taken) and (
            self._cursor == self._saved or not (at_once or now - self._saved_at > SAVE_EVERY)
        ):
            return
        store.move(self._cursor, aside, taken)
        self._saved, self._saved_at = self._cursor, now
        if aside:
            log.warning(
                "long history: refused and set aside: %d, the last because %s",
                len(aside), aside[-1].reason,
            )  # fmt: skip

    def _well(self, full: bool) -> None:
        """The engine took a batch. Whoever comes back after weeks is given time to catch up."""
        if self._failing:
            log.info("long history: %s takes points again", self._where.url)
        self._tries, self._failing = 0, ""
        now = time.monotonic()
        if not full:
            self._busy_since = float("inf")
            self._tell(False)
        elif now - self._busy_since > BEHIND:
            self._look("more waits than it takes")
        else:
            self._busy_since = min(self._busy_since, now)

    def _missed(self, reason: str, asked: float = 0.0) -> float:
        """Into the log once for each reason; the seconds until the next try."""
        if self._stopping.is_set():
            return 0.0
        if reason != self._failing:
            log.warning("long history: %s: %s; trying on", self._where.url, reason)
        self._failing = reason
        with suppress(JournalError):
            self._look(reason)
        grown = min(self._first_wait * 2.0 ** min(self._tries, 30), LONGEST_WAIT)
        self._tries += 1
        return max(grown * random.uniform(0.8, 1.2), min(asked, LONGEST_ASKED))

    def _look(self, failing: str) -> None:
        """Tell if rows wait for too long. While the journal itself fails, that is told instead."""
        if not failing or self._late or self._store is None:
            return
        oldest, now = self._store.oldest(self._cursor), self._clock()
        if oldest is not None and now - oldest > BEHIND:
            self._tell(True, f"{(now - oldest) / MINUTE:.0f} min behind: {failing}")

    def _tell(self, late: bool, reason: str = "") -> None:
        if late != self._late:
            self._late = late
            self._report(late, reason)


class _Batch(NamedTuple):
    """Points on their way."""

    pieces: list[tuple[list[int], list[str]]]
    """Numbers and lines that are still to be written, the next one last."""
    aside: list[SetAside]
    last: int
    """The row after which the next batch begins."""
    full: bool
    """More waits behind it."""
    again: list[int]
    """Numbers of the points among these that were given back."""

    @property
    def taken(self) -> list[int]:
        """Those of them that the engine has now."""
        refused = {one.seq for one in self.aside}
        return [number for number in self.again if number not in refused]
