"""From the journal back to an engine that judges on as if the watch had never stopped.

The engine is kept in a checkpoint, at most hourly and at a clean stop. A start takes it up again,
feeds it the facts that came after it, and runs its deadlines to the last moment that the journal
knows; what it tells on the way was told before and is thrown away. Delays, ladders and promises
thus go on where they were.

Where another version of the code left the checkpoint, its memory is passed over: the house, the
entries of the last 60 days, as they were decided then, and all facts of the last 14 hours are lived
through once more, or of as many more as show how what stands now began. What stood is then laid
over that, and only what came after the checkpoint is lived through with it. What the code of today
sees otherwise than people were told is told now.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterable, Iterator
from contextlib import closing
from itertools import takewhile
from typing import NamedTuple

import msgspec

from kuraban.core.alarm_conditions import CONDITIONS
from kuraban.core.alarms.life_cycle import Alarm, State
from kuraban.core.effects import Message, Step, StepName
from kuraban.core.engine.durable_state import Standing, lay_over
from kuraban.core.engine.engine import Engine
from kuraban.core.facts import Fact, HouseChanged, Logged
from kuraban.core.site import WATCH
from kuraban.core.texts.messages import Words
from kuraban.core.units import DAY, HOUR
from kuraban.runtime.checkpoint.document import engine_in, read, standing_in, version
from kuraban.runtime.entries.past_entries import PastEntries
from kuraban.store.history import History
from kuraban.store.journal import Journal
from kuraban.store.rows import received_of

ENTRIES_BACK, READINGS_BACK = 60 * DAY, 14 * HOUR
FARTHEST_BACK, MOST_AGAIN = 3 * DAY, 500_000
"""How far, and how many facts, a start goes back beyond that to where what stands now began."""
LEAD_IN = 3 * HOUR
"""So long before that a detector learns what is usual."""
PERHAPS_NORMAL = frozenset({"unshelved", "released", "in-service"})
"""Steps after which an alarm rings or is normal."""
RINGING = PERHAPS_NORMAL | {"raised", "realarmed"}
LATELY = 1000
"""Facts before a checkpoint by which its moment is looked at."""

log = logging.getLogger("kuraban")


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


def live_up_to(engine: Engine, now: float, stopping: Callable[[], bool]) -> bool:
    """Run every deadline up to `now`, a day at a time and no further once asked to stop. Whether
    `now` was reached."""
    while engine.now < now and not stopping():
        run_to(engine, min(engine.now + DAY, now))
    return not stopping()


def recover(journal: Journal, words: Words) -> Engine:
    """An engine that knows what the journal knows.

    From its own memory it has nothing left to tell; lived through anew it tells what it sees
    otherwise. Raises JournalError where the journal cannot be read.
    """
    version()  # of the code that runs, before an update lays another in its place
    now = journal.now()
    if now is None:
        return Engine(words)
    with closing(History(journal.path)) as history:
        past = PastEntries(history, now - ENTRIES_BACK)
        kept = _kept(journal, history, words, now)
        engine = None if kept is None else kept.engine
        if kept is None or engine is None:
            return _anew(journal, history, words, kept, past, now)
        if not _live_through(engine, journal.facts_after(kept.seq), now, past):
            return _anew(journal, history, words, kept, past, now)
        engine.drain()
        past.finish(engine)
        writer = engine.notifier.writer
        writer.serial = max(writer.serial, _last_serial(history, now))
        return engine


class _Kept(NamedTuple):
    """A checkpoint after the fact numbered `seq`; its engine only where this code remembers so."""

    seq: int
    standing: Standing
    engine: Engine | None


def _kept(journal: Journal, history: History, words: Words, now: float) -> _Kept | None:
    found = journal.load_checkpoint()
    if found is None:
        return None
    seq, written_by, blob = found
    try:
        document = read(blob)
        standing = standing_in(document)
        _of_its_time(standing, seq, history, now)
    except Exception as error:
        log.warning("the kept state of the watch cannot be read (%s); building it anew", error)
        return None
    if written_by != version():
        log.info("kept by another version of the watch: what stood goes on, the rest is built anew")
        return _Kept(seq, standing, None)
    try:
        return _Kept(seq, standing, engine_in(document, words))
    except Exception as error:
        log.warning("what the watch remembered cannot be read (%s); building it anew", error)
        return _Kept(seq, standing, None)


def _of_its_time(standing: Standing, seq: int, history: History, now: float) -> None:
    """ValueError unless it was kept after its last facts, and not after the journal's last turn."""
    lately = takewhile(lambda found: found[0] <= seq, history.facts_after(max(seq - LATELY, 0)))
    began = max((received_of(fact) for _, fact in lately), default=standing.now)
    if not began <= standing.now <= now:
        raise ValueError(f"it is of the moment {standing.now:.0f}, which is not this journal's")


