"""From the journal back to an engine that judges on as if the watch had never stopped.

The engine is kept whole in a checkpoint, at most hourly and at a clean stop. A start takes it up
again, feeds it the facts that came after it, and runs its deadlines to the last moment that the
journal knows; what it tells on the way was told before and is thrown away. Delays, ladders and
promises thus go on where they were. A checkpoint that another version of the code left behind is
passed over: then the house, the entries of the last 60 days and all facts of the last 14 hours are
lived through once more.
"""

from __future__ import annotations

import io
import logging
import pickle
import platform
from collections.abc import Iterable, Iterator
from functools import cache
from hashlib import blake2b
from mmap import ACCESS_READ, mmap
from pathlib import Path
from tempfile import TemporaryFile

import msgspec

import kuraban
from kuraban.core.course import Course
from kuraban.core.engine.engine import Engine
from kuraban.core.entries import BatchStart
from kuraban.core.facts import Fact, HouseChanged, Logged
from kuraban.core.texts.messages import Words
from kuraban.core.units import DAY, HOUR
from kuraban.store.history import History
from kuraban.store.journal import Blob, Checkpoint, Journal
from kuraban.store.rows import received_of

ENTRIES_BACK, READINGS_BACK = 60 * DAY, 14 * HOUR

Copies = dict[tuple[str, str], Course]
"""By batch and place."""

log = logging.getLogger("kuraban")


@cache
def version() -> str:
    """Names the code that an engine's state fits: ours below the journal, to the letter."""
    package, code = Path(kuraban.__file__).parent, blake2b(digest_size=8)
    for room in ("core", "trade"):
        for file in sorted((package / room).rglob("*.py")):
            code.update(file.read_bytes())
    return f"kuraban {kuraban.__version__} {code.hexdigest()} python {platform.python_version()}"


def feed(engine: Engine, fact: Fact) -> bool:
    """Take a fact; a fault of ours is written down and stops nothing. Whether all went well.

    The fact is taken whatever fails of the deadlines that were due before it.
    """
    try:
        engine.take(fact)
    except Exception:
        log.exception("a fault of ours, please report it; it came with %s", fact)
        return False
    return True


def run_to(engine: Engine, now: float) -> bool:
    """Run every deadline up to `now`, past those that fail. Whether all went well."""
    try:
        engine.wake(now)
    except Exception:
        log.exception("a fault of ours, please report it; it came with a deadline")
        return False
    return True


def freeze(engine: Engine) -> Checkpoint | None:
    """The engine as it is, without the catalogue of words; None where it cannot be kept.

    Some megabytes, written past the heap, which would keep so much room for ever.
    """
    try:
        with TemporaryFile() as file:
            _Pickler(file, pickle.HIGHEST_PROTOCOL).dump(engine)
            file.flush()
            return Checkpoint(version(), mmap(file.fileno(), 0, access=ACCESS_READ))
    except Exception:
        log.exception("the state of the watch cannot be kept; the next start will take longer")
        return None


def thaw(blob: Blob, words: Words) -> Engine | None:
    """The engine that was frozen, None where that is no longer possible."""
    try:
        engine = _Unpickler(io.BytesIO(blob), words).load()
    except Exception as error:
        log.warning("the kept state of the watch cannot be read (%s); building it anew", error)
        return None
    return engine if isinstance(engine, Engine) else None


class _Pickler(pickle.Pickler):
    def persistent_id(self, part: object) -> str | None:
        return "words" if isinstance(part, Words) else None


class _Unpickler(pickle.Unpickler):
    def __init__(self, file: io.BytesIO, words: Words) -> None:
        super().__init__(file)
        self._words = words

    def persistent_load(self, name: str) -> Words:
        return self._words


def recover(journal: Journal, words: Words) -> Engine:
    """An engine that knows what the journal knows, and has nothing left to tell of it.

    Raises JournalError where the journal cannot be read.
    """
    now = journal.now()
    if now is None:
        return Engine(words)
    engine, seq = _from_checkpoint(journal, words)
    if engine is None or not _live_through(engine, journal.facts_after(seq), now):
        engine = Engine(words)
        _live_through(engine, _window(journal, now), now, _copies(journal))
    engine.drain()
    if engine.started:
        writer = engine.notifier.writer
        writer.serial = max(writer.serial, _last_serial(journal, now))
    return engine


def _live_through(
    engine: Engine, facts: Iterable[Fact], now: float, copies: Copies | None = None
) -> bool:
    """Whether all of it went well. `copies` are the courses on which batches were started."""
    well = True
    for fact in facts:
        if copies and isinstance(fact, Logged) and isinstance(fact.entry, BatchStart):
            copy = copies.get((fact.entry.batch, fact.subject))
            if copy is not None and engine.started:
                engine.watched.state.entry_log.courses[fact.key] = copy
        well = feed(engine, fact) and well
    return run_to(engine, now) and well


def _from_checkpoint(journal: Journal, words: Words) -> tuple[Engine | None, int]:
    kept = journal.load_checkpoint()
    if kept is None:
        return None, 0
    seq, written_by, blob = kept
    if written_by != version():
        log.info("the state of the watch was kept by another version; building it anew")
        return None, seq
    return thaw(blob, words), seq


def _copies(journal: Journal) -> Copies:
    """The latest course of each batch in each place, as the journal kept it."""
    history = History(journal.path)
    try:
        kept = list(history.courses())
    finally:
        history.close()
    return {(c.batch, c.place): msgspec.json.decode(c.course_json, type=Course) for c in kept}


def _window(journal: Journal, now: float) -> Iterator[Fact]:
    """House, older entries and every fact of the last hours, as if the first of these began it."""
    start = now - READINGS_BACK
    history = History(journal.path)
    try:
        house = history.house()
        entries = list(history.entries(None, now - ENTRIES_BACK, now + HOUR))
    finally:
        history.close()
    if house is None:
        return
    yield HouseChanged(start, house)
    yield from sorted((e for e in entries if e.received < start), key=lambda e: e.received)
    for fact in journal.facts_after(_seq_at(journal, start)):
        if not isinstance(fact, HouseChanged):
            yield fact


def _seq_at(journal: Journal, moment: float) -> int:
    """The number after which facts were received at `moment` or later; they never fall."""
    low, high = 0, _last_seq(journal)
    while low < high:
        middle = (low + high) // 2
        fact = next(journal.facts_after(middle), None)
        if fact is not None and received_of(fact) < moment:
            low = middle + 1
        else:
            high = middle
    return low


def _last_seq(journal: Journal) -> int:
    """A number that no fact goes beyond."""
    high = 1
    while next(journal.facts_after(high), None) is not None:
        high *= 2
    return high


def _last_serial(journal: Journal, now: float) -> int:
    """The highest number of a message: an id that was given out must not come again."""
    history = History(journal.path)
    try:
        tails = [m.id.rpartition("-")[2] for m in history.messages(now - ENTRIES_BACK, now + HOUR)]
    finally:
        history.close()
    return max((int(tail) for tail in tails if tail.isdecimal()), default=0)
