"""The watch: one loop that is the only writer and the only decider.

    front door ──messages──> wire ──┐
    courier, front door ──facts─────┴──> engine ──turn──> journal ──> answers, courier, broker

A turn takes what waits, lets the engine decide, writes everything in one transaction, and only
then tells the broker that its messages are safe and the courier that there is work. While the
journal cannot be written the watch judges on: turns are kept in memory, nothing is answered, people
are paged from memory, and the broker is heard through a second session.

All of it goes by the watch's own time, which is elapsed time; the wall clock is looked at in every
turn, and what it did is a fact (`kuraban.clock_steps`).
"""

from __future__ import annotations

import logging
import sys
import time
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Final

import msgspec

from kuraban.clock import Clock
from kuraban.clock_steps import GAP, WallClock
from kuraban.core.effects import Message, Step, Turn
from kuraban.core.engine.engine import Engine
from kuraban.core.engine.self_monitoring import PARTS
from kuraban.core.facts import ClockStepped, Delivered, Fact, HouseChanged, Impaired
from kuraban.core.intake.wire import Wire
from kuraban.core.notify.startup_notices import on_a_lost_journal, on_calendars
from kuraban.core.site import from_document, to_document
from kuraban.core.texts.messages import Words
from kuraban.core.units import HOUR, MINUTE, show_time
from kuraban.edges.mqtt.fair_queue import Arrived, Cut
from kuraban.edges.supervisor import Supervisor
from kuraban.errors import JournalError
from kuraban.queries.phone_curves import Curves
from kuraban.runtime import feed, freeze, live_up_to, recover, run_to
from kuraban.runtime.alarm_publisher import AlarmPublisher
from kuraban.runtime.entries.batch_courses import begun
from kuraban.runtime.health import Health
from kuraban.runtime.intake import Intake, unheard_since
from kuraban.runtime.internal_facts import OwnFacts
from kuraban.runtime.outside import Outside
from kuraban.runtime.pace import Pace
from kuraban.runtime.pages_process import PagesProcess
from kuraban.runtime.storage.journal_writer import JournalWriter
from kuraban.runtime.storage.outbox_failover import FailoverOutbox
from kuraban.runtime.storage.retention_scheduler import RetentionScheduler
from kuraban.settings import Settings
from kuraban.store.history import History
from kuraban.store.journal import open_or_set_aside
from kuraban.store.journal_lock import held
from kuraban.store.outbox import Outbox

if TYPE_CHECKING:
    from kuraban.edges.history.forwarders import Forwarders

JOURNAL: Final = "kuraban.journal"
"""The journal's name in the data folder."""
MOST: Final = 500
"""Messages that one turn takes at most."""
LONGEST_TURN: Final = 0.5
"""Seconds of real time after which a turn takes no further message and writes what it has."""
GRACE: Final = 2.0
"""Seconds of real time by which deadlines wait for messages while some are left over."""
SWITCH: Final = 0.001
"""Seconds after which a judging loop lets the network's thread go on; 5 ms, the default, leaves a
flood with the broker, and everybody behind it."""
LONGEST_WAIT: Final = 0.5
"""Seconds of real time after which an idle loop looks up."""
NEAR: Final = 0.1
"""Seconds of real time before a deadline in which nothing else is begun."""
COURIER_STOPS_WITHIN, DOOR_STOPS_WITHIN, FORWARDER_STOPS_WITHIN = 3.0, 1.0, 1.0

WRONG_AT_START: Final = (
    "this machine's clock cannot be right; set it: the watch goes on from where its journal ends"
)

log = logging.getLogger("kuraban")


