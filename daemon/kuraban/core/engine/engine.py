"""The decision core: facts in, a turn's worth of journal, steps and messages out.

`take(fact)` runs every deadline up to the fact's time, each at its own time, and then the fact;
`wake(now)` runs the deadlines alone; `next_wake()` says when the next one is; `drain()` hands over
what came about. A late loop, an early one and a replay therefore decide alike: nothing here knows
what time it is but by a fact or a wake, and nothing depends on how facts were bundled.
"""

from __future__ import annotations

from typing import Any

import msgspec

from kuraban.core.alarms.alarm_manager import AlarmManager
from kuraban.core.deadlines import Deadlines
from kuraban.core.detectors.silent import Silent
from kuraban.core.detectors.wild import Wild
from kuraban.core.effects import Turn
from kuraban.core.engine.daily_words import DailyWords
from kuraban.core.engine.detector_registry import DetectorRegistry
from kuraban.core.engine.entry_handler import EntryHandler
from kuraban.core.engine.look_timers import Timers
from kuraban.core.engine.self_monitoring import SelfMonitoring
from kuraban.core.facts import Delivered, Fact, HouseChanged, Impaired, Logged, Reading, Refusal
from kuraban.core.house_view import Detector, HouseView
from kuraban.core.notify.notifier import Notifier
from kuraban.core.site import SIGNALS, House, from_document
from kuraban.core.texts.messages import Words
from kuraban.trade.sensors import bus_error

CODES = frozenset({85.0, 0.0})