def _live_through(engine: Engine, facts: Iterable[Fact], now: float, past: PastEntries) -> bool:
    """Whether all of it went well."""
    well = True
    for fact in facts:
        if isinstance(fact, Logged) and engine.started:
            past.prepare(engine, fact)
        well = feed(engine, fact) and well
    return run_to(engine, now) and well


# Lived through anew.


def _anew(
    journal: Journal, history: History, words: Words, kept: _Kept | None, past: PastEntries,
    now: float,
) -> Engine:  # fmt: skip
    engine, house = Engine(words), history.house()
    if house is None:
        return engine
    upto = now if kept is None else kept.standing.now
    start = upto - READINGS_BACK if kept is None else _start(history, kept, upto)
    feed(engine, HouseChanged(start, house))
    writer = engine.notifier.writer
    given_out = writer.serial = _last_serial(history, now)
    last = None if kept is None else kept.seq
    for step in history.clock_steps():
        if step.received < start:
            feed(engine, msgspec.structs.replace(step, by=0.0))
    past.restore(engine, start)
    _live_through(engine, _window(history, start, last), upto, past)
    if kept is not None:
        engine.drain()
        for alarm in lay_over(engine, kept.standing):
            log.warning("%s stood, and no such condition is known any more", alarm)
        writer.serial = max(writer.serial, given_out)
        _live_through(engine, journal.facts_after(kept.seq), now, past)
    else:
        _take_in_hand(engine, history)
    past.finish(engine)
    _tell_news(engine, history)
    return engine


def _start(history: History, kept: _Kept, upto: float) -> float:
    """The moment from which facts are lived through again."""
    begins = [one.since for one in kept.standing.alarms if one.active and one.since is not None]
    wanted = max(min(begins, default=upto) - LEAD_IN, upto - FARTHEST_BACK)
    first = next(history.facts_after(max(kept.seq - MOST_AGAIN, 0)), None)
    earliest = upto if first is None else received_of(first[1])
    return min(upto - READINGS_BACK, max(wanted, earliest))


def _window(history: History, start: float, last: int | None) -> Iterator[Fact]:
    """Every fact since a moment, up to the number `last`."""
    for number, fact in history.facts_after(seq_at(history, start)):
        if last is not None and number > last:
            return
        if not isinstance(fact, HouseChanged):
            yield fact


def seq_at(history: History, moment: float) -> int:
    """The number after which facts were received at `moment` or later; they never fall."""
    low, high = 0, _last_seq(history)
    while low < high:
        middle = (low + high) // 2
        found = next(history.facts_after(middle), None)
        if found is not None and received_of(found[1]) < moment:
            low = middle + 1
        else:
            high = middle
    return low


def _last_seq(history: History) -> int:
    """A number that no fact goes beyond."""
    high = 1
    while next(history.facts_after(high), None) is not None:
        high *= 2
    return high


def _last_serial(history: History, now: float) -> int:
    """The highest number of a message: an id that was given out must not come again."""
    tails = [m.id.rpartition("-")[2] for m in history.messages(now - ENTRIES_BACK, now + HOUR)]
    return max((int(tail) for tail in tails if tail.isdecimal()), default=0)


# What people know, and what is so.


def _take_in_hand(engine: Engine, history: History) -> None:
    """Answers from before what was lived through, as the journal tells them; promised anew."""
    for step in history.standing():
        if step.step == "acknowledged":
            engine.alarm_manager.acknowledge(
                step.subject, step.condition, engine.now, step.by, None
            )


def _tell_news(engine: Engine, history: History) -> None:
    """Of all that came about on the way, leave to be told what people were not told yet.

    What rings without their knowing rings for them now; what they believe to stand and does not is
    over for them now.
    """
    told = {step.alarm: step for step in history.standing()}
    news = {
        alarm.id
        for alarm in engine.alarm_manager.alarms.values()
        if alarm.state is State.UNACKNOWLEDGED
        and (alarm.id not in told or told[alarm.id].step not in RINGING)
    }
    turn = engine.drain()
    engine.notifier.writer.story = [event for event in turn.story if _about(event) & news]
    for step in told.values():
        over = _over(engine, step)
        if over is not None:
            engine.notifier.stepped(over[0], over[1], engine.now, None)


def _about(event: Step | Message) -> set[str]:
    return {event.alarm} if isinstance(event, Step) else set(event.alarms)


def _over(engine: Engine, told: Step) -> tuple[Alarm, StepName] | None:
    """An alarm that people believe to stand, and the step by which it does not any more."""
    house = engine.view.house
    known = told.subject == WATCH or told.subject in {**house.place, **house.cooler, **house.probe}
    if not known or told.condition not in CONDITIONS or not engine.view.in_service(told.subject):
        return None
    alarm = engine.alarm_manager.alarm(told.subject, told.condition)
    if alarm.state is State.NORMAL and told.step not in PERHAPS_NORMAL:
        return alarm, "normal"
    if alarm.state is State.RETURNED and told.step != "returned":
        return alarm, "returned"
    return None
