"""The decision core: facts in, a turn's worth of journal, steps and messages out.

`take(fact)` runs every deadline up to the fact's time, each at its own time, and then the fact;
`wake(now)` runs the deadlines alone; `next_wake()` says when the next one is; `drain()` hands over
what came about. A late loop, an early one and a replay therefore decide alike: nothing here knows
what time it is but by a fact or a wake, and nothing depends on how facts were bundled. That time is
elapsed time: a step of the wall clock is a fact like any other (`kuraban.core.timescale`).
"""

from __future__ import annotations

from typing import assert_never

import msgspec

from kuraban.core.alarms.alarm_manager import AlarmManager
from kuraban.core.deadlines import (
    BatchEnded,
    ClimbLadder,
    Deadline,
    Deadlines,
    EntryCounts,
    EntryLapses,
    Evening,
    Gathered,
    HoursInHand,
    Morning,
    PartFailing,
    PartMended,
    PromiseDue,
    ShelfEnds,
    Telling,
    WatchBack,
)
from kuraban.core.detectors.base import Detector
from kuraban.core.detectors.clock_wrong import ClockWrong
from kuraban.core.detectors.silent import Silent
from kuraban.core.detectors.unwatched import Unwatched
from kuraban.core.detectors.wild import Wild
from kuraban.core.effects import Turn
from kuraban.core.engine.daily_words import DailyWords
from kuraban.core.engine.detector_registry import DetectorRegistry
from kuraban.core.engine.log_entry_handler import EntryHandler
from kuraban.core.engine.look_timers import Timers
from kuraban.core.engine.self_monitoring import SelfMonitoring
from kuraban.core.engine.watched_house import WatchedHouse
from kuraban.core.facts import (
    ClockStepped,
    Delivered,
    EntryOutcome,
    HouseChanged,
    Impaired,
    Logged,
    Reading,
    Record,
    Refusal,
)
from kuraban.core.house_view import HouseView
from kuraban.core.notify.notifier import Notifier
from kuraban.core.planned_curve import FAR_FUTURE
from kuraban.core.probes.probe_state import ProbeState
from kuraban.core.site import SIGNALS, from_document
from kuraban.core.texts.messages import Words
from kuraban.core.timescale import Pieces, redated
from kuraban.core.units import AHEAD, DAY, MINUTE
from kuraban.errors import OurError
from kuraban.trade.thermometer_accuracy import bus_error

CODES = frozenset({85.0, 0.0})
AFTER_A_FAULT = 10 * MINUTE
"""So long after a look that failed the detector looks again."""


