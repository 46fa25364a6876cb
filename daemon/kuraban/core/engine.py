"""The decision core: facts in, a turn's worth of journal, steps and messages out.

`take(fact)` runs every deadline up to the fact's time, each at its own time, and then the fact;
`wake(now)` runs the deadlines alone; `next_wake()` says when the next one is; `drain()` hands over
what came about. A late loop, an early one and a replay therefore decide alike: nothing here knows
what time it is but by a fact or a wake, and nothing depends on how facts were bundled.
"""

from __future__ import annotations

import msgspec

from kuraban.core import entries as e
from kuraban.core import reports, wording
from kuraban.core.agenda import Agenda
from kuraban.core.alarms import State
from kuraban.core.board import Board
from kuraban.core.conditions import CONDITIONS
from kuraban.core.course import FAR_FUTURE
from kuraban.core.detectors.silent import Silent
from kuraban.core.detectors.wild import Wild
from kuraban.core.effects import Message, Step, Turn
from kuraban.core.facts import (
    Delivered,
    Fact,
    HouseChanged,
    Impaired,
    Logged,
    Part,
    Reading,
    Refusal,
)
from kuraban.core.judge import Judge
from kuraban.core.ledger import Refused
from kuraban.core.pending import Pending
from kuraban.core.site import SIGNALS, WATCH, House, from_document
from kuraban.core.teller import Teller
from kuraban.core.units import DAY, MINUTE, next_clock
from kuraban.core.world import Detector, Finding, Timers, World
from kuraban.trade.sensors import bus_error

ENTRIES_KNOWN = 45 * DAY
BROKER_LOST_AFTER = 2 * MINUTE
PARTS: dict[Part, str] = {
    "broker": "broker-lost",
    "journal": "journal-failing",
    "pages": "pages-failing",
    "history": "history-behind",
}
BACK_FOR = 5 * MINUTE
"""So long after the watch is back its probes have time to be heard, and then it is told."""
HELD_FOR: dict[Part, float] = {"broker": BROKER_LOST_AFTER}
"""So long a part must fail before it is told."""
WELL_FOR: dict[Part, float] = {"broker": 2 * MINUTE, "pages": 5 * MINUTE}
"""So long a part must be well again before it is over: what comes and goes rings once."""
CODES = frozenset({85.0, 0.0})