class Watch:
    """One house under watch, from the broker to the phones.

    The constructor raises ConfigurationError for TLS files that cannot be used. `run` opens the
    journal, takes up where it ends, and returns when `stop` was called; it raises JournalError
    where no journal can be opened, old or new, or another process watches with it. `on_turn` sees
    every turn that told something, after it was written or kept.
    """

    def __init__(
        self,
        settings: Settings,
        words: Words,
        *,
        clock: Clock | None = None,
        supervisor: Supervisor | None = None,
        outside: Outside | None = None,
        on_turn: Callable[[Turn], None] = lambda turn: None,
    ) -> None:
        self.settings = settings
        self.clock = clock or Clock()
        self._wall_clock = WallClock(self.clock)
        self._supervisor = supervisor or Supervisor(None)
        self._outside = outside or Outside()
        self._on_turn = on_turn
        self._root = settings.mqtt.root
        self._zone = settings.house.zone
        self._wire = Wire(settings.house, self._root)
        self._intake = Intake(self._wire)
        self._cuts: list[Cut] = []
        """What was let go unread until this turn."""
        self._away = 0.0
        """For how long nobody had watched, real seconds."""
        self._first_words: list[Message] = []
        self._local = OwnFacts()
        self._stopping = False
        self._health = Health(self.submit, self.clock)
        self._ping = self._outside.ping(settings)
        self._written = self._checkpointed = float("-inf")
        self._turned = 0.0
        self._failed, self._failed_at = False, 0.0
        self._words = words
        self._pace = Pace(self._health.fails, self._root)
        self._door = self._outside.door(settings, self._wire, self._health.on_link)
        self._pages_process = PagesProcess(
            settings, words, settings.data / JOURNAL, self.submit, self.clock
        )

    # What is done once.

    def _open(self) -> None:
        path = self.settings.data / JOURNAL
        journal, self._aside = open_or_set_aside(path)
        self._since = journal.now()
        self.engine: Engine = recover(journal, self._words)
        self._journal_writer = JournalWriter(journal)
        self._publisher = AlarmPublisher(self._door.publish, self._root, self._zone, self._words)
        self._take_up_clock(path)
        self._rows = FailoverOutbox(Outbox(path), self.settings.addresses, self.clock)
        self._local.add(*self._rows.unreported())
        self._curves = Curves(path)
        self._courier = self._outside.courier(
            self.settings, self._rows, self._health.delivered, self._pages_process.link,
            self._curves,
        )  # fmt: skip
        self._forwarders = self._forwarding(path)
        names = tuple(one.name for one in self.settings.receivers)
        self._retention = RetentionScheduler(self.settings.keep, names)

    def _take_up_clock(self, path: Path) -> None:
        history = History(path)
        steps = history.clock_steps()
        history.close()
        for fact in self._wall_clock.take_up(steps, self._since):
            feed(self.engine, fact)
            log.warning("%s", WRONG_AT_START)
        for step in self._wall_clock.steps:
            self._wire.stepped(step.ahead, step.received)
        self._go_by_the_wall()

    def _go_by_the_wall(self) -> None:
        """Whoever tells the wall clock's time hears how it stands."""
        if self.engine.started:
            house = self.engine.view.house
            self._zone = self._publisher.zone = house.zone
            self._wire.house = house

    def _forwarding(self, path: Path) -> Forwarders | None:
        """What carries the journal to the long history, where there is one."""
        if not self.settings.receivers:
            return None
        from kuraban.edges.history.forwarders import Forwarders

        late = PARTS["history"] in self.engine.impaired
        to = self.settings
        return Forwarders(path, to.history, to.folder, self._health.history_late, self.clock, late)

    def _begin(self) -> None:
        """Log how things stand, and take over the house if it is new or changed."""
        for warning in self.settings.warnings:
            log.warning("%s", warning)
        house, now = self.settings.house, self.clock()
        path, many = self._journal_writer.journal.path, (len(house.places), len(house.probes))
        log.info("watching %d places with %d probes; journal %s", *many, path)
        self._first_words = on_calendars(house, self.settings.unread, now)
        for fault in self.settings.unread:
            log.error("%s; the house's duty goes on without it", fault)
        if self._aside is not None:
            log.error("the journal was damaged and is kept as %s; a new one begins", self._aside)
            self._first_words += on_a_lost_journal(house, str(self._aside), now)
        unheard = unheard_since(self.engine, self._since)
        self._tell_gap(now)
        if self._stopping:
            self._local = OwnFacts()  # they are of now, which is not reached
            return
        if self._since is not None:
            self._away = max(0.0, now - self._since) / self.clock.speed
            self._intake = Intake(self._wire, unheard, now)
        document, known = to_document(house), ""
        if self.engine.started:
            known = to_document(msgspec.structs.replace(self.engine.view.house, clock=()))
        if to_document(from_document(document)) != known:
            self._take([HouseChanged(max(now, self.engine.now), document)])
        self._health.recall(self.engine.impaired, self._forwarders is not None)
        if self._since is not None:
            self._publisher.recall(self.engine.alarm_manager, self._journal_writer.journal.path)

    def _tell_gap(self, now: float) -> None:
        if self._since is not None and now - self._since > GAP:
            span = (show_time(round(at), self._zone) for at in (self._since, now))
            log.warning("nobody watched from %s to %s", *span)
            if self.engine.started:
                feed(self.engine, Impaired("watch", True, self.engine.now))
                if live_up_to(self.engine, now, lambda: self._stopping):
                    feed(self.engine, Impaired("watch", False, now))

    # The loop.

    def run(self) -> None:
        """Watch until asked to stop. All of it in the thread that calls."""
        sys.setswitchinterval(SWITCH)
        with held(self.settings.data / JOURNAL):
            self._watch()

    def _watch(self) -> None:
        self._open()
        self._begin()
        try:
            if not self._stopping:
                self._start()
            while not self._stopping:
                self.turn(self._patience())
        finally:
            self._end()

    def _start(self) -> None:
        """Everything beside the loop; the courier once what ended meanwhile is withdrawn."""
        if self._ping is not None:
            self._ping.start()
        self._door.start(self._away)
        self._pages_process.start()
        if self._forwarders is not None:
            self._forwarders.start()
        self.turn()
        self._courier.start()

    def stop(self) -> None:
        """Ask the loop to end after its turn; safe in a signal handler and from any thread."""
        self._stopping = True

    def turn(self, wait: float = 0.0) -> bool:
        """One turn, waiting at most `wait` seconds for a message; whether it was a good one."""
        now = self.clock()
        arrived = self._door.take(MOST, wait)
        self._look_at_clock()  # the machine may have slept meanwhile
        well = self._judge(arrived, now)
        self._pace.look(self._door.more or bool(self._cuts), self._door.backlog)
        kept = self._keep(arrived)
        awake = well and self._door.alive and self._courier.alive
        if awake:
            # A journal that fails is judged past; killed for it, the watch would forget.
            self._supervisor.pet("watching")
            self._publisher.beat(self.engine)
        if awake and kept and self._ping is not None and self._health.all_reached:
            self._ping.well()
        self._pages_process.after_turn(self.engine)
        if kept and self._quiet():
            self._retention.step(self.engine, self._journal_writer, now)
        return awake and kept

    def _look_at_clock(self) -> None:
        for fact in self._wall_clock.look():
            self._local.add(fact)
            if isinstance(fact, ClockStepped):
                self._wire.stepped(fact.ahead, fact.received)
                log.warning("the wall clock went %+.0f s; the watch goes by elapsed time", fact.by)

    def _quiet(self) -> bool:
        """Whether nothing waits and no deadline is near."""
        ahead = (self.engine.next_wake() - self.clock()) / self.clock.speed
        return ahead > NEAR and not (self._door.waiting or self._local or self._stopping)

    def submit(self, fact: Fact) -> None:
        """A fact that came another way than the broker's; safe in any thread."""
        self._local.add(fact)
        self._door.rouse()

    def _patience(self) -> float:
        """How long to wait for a message before the next deadline is due."""
        due = self._turned + self.settings.mqtt.turn
        while not self._stopping and self._door.waiting < MOST and time.monotonic() < due:
            time.sleep(min(max(due - time.monotonic(), 0.0), LONGEST_WAIT))
        if self._local or self._stopping:
            return 0.0
        ahead = (self.engine.next_wake() - self.clock()) / self.clock.speed
        return min(max(ahead, 0.0), LONGEST_WAIT)

    def _judge(self, arrived: list[Arrived], now: float) -> bool:
        """What came, in its order, for so long as a turn may take; the deadlines up to `now`.

        What there was no time for is taken out of `arrived` and comes first in the next turn. While
        something waits, deadlines are kept `GRACE` behind, so that what came before them is heard.
        """
        began, well = time.monotonic(), True
        for taken, one in enumerate(arrived, 1):
            received = self.clock.of(one.received)
            if self._local:
                well = self._take(self._local.until(received)) and well
            well = self._take(self._intake.read(one, received)) and well
            if time.monotonic() - began > LONGEST_TURN and taken < len(arrived):
                self._door.give_back(arrived[taken:])
                del arrived[taken:]
                break
        self._cuts = self._door.cuts()
        well = self._take(self._intake.lost(self._cuts, now)) and well
        until, more = now - GRACE * self.clock.speed, self._door.more
        if self._local:
            well = self._take(self._local.until(until if more else float("inf"))) and well
        # What falls due with the last fact is of this turn: a restart takes it for told.
        return run_to(self.engine, max(until if more else now, self.engine.now)) and well

    def _take(self, facts: Iterable[Fact]) -> bool:
        """Whether the engine took all of them without a fault of ours."""
        well = True
        for fact in facts:
            well = feed(self.engine, fact) and well
            if isinstance(fact, Delivered):
                self._health.reached(fact)
            elif isinstance(fact, Impaired):
                self._intake.impaired(fact)
            elif isinstance(fact, (ClockStepped, HouseChanged)):
                self._go_by_the_wall()
        return well

    def _keep(self, arrived: list[Arrived]) -> bool:
        """Write the turn, then tell whoever waits for it. Whether it stands in the journal."""
        turn = self.engine.drain()
        for event in turn.story:
            if isinstance(event, Message):
                self._curves.remember(self.engine, event)
        if self._first_words:
            turn.story.extend(self._first_words)
            self._first_words = []
        written = self._write(turn)
        if written:
            self._door.answer(arrived, self._cuts)
        if not (written or self._failed):
            self._fail()
        if self._failed:  # also of the turn that is written again: memory still sends
            self._rows.take_from_memory(turn)
        if self._failed and written:
            self._heal()
        if not turn.empty:
            self._tell(turn)
        return written

    def _write(self, turn: Turn) -> bool:
        """Whether everything is on the disk. A turn without news is written once a minute."""
        if turn.empty and not self._journal_writer.failing and turn.now - self._written < MINUTE:
            return True
        checkpoint = None
        due = self._checkpointed + (2 * HOUR if turn.story else HOUR)  # who is rung goes first
        if turn.now >= due and not self._journal_writer.failing:
            checkpoint = freeze(self.engine)
        written = self._journal_writer.write(turn, checkpoint, begun(turn, self.engine))
        self._turned = time.monotonic()
        if written:
            self._written = turn.now
            self._checkpointed = turn.now if checkpoint is not None else self._checkpointed
        return written

    def _tell(self, turn: Turn) -> None:
        for event in turn.story:
            if isinstance(event, Step):
                self._publisher.tell(event)
                log.info("%s %s: %s", event.alarm, event.step, event.text)
            else:
                log.info("%s to %s: %s", event.step, event.person, event.title)
        if any(isinstance(event, Message) for event in turn.story):
            self._courier.nudge()
        self._publisher.tell_entries(turn.facts)
        if turn.story:
            self._on_turn(turn)

    # While the journal fails.

    def _fail(self) -> None:
        self._failed, self._failed_at = True, self.clock()
        log.error(
            "the journal cannot be written, judging on without: %s", self._journal_writer.failing
        )
        self._door.pause_kept_session()
        self._rows.fail()
        self._health.fails("journal", True, self._journal_writer.failing)
        self._supervisor.status("watching, but the journal cannot be written")

    def _heal(self) -> None:
        try:
            self._rows.heal(self._new_outbox())
        except JournalError as error:
            log.error("the outbox cannot be written yet: %s", error)
            return
        self._failed = False
        log.warning("the journal is written again; nothing that was answered is lost")
        self._health.fails("journal", False)
        self._wire.back(self._failed_at, self.clock())
        self._door.resume_kept_session()
        self._supervisor.status("watching")

    def _new_outbox(self) -> Outbox | None:
        """The outbox of a new journal, which is told at once what the old one knew."""
        if not self._journal_writer.renewed:
            return None
        outbox = Outbox(self._journal_writer.journal.path)
        if self._forwarders is not None:
            self._forwarders.renew()
        self._journal_writer.renewed, self._checkpointed = False, float("-inf")
        self._local.add(HouseChanged(self.clock(), to_document(self.settings.house)))
        self._local.add(*self._wall_clock.renewed())
        return outbox

    # The end.

    def _end(self) -> None:
        """Everything decided is written, what was answered is sent, nobody is left half told."""
        log.info("stopping")
        self._pages_process.stop()
        self._supervisor.stopping()
        if self._ping is not None:
            self._ping.stop()
        if self._forwarders is not None:
            self._forwarders.stop(FORWARDER_STOPS_WITHIN)
        self._courier.stop(COURIER_STOPS_WITHIN)
        for fact in self._local.until(float("inf")):
            feed(self.engine, fact)
        run_to(self.engine, self.engine.now)  # what falls due with the last is told by this watch
        turn = self.engine.drain()
        if not self._journal_writer.write(turn, freeze(self.engine), begun(turn, self.engine)):
            self._journal_writer.try_again()
        if self._journal_writer.failing:
            log.error("the last turns are not in the journal: %s", self._journal_writer.failing)
        self._door.stop(DOOR_STOPS_WITHIN)
        self._rows.close()
        self._journal_writer.close()
