from __future__ import annotations

import logging
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

from kuraban.core import entries as e
from kuraban.core.alarms.life_cycle import Alarm, State
from kuraban.core.effects import Turn
from kuraban.core.engine.engine import Engine
from kuraban.core.facts import HouseChanged, Logged, Reading
from kuraban.core.site import to_document
from kuraban.core.units import DAY, HOUR
from kuraban.runtime.storage.journal_writer import JournalWriter
from kuraban.runtime.storage.retention_scheduler import RetentionScheduler, held
from kuraban.settings import Keep
from kuraban.settings.catalogues import load_words
from kuraban.store.journal import Journal
from tests.journals import without_coolers

NOW = 1_770_000_000.0
OLD = NOW - 30 * DAY
HOUSE = without_coolers()


def engine(*logged: Logged) -> Engine:
    made = Engine(load_words())
    made.take(HouseChanged(OLD, to_document(HOUSE)))
    for one in logged:
        made.take(one)
    made.wake(NOW)
    return made


idle = cache(engine)
"""One in which nothing was logged; nobody may change it."""


def started(place: str, at: float) -> Logged:
    entry = e.BatchStart(batch="No. 12", course="night-ordinary", stage="moromi")
    return Logged(f"start-{place}", place, entry, at, at, by="aki")


@pytest.fixture
def journal_writer(tmp_path: Path) -> Iterator[JournalWriter]:
    journal_writer = JournalWriter(Journal.open(tmp_path / "kuraban.journal"))
    moments = [NOW - 20 * DAY + 60 * n for n in range(301)]
    assert journal_writer.write(
        Turn(now=NOW, facts=[Reading("t3-mid", at, 10.0, at) for at in moments])
    )
    yield journal_writer
    journal_writer.close()


def test_old_readings_are_made_short_step_by_step(journal_writer: JournalWriter) -> None:
    """One step, then a pause, so that the loop is never held up twice running."""
    retention, watch = RetentionScheduler(Keep(10 * DAY, 40 * DAY), ()), idle()
    assert retention.step(watch, journal_writer, NOW) > 0
    assert retention.step(watch, journal_writer, NOW) == 0


def test_what_is_younger_than_the_house_keeps_stays(journal_writer: JournalWriter) -> None:
    assert RetentionScheduler(Keep(25 * DAY, 40 * DAY), ()).step(idle(), journal_writer, NOW) == 0


def test_a_receiver_of_the_long_history_comes_first(journal_writer: JournalWriter) -> None:
    """Where it has nothing yet, everything stays."""
    scheduler = RetentionScheduler(Keep(10 * DAY, 40 * DAY), ("office",))
    assert scheduler.step(idle(), journal_writer, NOW) == 0


def test_a_clock_that_may_be_wrong_makes_nothing_old(journal_writer: JournalWriter) -> None:
    """A machine that wakes up in another year forgets nothing for it."""
    watch = engine()
    alarm = Alarm("watch", "clock-wrong")
    alarm.state = State.UNACKNOWLEDGED
    watch.alarm_manager.alarms["watch", "clock-wrong"] = alarm
    assert RetentionScheduler(Keep(10 * DAY, 40 * DAY), ()).step(watch, journal_writer, NOW) == 0


def test_a_journal_that_fails_is_left_alone(
    journal_writer: JournalWriter, caplog: pytest.LogCaptureFixture
) -> None:
    """And where a step fails, nothing but a line in the log comes of it."""
    retention = RetentionScheduler(Keep(10 * DAY, 40 * DAY), ())
    journal_writer.failing = "the disk is full"
    assert retention.step(idle(), journal_writer, NOW) == 0 and not caplog.records
    journal_writer.failing = ""
    journal_writer.journal._db.execute("DROP TABLE summary")
    with caplog.at_level(logging.ERROR, "kuraban"):
        assert retention.step(idle(), journal_writer, NOW) == 0
    assert "they stay as they are" in caplog.text
    assert len(list(journal_writer.journal.facts_after())) > 300


def test_a_running_batch_holds_the_probes_of_its_place() -> None:
    """Since its start; another tank's are nobody's."""
    found = held(engine(started("tank-3", OLD + DAY)), NOW)
    assert found == {probe.id: OLD + DAY for probe in HOUSE.probes_of("tank-3")}


def test_a_batch_that_was_moved_holds_the_tank_it_came_from() -> None:
    """Its first days were measured there."""
    move = Logged("m", "tank-3", e.Move(to="tank-4"), OLD + 5 * DAY, OLD + 5 * DAY, by="aki")
    found = held(engine(started("tank-3", OLD + DAY), move), NOW)
    probes = (*HOUSE.probes_of("tank-3"), *HOUSE.probes_of("tank-4"))
    assert found == {probe.id: OLD + DAY for probe in probes}


def test_a_batch_that_ended_holds_nothing() -> None:
    end = Logged("end", "tank-3", e.BatchEnd(), NOW - HOUR, NOW - HOUR, by="aki")
    assert held(engine(started("tank-3", OLD + DAY), end), NOW) == {}