class Engine:
    """One house under watch. Give it a `HouseChanged` first; facts before that are lost."""

    def __init__(self, words: wording.Words) -> None:
        self.words = words
        self.now = 0.0
        self.world: World
        self.judge = Judge()
        self.timers = Timers()
        self.agenda = Agenda()
        self.teller: Teller
        self.board: Board
        self.facts: list[Fact] = []
        self.conflicts = 0
        self.duplicates = 0
        self.pending = Pending()
        """Entries that wait for a second person."""
        self.seen: dict[tuple[str, str], float] = {}
        """Entries already taken, by subject and id."""
        self.ends: set[float] = set()
        """When a batch ends by the clock, as far as the agenda knows."""
        self.night: list[Step | Message] = []
        self.night_since = 0.0
        self.impaired: dict[str, float] = {}
        self.well_since: dict[str, float] = {}
        """When each part was mended last."""
        """Parts of the watch that fail, by condition, and since when."""
        self.away_since: float | None = None
        self.started = False

    # The four doors.

    def take(self, fact: Fact) -> None:
        at = fact.received
        if at < self.now:
            fact = _not_before(fact, self.now)
        elif at < self.timers.soonest and at < self.agenda.soonest:
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
        timers, agenda = self.timers, self.agenda
        while True:
            looks, does = timers.next(), agenda.next()
            if looks > now and does > now:
                break
            if looks <= does:
                self.now = max(self.now, looks)
                detector = timers.pop()
                timers.want(detector, detector.look(self.now))
            else:
                self.now = max(self.now, does)
                _, _, name, about = agenda.pop()
                getattr(self, f"_do_{name}")(*about)
        self.now = max(self.now, now)

    def next_wake(self) -> float:
        return min(self.timers.next(), self.agenda.next())

    def drain(self) -> Turn:
        """What came about since the last drain."""
        if not self.started:
            return Turn(now=self.now)
        turn = Turn(
            now=self.now,
            facts=self.facts,
            story=self.teller.story,
            withdrawn=self.teller.withdrawn,
            conflicts=self.conflicts,
        )
        self.night = [*self.night, *turn.story] if turn.story else self.night
        self.facts, self.teller.story, self.teller.withdrawn = [], [], []
        self.conflicts = 0
        return turn

    # The house.

    def _house(self, fact: HouseChanged) -> None:
        self.facts.append(fact)
        house = from_document(fact.document)
        come: set[str] = set()
        if not self.started:
            self._begin(house)
        else:
            gone = self._subjects(self.world.house) - self._subjects(house)
            come = self._subjects(house) - self._subjects(self.world.house)
            for subject in sorted(gone):
                self.board.remove(subject, self.now, None)
            self.world.settle_in(house)
            self.world.ledger.refold()
        self.judge.settle_in(self.world, self.now)
        self._look_at_all()
        for subject in sorted(come):
            if self.world.in_service(subject):
                self.board.restore(subject, self.now, None)

    def _subjects(self, house: House) -> set[str]:
        return {*house.place, *house.cooler, *house.probe}

    def _begin(self, house: House) -> None:
        self.started = True
        self.world = World(house, self.now)
        self.teller = Teller(self.world, self.agenda, self.words)
        self.board = Board(self.world, self.teller)
        self.teller.board = self.board
        self.world.tell = self.board.take
        self.world.remark = self.teller.remark
        self.agenda.add(next_clock(self.now, house.site.day_starts, house.zone), "morning")
        self.agenda.add(next_clock(self.now, house.site.evening, house.zone), "evening")

    def _look(self, detector: Detector) -> None:
        self.timers.want(detector, detector.look(self.now))

    def _look_at_all(self) -> None:
        for place in self.world.places.values():
            place.refresh(self.now)
        for detector in list(self.judge.detectors.values()):
            self._look(detector)

    # Readings.

    def _reading(self, reading: Reading) -> None:
        if not self.started:
            return
        way = self.judge.ways.get(reading.probe)
        if way is None:
            self.facts.append(reading)
            return
        sense, place, guards, listeners = way
        stamped = reading.at != reading.received or reading.sent is not None
        if stamped:
            before = self.judge.clocks.ahead.get(reading.probe)
            reading = self._timed(reading)
        if sense.leaps and reading.value - sense.probe.offset in CODES and self._is_code(reading):
            return
        admission = sense.hear(reading)
        if admission != "new":
            self.conflicts += admission == "conflict"
            self.duplicates += admission == "same"
            if stamped:
                self.judge.clocks.unhear(reading.probe, before)
            return
        self.facts.append(reading)
        if sense.heard != reading.at:
            if place is not None:
                place.stale = True
            return
        if sense.suspect and "silent" in sense.suspect:
            sense.suspect.discard("silent")
            self._look_one(Silent, reading.probe)
        if sense.leapt:
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
        clocks = self.judge.clocks
        clocks.hear(reading)
        sent = reading.sent
        if sent is not None and sent > reading.received and clocks.shift() > 0:
            return msgspec.structs.replace(reading, at=sent, sent=None)
        return reading

    def _is_code(self, reading: Reading) -> bool:
        """85.0 or 0.0 reached by a jump: a bus error code, dropped and counted."""
        sense = self.world.senses[reading.probe]
        raw = reading.value - sense.probe.offset
        before = None if sense.value is None else sense.value - sense.probe.offset
        code = bus_error(raw, before)
        if code is None and before is None and sense.probe.measures == "product":
            code = "dead line" if raw == 0.0 else None
        if code is None:
            return False
        topic = sense.probe.topic or f"reading/{reading.probe}"
        reason = f"{raw:g} °C is a bus error code ({code}), not a temperature"
        self._refusal(
            Refusal(topic, reading.received, reason, f"{raw:g}", reading.probe, wild=True)
        )
        return True

    def _refusal(self, refusal: Refusal) -> None:
        self.facts.append(refusal)
        if not self.started or refusal.probe is None:
            return
        sense = self.world.senses.get(refusal.probe)
        if sense is not None and refusal.wild and sense.probe.measures not in SIGNALS:
            sense.bad.append(self.now)
            self._look_one(Wild, refusal.probe)

    def _look_one(self, kind: type[Detector], subject: str) -> None:
        detector = self.judge.one(kind, subject)
        if detector is not None:
            self._look(detector)

    # Entries.

    def _logged(self, logged: Logged) -> None:
        if not self.started:
            return
        key = (logged.subject, logged.id)
        if key in self.seen:
            self.duplicates += 1
            return
        self.seen[key] = self.now
        if logged.at > self.now:
            self.facts.append(logged)
            self.agenda.add(logged.at, "entry", logged)
            return
        logged = self._with_value(logged)
        self.facts.append(logged)
        self._do_entry(logged)

    def _with_value(self, logged: Logged) -> Logged:
        """The entry and what its place read at its time."""
        if logged.seen is not None or logged.subject not in self.world.places:
            return logged
        seen = self.world.places[logged.subject].series.before(logged.at)
        known = self.world.product(logged.subject, self.now)
        if known is not None and logged.at >= self.now - MINUTE:
            seen = known[0]
        return msgspec.structs.replace(logged, seen=seen)

    def _do_entry(self, logged: Logged) -> None:
        """An entry takes effect, at its time or as soon as it is known."""
        logged = self._with_value(logged)
        ready = self.pending.weigh(logged, self.world, self.now)
        if ready is None:
            if logged.id in self.pending.held:
                self.teller.ask(logged, self.now)
            return
        self._take_effect(ready)

    def _take_effect(self, logged: Logged) -> None:
        entry = logged.entry
        try:
            self._check_alarm_names(entry)
            if isinstance(entry, e.OutOfService):
                self.board.remove(logged.subject, self.now, logged.by)
            self.world.ledger.add(logged)
        except Refused as refused:
            kind = e.kind_of(entry)
            self.facts.append(
                Refusal(f"log/{logged.subject}", self.now, f"{kind}: {refused}", logged.id)
            )
            return
        self._answer(logged)
        self._plan_ends()
        self._look_at_all()
        if isinstance(entry, e.InService):
            self.board.restore(logged.subject, self.now, logged.by)

    def _plan_ends(self) -> None:
        """Courses whose last stage ends by the clock end their batch at that moment."""
        for place in self.world.house.places:
            batch = self.world.batch(place.id, self.now)
            end = FAR_FUTURE if batch is None else batch.plan.spans[-1].end
            if self.now < end < FAR_FUTURE and end not in self.ends:
                self.ends.add(end)
                self.agenda.add(end, "ended")

    def _do_ended(self) -> None:
        self.ends = {end for end in self.ends if end > self.now}
        self.world.ledger.version += 1
        self._look_at_all()

    def _check_alarm_names(self, entry: e.Entry) -> None:
        condition = getattr(entry, "condition", None)
        if condition is not None and condition not in CONDITIONS:
            raise Refused(f"no condition '{condition}'; they are {', '.join(sorted(CONDITIONS))}")

    def _answer(self, logged: Logged) -> None:
        """What an entry does to alarms."""
        entry, subject, by = logged.entry, logged.subject, logged.by
        match entry:
            case e.Acknowledge(condition=condition, for_=within):
                self._acknowledge(subject, condition, by, within)
            case e.LetRun(for_=within):
                for name in ("warm", "cold"):
                    self._acknowledge(subject, name, by, within)
                for name in ("trending-warm", "trending-cold"):
                    self._acknowledge(subject, name, by, within)
            case e.Shelve(condition=condition, for_=length):
                until = logged.at + length
                if until > self.now:
                    self.board.shelve(
                        subject, condition, self.now, until, by, entry.once, entry.reason
                    )
                    self.agenda.add(until, "unshelve", subject, condition, until)
            case e.Unshelve(condition=condition):
                self.board.unshelve(subject, condition, self.now, by)
            case _:
                pass

    def _acknowledge(
        self, subject: str, condition: str | None, by: str | None, within: float | None
    ) -> None:
        names: list[str | None] = [condition]
        if condition is not None:
            names = [*self.teller.same_incident(subject, condition)] or [condition]
        for name in names:
            self.board.acknowledge(subject, name, self.now, by, within)

    # Deadlines of the agenda.

    def _do_climb(self, key: tuple[str, str], began: float, rung: int) -> None:
        self.teller.climb(key, began, rung)

    def _do_hours(self, subject: str, group: str) -> None:
        self.teller.hours(subject, group, self.now)

    def _do_gathered(self, person: str) -> None:
        self.teller.gathered(person, self.now)

    def _do_promise(self, subject: str, condition: str, until: float) -> None:
        self.board.promise_due(self.board.alarm(subject, condition), until)

    def _do_unshelve(self, subject: str, condition: str, until: float) -> None:
        alarm = self.board.alarm(subject, condition)
        if alarm.state is State.SHELVED and alarm.until == until:
            self.board.unshelve(subject, condition, until)

    def _do_impaired(self, condition: str, since: float) -> None:
        if self.impaired.get(condition) == since:
            self.board.take(Finding(WATCH, condition, True, self.now, since=since))

    def _do_mended(self, condition: str, since: float) -> None:
        if condition not in self.impaired and self.well_since.get(condition) == since:
            self.board.take(Finding(WATCH, condition, False, self.now))

    def _do_evening(self) -> None:
        site = self.world.house.site
        self.agenda.add(next_clock(self.now, site.evening, self.world.house.zone), "evening")
        self.night_since = self.now
        self.night = [event for event in self.night if event.at > self.now]
        if reports.month_begins(self.world.house, self.now):
            old = reports.old_ice_points(self.world.house, self.now)
            self.teller.notice(
                "maintenance", self.now, lambda *tongue: wording.monthly(self.now, old, *tongue)
            )
        if not reports.evening_due(self.world, self.now):
            return
        word = reports.evening_word(self.world, self.now)
        self.teller.notice("brewer", self.now, lambda *tongue: wording.evening(word, *tongue))

    def _do_morning(self) -> None:
        site = self.world.house.site
        self.agenda.add(next_clock(self.now, site.day_starts, self.world.house.zone), "morning")
        self.seen = {key: at for key, at in self.seen.items() if self.now - at < ENTRIES_KNOWN}
        self.world.ledger.prune(self.now - 7 * DAY)
        waiting, self.teller.waiting = self.teller.waiting, []
        if not reports.anything_judged(self.world, self.now) and not waiting:
            return
        night = [e for e in (*self.night, *self.teller.story) if e.at >= self.night_since]
        report = reports.morning_report(self.world, self.board, night, waiting, self.now)
        roles = {CONDITIONS[condition].role for _, condition in waiting} - {"brewer"}
        for role in ("brewer", *sorted(roles)):
            self.teller.notice(
                role, self.now, lambda *tongue: wording.morning(report, *tongue),
                asks=lambda *tongue: wording.asks(report, *tongue),
            )  # fmt: skip

    # The watch itself.

    def _delivered(self, fact: Delivered) -> None:
        """A message that reached nobody is told to the next person at once."""
        self.facts.append(fact)
        if self.started and not fact.sent:
            self.teller.unreached(fact.row, self.now)

    def _impaired(self, fact: Impaired) -> None:
        self.facts.append(fact)
        if not self.started:
            return
        if fact.part == "watch":
            self._away(fact.holds)
            return
        condition = PARTS[fact.part]
        if not fact.holds:
            self.impaired = {c: at for c, at in self.impaired.items() if c != condition}
            self.well_since = {**self.well_since, condition: self.now}
            well = self.now + WELL_FOR.get(fact.part, 0.0)
            self.agenda.add(well, "mended", condition, self.now)
        elif condition not in self.impaired:
            self.impaired = {**self.impaired, condition: self.now}
            held = HELD_FOR.get(fact.part, 0.0)
            self.agenda.add(self.now + held, "impaired", condition, self.now)

    def _away(self, gone: bool) -> None:
        """Nobody watched from the one fact to the other."""
        if gone:
            self.away_since, self.world.blind = self.now, FAR_FUTURE
        elif self.away_since is not None:
            self.world.blind = self.now + BACK_FOR
            self.agenda.add(self.world.blind, "back", self.away_since, self.now)
            self.away_since = None

    def _do_back(self, since: float, until: float) -> None:
        if reports.anything_judged(self.world, self.now):
            self.teller.back_again(since, until, self.now)


def _not_before(fact: Fact, now: float) -> Fact:
    """A fact that came while a later moment was decided counts from that moment."""
    if isinstance(fact, Refusal):
        return msgspec.structs.replace(fact, at=now)
    return msgspec.structs.replace(fact, received=now)