class Engine:
    """One house under watch. Give it a `HouseChanged` first; facts before that are lost.

    Findings of the conditions that are `left_out` reach nobody, for a night played otherwise.
    """

    def __init__(self, words: Words, left_out: frozenset[str] = frozenset()) -> None:
        self.words = words
        self.left_out = left_out
        self.now = 0.0
        self.timers = Timers()
        self.deadlines = Deadlines()
        self.facts: list[Record] = []
        self.clock: Pieces = ()
        """How far the wall clock is ahead, as its steps have left it."""
        self.conflicts = 0
        self.idle_from = FAR_FUTURE
        """From then on nobody has watched for a day: there is nothing to see, and looks a day apart
        are enough."""
        self._watched: WatchedHouse | None = None

    @property
    def started(self) -> bool:
        """Whether it knows its house."""
        return self._watched is not None

    @property
    def watched(self) -> WatchedHouse:
        """What came with the house; OurError before it is known."""
        if self._watched is None:
            raise OurError("the watch knows no house yet; ask `started` first")
        return self._watched

    @property
    def view(self) -> HouseView:
        return self.watched.view

    @property
    def notifier(self) -> Notifier:
        return self.watched.notifier

    @property
    def alarm_manager(self) -> AlarmManager:
        return self.watched.alarm_manager

    @property
    def entry_handler(self) -> EntryHandler:
        return self.watched.entry_handler

    @property
    def self_monitoring(self) -> SelfMonitoring:
        return self.watched.self_monitoring

    @property
    def daily_words(self) -> DailyWords:
        return self.watched.daily_words

    @property
    def registry(self) -> DetectorRegistry:
        return self.watched.registry

    @property
    def impaired(self) -> dict[str, float]:
        """Parts of the watch that fail, by condition, and since when."""
        return self.self_monitoring.impaired if self.started else {}

    # The four doors.

    def take(self, fact: Record) -> None:
        """Run every deadline up to the fact's time, and take it.

        What became of an entry is decided with the entry: such a fact only lets time pass. Faults
        of the deadlines are raised as by `wake`, and the fact is taken all the same.
        """
        at = fact.received
        if at < self.now:
            fact, at = _not_before(fact, self.now), self.now
        if at < self.timers.soonest and at < self.deadlines.soonest:
            self.now = at
            if type(fact) is Reading and self._watched is not None:
                self._reading(self._watched, fact)
            else:
                self._take(fact)
        else:
            try:
                self.wake(at)
            finally:
                self._take(fact)

    def _take(self, fact: Record) -> None:
        watched = self._watched
        match fact:
            case Reading():
                if watched is not None:
                    self._reading(watched, fact)
            case Refusal():
                self._refusal(watched, fact)
            case Logged():
                if watched is not None:
                    watched.entry_handler.take(fact, self.now)
            case HouseChanged():
                self._house(watched, fact)
            case Impaired():
                self._impaired(watched, fact)
            case Delivered():
                self._delivered(watched, fact)
            case ClockStepped():
                self._stepped(watched, fact)
            case EntryOutcome():
                pass
            case _:
                assert_never(fact)

    def wake(self, now: float) -> None:
        """Run every deadline up to `now`, each at its own time.

        What fails is a fault of ours and keeps nothing else from being done: the rest runs, and
        then all faults are raised together, as an ExceptionGroup.
        """
        faults: list[Exception] = []
        while True:
            look, deadline = self.timers.next(), self.deadlines.soonest
            if deadline < look and deadline <= now:
                deadline = self.deadlines.next()
            due = look if look <= deadline else deadline
            if due > now:
                break
            if due > self.now:
                self.now = due
            try:
                if look <= deadline:
                    self._look_next()
                else:
                    self._do(self.deadlines.pop())
            except Exception as fault:
                faults.append(fault)
        self.now = max(self.now, now)
        if faults:
            raise ExceptionGroup("what fell due could not all be done", faults)

    def _look_next(self) -> None:
        """Let the detector look whose time has come; at one moment looks come before deadlines."""
        detector = self.timers.pop()
        again = self.now + AFTER_A_FAULT
        try:
            wish = detector.look(self.now)
            if wish <= self.now:
                name = f"{type(detector).__name__} of {detector.subject}"
                raise RuntimeError(f"{name} would look at this very moment for ever")
            again = wish if self.now < self.idle_from else max(wish, self.now + DAY)
        finally:
            self.timers.want(detector, again)

    def next_wake(self) -> float:
        return min(self.timers.next(), self.deadlines.next())

    def drain(self) -> Turn:
        """What came about since the last drain."""
        if self._watched is None:
            return Turn(now=self.now)
        writer, daily_words = self._watched.notifier.writer, self._watched.daily_words
        turn = Turn(
            now=self.now, facts=self.facts, story=writer.story, withdrawn=writer.withdrawn,
            conflicts=self.conflicts,
        )  # fmt: skip
        if turn.story:
            daily_words.night = [*daily_words.night, *turn.story]
        self.facts, writer.story, writer.withdrawn = [], [], []
        self.conflicts = 0
        return turn

    def _do(self, deadline: Deadline) -> None:
        """What falls due, now; whoever does it looks whether it still is to be done."""
        now = self.now
        if isinstance(deadline, Telling) and self.self_monitoring.away_since is not None:
            self.deadlines.put_off(deadline)
            return
        match deadline:
            case ClimbLadder(incident=incident, began=began, rung=rung):
                self.notifier.climbing.climb(incident, began, rung, now)
            case HoursInHand(incident=incident):
                self.notifier.soundless.look_again(incident, now)
            case Gathered(person=person):
                self.notifier.gathering.send(person, now)
            case PromiseDue(subject=subject, condition=condition, until=until):
                self.alarm_manager.promise_due(subject, condition, until)
            case ShelfEnds(subject=subject, condition=condition, until=until):
                self.alarm_manager.shelf_ends(subject, condition, until)
            case EntryCounts(logged=logged):
                self.entry_handler.count(now, logged)
            case EntryLapses():
                self.entry_handler.lapse(now)
            case BatchEnded(place=place):
                self.entry_handler.ended(now, place)
            case PartFailing(condition=condition, since=since):
                self.self_monitoring.tell(now, condition, since)
            case PartMended(condition=condition, since=since):
                self.self_monitoring.mend(now, condition, since)
            case WatchBack(since=since, until=until):
                self.self_monitoring.back(now, since, until)
            case Evening(at=planned):
                self.daily_words.evening(planned, now)
            case Morning(at=planned):
                self.entry_handler.forget(now)
                self.daily_words.morning(planned, now)
            case _:
                assert_never(deadline)

    def record(self, fact: Record) -> None:
        """Keep a fact for the journal."""
        self.facts.append(fact)

    # The house.

    def _house(self, watched: WatchedHouse | None, fact: HouseChanged) -> None:
        self.facts.append(fact)
        house = msgspec.structs.replace(from_document(fact.document), clock=self.clock)
        if watched is not None:
            watched.change(house, self.now)
            return
        self._watched = WatchedHouse(
            house, self.now, self.words, self.timers, self.deadlines, self.record, self.left_out
        )
        self._watched.begin(self.now)

    def _stepped(self, watched: WatchedHouse | None, fact: ClockStepped) -> None:
        """The same house by another clock: what hangs on the time of day is laid anew."""
        self.facts.append(fact)
        self.clock = redated(self.clock, fact)
        if watched is not None and self.clock != watched.state.house.clock:
            house = msgspec.structs.replace(watched.state.house, clock=self.clock)
            watched.step(house, fact.by, self.now)

    # Readings.

    def _reading(self, watched: WatchedHouse, reading: Reading) -> None:
        registry = watched.registry
        way = registry.ways.get(reading.probe)
        if way is None:
            self.facts.append(reading)
            return
        probe_state, row, place, guards, listeners = way
        stamped = reading.at != reading.received or reading.sent is not None
        if stamped:
            before = registry.clocks.hear(row, reading)
            if reading.sent is not None:
                reading = _timed(reading, registry.clocks)
        if probe_state.leaps and reading.value - probe_state.offset in CODES:
            refusal = _code(probe_state, reading)
            if refusal is not None:
                self._refusal(watched, refusal)
                return
        admission = probe_state.hear(reading)
        if admission != "new":
            self.conflicts += admission == "conflict"
            if stamped:
                registry.clocks.unhear(row, before)
            return
        self.facts.append(reading)
        if probe_state.heard != reading.at:
            if place is not None:
                place.revised += 1
            return
        now = self.now
        if probe_state.suspect and "silent" in probe_state.suspect:
            watched.belief.answers(reading.probe)
            registry.look_one(Silent, reading.probe, now)
        if probe_state.leapt:
            probe_state.leapt = False
            registry.look_one(Wild, reading.probe, now)
        for guard in guards:
            again = guard.look(now)
            if again != guard.due:
                self.timers.want(guard, again)
        if place is not None:
            place.refresh(now)
        for detector in listeners:
            again = detector.look(now)
            if again != detector.due:
                self.timers.want(detector, again)

    def _refusal(self, watched: WatchedHouse | None, refusal: Refusal) -> None:
        self.facts.append(refusal)
        if watched is None or refusal.probe is None:
            return
        probe_state = watched.state.probe_states.get(refusal.probe)
        if probe_state is not None and refusal.wild and probe_state.probe.measures not in SIGNALS:
            probe_state.spoil(self.now)
            watched.registry.look_one(Wild, refusal.probe, self.now)

    # What the watch's own parts say.

    def _impaired(self, watched: WatchedHouse | None, fact: Impaired) -> None:
        self.facts.append(fact)
        if watched is not None:
            watched.self_monitoring.take(fact, self.now)
            if fact.part == "watch":
                self._away(watched, fact.holds)

    def _away(self, watched: WatchedHouse, gone: bool) -> None:
        """Nobody watches, or somebody does again: then all look who had not for a day."""
        long, self.idle_from = self.now >= self.idle_from, self.now + DAY if gone else FAR_FUTURE
        if not gone:
            kinds = (Detector,) if long else (Silent, Unwatched)
            watched.registry.look_all(self.now, *kinds)

    def _delivered(self, watched: WatchedHouse | None, fact: Delivered) -> None:
        """A message that reached nobody is told to the next person at once."""
        self.facts.append(fact)
        if watched is not None and not fact.sent:
            watched.notifier.climbing.unreached(fact.row, self.now)