class Engine:
    """One house under watch. Give it a `HouseChanged` first; facts before that are lost."""

    def __init__(self, words: Words) -> None:
        self.words = words
        self.now = 0.0
        self.started = False
        self.timers = Timers()
        self.deadlines = Deadlines()
        self.registry = DetectorRegistry(self.timers)
        self.facts: list[Fact] = []
        self.conflicts = 0
        self.view: HouseView
        self.notifier: Notifier
        self.alarm_manager: AlarmManager
        self.entry_handler: EntryHandler
        self.self_monitoring: SelfMonitoring
        self.daily_words: DailyWords

    @property
    def impaired(self) -> dict[str, float]:
        """Parts of the watch that fail, by condition, and since when."""
        return self.self_monitoring.impaired if self.started else {}

    # The four doors.

    def take(self, fact: Fact) -> None:
        at = fact.received
        if at < self.now:
            fact = _not_before(fact, self.now)
        elif at < self.timers.soonest and at < self.deadlines.soonest:
            self.now = at
        elif at > self.now:
            self.wake(at)
        kind = type(fact)
        if kind is Reading:
            self._reading(fact)  # type: ignore[arg-type]
        elif kind is Refusal:
            self._refusal(fact)  # type: ignore[arg-type]
        elif kind is Logged:
            self._logged(fact)  # type: ignore[arg-type]
        elif kind is HouseChanged:
            self._house(fact)  # type: ignore[arg-type]
        elif kind is Impaired:
            self._impaired(fact)  # type: ignore[arg-type]
        else:
            self._delivered(fact)  # type: ignore[arg-type]

    def wake(self, now: float) -> None:
        """Run every deadline up to `now`, each at its own time."""
        timers, deadlines = self.timers, self.deadlines
        while True:
            looks, does = timers.next(), deadlines.next()
            if looks > now and does > now:
                break
            if looks <= does:
                self.now = max(self.now, looks)
                detector = timers.pop()
                timers.want(detector, detector.look(self.now))
            else:
                self.now = max(self.now, does)
                _, _, name, about = deadlines.pop()
                self._do(name, about)
        self.now = max(self.now, now)

    def next_wake(self) -> float:
        return min(self.timers.next(), self.deadlines.next())

    def drain(self) -> Turn:
        """What came about since the last drain."""
        if not self.started:
            return Turn(now=self.now)
        notifier = self.notifier
        turn = Turn(
            now=self.now, facts=self.facts, story=notifier.story, withdrawn=notifier.withdrawn,
            conflicts=self.conflicts,
        )  # fmt: skip
        if turn.story:
            self.daily_words.night = [*self.daily_words.night, *turn.story]
        self.facts, notifier.story, notifier.withdrawn = [], [], []
        self.conflicts = 0
        return turn

    def _do(self, name: str, about: tuple[Any, ...]) -> None:
        """What the agenda names, now; whoever does it looks whether it still is to be done."""
        now = self.now
        match name:
            case "climb":
                self.notifier.climb(*about)
            case "hours":
                self.notifier.hours(now, *about)
            case "gathered":
                self.notifier.gathered(now, *about)
            case "promise":
                subject, condition, until = about
                self.alarm_manager.promise_due(self.alarm_manager.alarm(subject, condition), until)
            case "unshelve":
                self.alarm_manager.shelf_ends(*about)
            case "entry":
                self.entry_handler.count(now, *about)
            case "ended":
                self.entry_handler.ended(now, *about)
            case "impaired":
                self.self_monitoring.tell(now, *about)
            case "mended":
                self.self_monitoring.mend(now, *about)
            case "back":
                self.self_monitoring.back(now, *about)
            case "evening":
                self.daily_words.evening(now)
            case "morning":
                self.entry_handler.forget(now)
                self.daily_words.morning(now)
            case _:
                raise AssertionError(f"nobody knows how to do '{name}'")

    def record(self, fact: Fact) -> None:
        """Keep a fact for the journal."""
        self.facts.append(fact)

    # The house.

    def _house(self, fact: HouseChanged) -> None:
        self.facts.append(fact)
        house = from_document(fact.document)
        come: set[str] = set()
        if not self.started:
            self._begin(house)
        else:
            gone = _subjects(self.view.house) - _subjects(house)
            come = _subjects(house) - _subjects(self.view.house)
            for subject in sorted(gone):
                self.alarm_manager.remove(subject, self.now, None)
            self.view.settle_in(house)
            self.view.entry_log.refold()
        self.registry.settle_in(self.view, self.now)
        self.registry.look_at(None, self.now)
        for subject in sorted(come):
            if self.view.in_service(subject):
                self.alarm_manager.restore(subject, self.now, None)

    def _begin(self, house: House) -> None:
        self.started = True
        self.view = HouseView(house, self.now)
        self.notifier = Notifier(self.view, self.deadlines, self.words)
        self.alarm_manager = AlarmManager(self.view, self.notifier)
        self.notifier.alarm_manager = self.alarm_manager
        self.view.tell = self.alarm_manager.take
        self.view.remark = self.notifier.remark
        hands = self.view, self.alarm_manager, self.notifier, self.deadlines
        self.entry_handler = EntryHandler(*hands, self.registry, self.record)
        self.self_monitoring = SelfMonitoring(*hands)
        self.daily_words = DailyWords(*hands)
        self.daily_words.begin(self.now)

    # Readings.

    def _reading(self, reading: Reading) -> None:
        if not self.started:
            return
        way = self.registry.ways.get(reading.probe)
        if way is None:
            self.facts.append(reading)
            return
        probe_state, row, place, guards, listeners = way
        stamped = reading.at != reading.received or reading.sent is not None
        if stamped:
            before = self.registry.clocks.hear(row, reading)
            if reading.sent is not None:
                reading = self._timed(reading)
        if (
            probe_state.leaps
            and reading.value - probe_state.offset in CODES
            and self._is_code(reading)
        ):
            return
        admission = probe_state.hear(reading)
        if admission != "new":
            self.conflicts += admission == "conflict"
            if stamped:
                self.registry.clocks.unhear(row, before)
            return
        self.facts.append(reading)
        if probe_state.heard != reading.at:
            if place is not None:
                place.stale = True
            return
        if probe_state.suspect and "silent" in probe_state.suspect:
            probe_state.suspect.discard("silent")
            self._look_one(Silent, reading.probe)
        if probe_state.leapt:
            self._look_one(Wild, reading.probe)
        now = self.now
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

    def _timed(self, reading: Reading) -> Reading:
        """The sender's time, believed where the watch's own clock is the suspect one."""
        sent = reading.sent
        if sent is not None and sent > reading.received and self.registry.clocks.shift() > 0:
            return msgspec.structs.replace(reading, at=sent, sent=None)
        return reading

    def _is_code(self, reading: Reading) -> bool:
        """85.0 or 0.0 reached by a jump: a bus error code, dropped and counted."""
        probe_state = self.view.probe_states[reading.probe]
        raw = reading.value - probe_state.probe.offset
        before = None if probe_state.value is None else probe_state.value - probe_state.probe.offset
        code = bus_error(raw, before)
        if code is None and before is None and probe_state.probe.measures == "product":
            code = "dead line" if raw == 0.0 else None
        if code is None:
            return False
        topic = probe_state.probe.topic or f"reading/{reading.probe}"
        reason = f"{raw:g} °C is a bus error code ({code}), not a temperature"
        self._refusal(
            Refusal(topic, reading.received, reason, f"{raw:g}", reading.probe, wild=True)
        )
        return True

    def _refusal(self, refusal: Refusal) -> None:
        self.facts.append(refusal)
        if not self.started or refusal.probe is None:
            return
        probe_state = self.view.probe_states.get(refusal.probe)
        if probe_state is not None and refusal.wild and probe_state.probe.measures not in SIGNALS:
            probe_state.spoil(self.now)
            self._look_one(Wild, refusal.probe)

    def _look_one(self, kind: type[Detector], subject: str) -> None:
        detector = self.registry.one(kind, subject)
        if detector is not None:
            self.registry.look(detector, self.now)

    # What people and the watch's own parts say.

    def _logged(self, logged: Logged) -> None:
        if self.started:
            self.entry_handler.take(logged, self.now)

    def _impaired(self, fact: Impaired) -> None:
        self.facts.append(fact)
        if self.started:
            self.self_monitoring.take(fact, self.now)

    def _delivered(self, fact: Delivered) -> None:
        """A message that reached nobody is told to the next person at once."""
        self.facts.append(fact)
        if self.started and not fact.sent:
            self.notifier.unreached(fact.row, self.now)


def _subjects(house: House) -> set[str]:
    return {*house.place, *house.cooler, *house.probe}


def _not_before(fact: Fact, now: float) -> Fact:
    """A fact that came while a later moment was decided counts from that moment."""
    if isinstance(fact, Refusal):
        return msgspec.structs.replace(fact, at=now)
    return msgspec.structs.replace(fact, received=now)
