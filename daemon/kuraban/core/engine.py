"""The decision core: facts in, a turn's worth of journal, steps and messages out.

`take(fact)` runs every deadline up to the fact's time, each at its own time, and then the fact;
`wake(now)` runs the deadlines alone; `next_wake()` says when the next one is; `drain()` hands over
what came about. A late loop, an early one and a replay therefore decide alike: nothing here knows
what time it is but by a fact or a wake, and nothing depends on how facts were bundled.
"""

from __future__ import annotations

from typing import Any

import msgspec

from kuraban.core.agenda import Agenda
from kuraban.core.ailments import Ailments
from kuraban.core.board import Board
from kuraban.core.detectors.silent import Silent
from kuraban.core.detectors.wild import Wild
from kuraban.core.effects import Turn
from kuraban.core.facts import Delivered, Fact, HouseChanged, Impaired, Logged, Reading, Refusal
from kuraban.core.judge import Judge
from kuraban.core.logbook import Logbook
from kuraban.core.rounds import Rounds
from kuraban.core.site import SIGNALS, House, from_document
from kuraban.core.teller import Teller
from kuraban.core.timers import Timers
from kuraban.core.wording import Words
from kuraban.core.world import Detector, World
from kuraban.trade.sensors import bus_error

CODES = frozenset({85.0, 0.0})


class Engine:
    """One house under watch. Give it a `HouseChanged` first; facts before that are lost."""

    def __init__(self, words: Words) -> None:
        self.words = words
        self.now = 0.0
        self.started = False
        self.timers = Timers()
        self.agenda = Agenda()
        self.judge = Judge(self.timers)
        self.facts: list[Fact] = []
        self.conflicts = 0
        self.world: World
        self.teller: Teller
        self.board: Board
        self.logbook: Logbook
        self.ailments: Ailments
        self.rounds: Rounds

    @property
    def impaired(self) -> dict[str, float]:
        """Parts of the watch that fail, by condition, and since when."""
        return self.ailments.impaired if self.started else {}

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
                self._do(name, about)
        self.now = max(self.now, now)

    def next_wake(self) -> float:
        return min(self.timers.next(), self.agenda.next())

    def drain(self) -> Turn:
        """What came about since the last drain."""
        if not self.started:
            return Turn(now=self.now)
        teller = self.teller
        turn = Turn(
            now=self.now, facts=self.facts, story=teller.story, withdrawn=teller.withdrawn,
            conflicts=self.conflicts,
        )  # fmt: skip
        if turn.story:
            self.rounds.night = [*self.rounds.night, *turn.story]
        self.facts, teller.story, teller.withdrawn = [], [], []
        self.conflicts = 0
        return turn

    def _do(self, name: str, about: tuple[Any, ...]) -> None:
        """What the agenda names, now; whoever does it looks whether it still is to be done."""
        now = self.now
        match name:
            case "climb":
                self.teller.climb(*about)
            case "hours":
                self.teller.hours(now, *about)
            case "gathered":
                self.teller.gathered(now, *about)
            case "promise":
                subject, condition, until = about
                self.board.promise_due(self.board.alarm(subject, condition), until)
            case "unshelve":
                self.board.shelf_ends(*about)
            case "entry":
                self.logbook.count(now, *about)
            case "ended":
                self.logbook.ended(now, *about)
            case "impaired":
                self.ailments.tell(now, *about)
            case "mended":
                self.ailments.mend(now, *about)
            case "back":
                self.ailments.back(now, *about)
            case "evening":
                self.rounds.evening(now)
            case "morning":
                self.logbook.forget(now)
                self.rounds.morning(now)
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
            gone = _subjects(self.world.house) - _subjects(house)
            come = _subjects(house) - _subjects(self.world.house)
            for subject in sorted(gone):
                self.board.remove(subject, self.now, None)
            self.world.settle_in(house)
            self.world.ledger.refold()
        self.judge.settle_in(self.world, self.now)
        self.judge.look_at(None, self.now)
        for subject in sorted(come):
            if self.world.in_service(subject):
                self.board.restore(subject, self.now, None)

    def _begin(self, house: House) -> None:
        self.started = True
        self.world = World(house, self.now)
        self.teller = Teller(self.world, self.agenda, self.words)
        self.board = Board(self.world, self.teller)
        self.teller.board = self.board
        self.world.tell = self.board.take
        self.world.remark = self.teller.remark
        hands = self.world, self.board, self.teller, self.agenda
        self.logbook = Logbook(*hands, self.judge, self.record)
        self.ailments = Ailments(*hands)
        self.rounds = Rounds(*hands)
        self.rounds.begin(self.now)

    # Readings.

    def _reading(self, reading: Reading) -> None:
        if not self.started:
            return
        way = self.judge.ways.get(reading.probe)
        if way is None:
            self.facts.append(reading)
            return
        sense, row, place, guards, listeners = way
        stamped = reading.at != reading.received or reading.sent is not None
        if stamped:
            before = self.judge.clocks.hear(row, reading)
            if reading.sent is not None:
                reading = self._timed(reading)
        if sense.leaps and reading.value - sense.offset in CODES and self._is_code(reading):
            return
        admission = sense.hear(reading)
        if admission != "new":
            self.conflicts += admission == "conflict"
            if stamped:
                self.judge.clocks.unhear(row, before)
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
        sent = reading.sent
        if sent is not None and sent > reading.received and self.judge.clocks.shift() > 0:
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
            sense.spoil(self.now)
            self._look_one(Wild, refusal.probe)

    def _look_one(self, kind: type[Detector], subject: str) -> None:
        detector = self.judge.one(kind, subject)
        if detector is not None:
            self.judge.look(detector, self.now)

    # What people and the watch's own parts say.

    def _logged(self, logged: Logged) -> None:
        if self.started:
            self.logbook.take(logged, self.now)

    def _impaired(self, fact: Impaired) -> None:
        self.facts.append(fact)
        if self.started:
            self.ailments.take(fact, self.now)

    def _delivered(self, fact: Delivered) -> None:
        """A message that reached nobody is told to the next person at once."""
        self.facts.append(fact)
        if self.started and not fact.sent:
            self.teller.unreached(fact.row, self.now)


def _subjects(house: House) -> set[str]:
    return {*house.place, *house.cooler, *house.probe}


def _not_before(fact: Fact, now: float) -> Fact:
    """A fact that came while a later moment was decided counts from that moment."""
    if isinstance(fact, Refusal):
        return msgspec.structs.replace(fact, at=now)
    return msgspec.structs.replace(fact, received=now)