def _timed(reading: Reading, clocks: ClockWrong) -> Reading:
    """The sender's time, believed where the watch's own clock is the suspect one, and only as far
    as that seems to be behind: one sender beyond all others is wrong by itself."""
    sent, by = reading.sent, clocks.shift()
    if sent is not None and by > 0 and 0 < sent - reading.received <= by + AHEAD:
        return msgspec.structs.replace(reading, at=sent, sent=None)
    return reading


def _code(probe_state: ProbeState, reading: Reading) -> Refusal | None:
    """85.0 or 0.0 reached by a jump: a bus error code, dropped and counted."""
    probe = probe_state.probe
    raw = reading.value - probe.offset
    before = None if probe_state.value is None else probe_state.value - probe.offset
    code = bus_error(raw, before)
    if code is None and before is None and probe.measures == "product":
        code = "dead line" if raw == 0.0 else None
    if code is None:
        return None
    reason = f"{raw:g} °C is a bus error code ({code}), not a temperature"
    topic = probe.topic or f"reading/{probe.id}"
    return Refusal(topic, reading.received, reason, f"{raw:g}", probe.id, wild=True)


def _not_before(fact: Record, now: float) -> Record:
    """A fact that came while a later moment was decided counts from that moment."""
    if isinstance(fact, Refusal):
        return msgspec.structs.replace(fact, at=now)
    return msgspec.structs.replace(fact, received=now)
