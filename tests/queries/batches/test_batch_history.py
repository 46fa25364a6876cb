"""Which batch stood where."""

from __future__ import annotations

from pathlib import Path

import pytest

from kuraban.core import entries as e
from kuraban.core.engine.engine import Engine
from kuraban.core.facts import HouseChanged, Logged
from kuraban.core.site import House, to_document
from kuraban.core.units import DAY, HOUR, parse_time
from kuraban.queries.batches.batch_history import BatchHistory
from kuraban.settings.catalogues import load_words
from kuraban.store.history import History
from kuraban.store.journal import Journal
from tests.journals import without_coolers

T0 = parse_time("2026-01-10T09:30:00+09:00")
START = e.BatchStart(batch="No. 1", course="moromi-slow-33")


class Diary:
    """A journal that is written entry by entry, and the annals that follow it."""

    def __init__(self, path: Path, engine: Engine | None = None) -> None:
        self.path = path
        self.house = self.its_house()
        self.engine = engine or Engine(load_words())
        if engine is None:
            self.engine.take(HouseChanged(T0 - DAY, to_document(self.house)))
        self.journal = Journal.open(path)
        self.batch_history = BatchHistory(self.house)
        self.count = 0

    def its_house(self) -> House:
        return without_coolers()

    def tell(
        self, place: str, entry: e.Entry, at: float, by: str | None = "aki", late: float = 0.0
    ) -> str:
        self.count += 1
        told = Logged(f"d{self.count}", place, entry, T0 + at, T0 + at + late, by, "page")
        self.engine.wake(told.received)
        self.engine.take(told)
        self.journal.commit(self.engine.drain())
        return told.id

    def stays(self, place: str) -> list[tuple[str, float, float | None]]:
        """Name, hours until its start and its end, as they stand after catching up."""
        history = History(self.path)
        self.batch_history.catch_up(history)
        history.close()
        return [
            (stay.batch.name, (stay.start - T0) / HOUR,
             None if stay.end is None else (stay.end - T0) / HOUR)
            for stay in self.batch_history.stays.get(place, [])
        ]  # fmt: skip


@pytest.fixture
def diary(tmp_path: Path) -> Diary:
    return Diary(tmp_path / "journal")


def test_a_batch_runs_from_its_start_to_its_end(diary: Diary) -> None:
    diary.tell("tank-1", START, 0)
    assert diary.stays("tank-1") == [("No. 1", 0, None)]
    diary.tell("tank-1", e.BatchEnd(), 20 * DAY)
    assert diary.stays("tank-1") == [("No. 1", 0, 480)]
    assert diary.stays("tank-2") == []


def test_one_tank_has_one_batch_after_the_other(diary: Diary) -> None:
    diary.tell("tank-1", START, 0)
    diary.tell("tank-1", e.BatchEnd(), 2 * DAY)
    diary.tell("tank-1", e.BatchStart(batch="No. 2", course="moromi-slow-33"), 3 * DAY)
    assert diary.stays("tank-1") == [("No. 1", 0, 48), ("No. 2", 72, None)]


def test_what_was_taken_back_was_never_so(diary: Diary) -> None:
    """A start that was a slip, and an end that was one."""
    slip = diary.tell("tank-2", START, 0)
    assert len(diary.stays("tank-2")) == 1
    diary.tell("tank-2", e.TakeBack(of=slip), HOUR)
    assert diary.stays("tank-2") == []
    diary.tell("tank-1", START, 0)
    ended = diary.tell("tank-1", e.BatchEnd(), 2 * DAY)
    assert diary.stays("tank-1")[0][2] == 48
    diary.tell("tank-1", e.TakeBack(of=ended), 2 * DAY + HOUR)
    assert diary.stays("tank-1") == [("No. 1", 0, None)]


def test_an_end_told_late_counts_from_its_own_hour(diary: Diary) -> None:
    diary.tell("tank-1", START, 0)
    diary.tell("tank-1", e.StageMark(stage="naka"), 3 * DAY)
    diary.tell("tank-1", e.BatchEnd(), 2 * DAY, late=2 * DAY)
    assert diary.stays("tank-1") == [("No. 1", 0, 48)]


def test_an_end_that_waits_for_a_second_person_has_ended_nothing(diary: Diary) -> None:
    """Ken is no brewer: until somebody confirms, the batch runs on."""
    diary.tell("tank-1", START, 0)
    held = diary.tell("tank-1", e.BatchEnd(), 2 * DAY, by="ken")
    assert diary.stays("tank-1") == [("No. 1", 0, None)]
    diary.tell("tank-1", e.Confirm(of=held), 2 * DAY + HOUR)
    assert diary.stays("tank-1") == [("No. 1", 0, 48)]


def test_mash_that_moves_is_the_same_batch_elsewhere(diary: Diary) -> None:
    """The stay knows from where it came and whereto it went; the batch began where it began."""
    diary.tell("tank-1", START, 0)
    diary.tell("tank-1", e.Move(to="tank-2"), 5 * DAY)
    assert diary.stays("tank-1") == [("No. 1", 0, 120)]
    assert diary.stays("tank-2") == [("No. 1", 120, None)]
    left, came = diary.batch_history.stays["tank-1"][0], diary.batch_history.stays["tank-2"][0]
    assert left.to == "tank-2"
    assert came.before is not None and came.before.place == "tank-1"
    assert came.batch.since == T0


def test_mash_of_which_a_part_stays_goes_on_there_from_then(diary: Diary) -> None:
    """The stay before ended at the split, and not when its course's clock would have ended it."""
    diary.tell("tank-1", START, 0)
    diary.tell("tank-1", e.Split(to=("tank-1", "tank-2")), 5 * DAY)
    assert diary.stays("tank-1") == [("No. 1", 0, 120), ("No. 1", 120, None)]
    assert diary.stays("tank-2") == [("No. 1", 120, None)]


def test_a_start_that_the_watch_refused_is_no_batch(diary: Diary) -> None:
    """There runs one already."""
    diary.tell("tank-1", START, 0)
    diary.tell("tank-1", e.BatchStart(batch="No. 2", course="moromi-slow-33"), HOUR)
    assert diary.stays("tank-1") == [("No. 1", 0, None)]


def test_a_journal_that_was_set_aside_is_read_from_its_beginning(
    diary: Diary, tmp_path: Path
) -> None:
    diary.tell("tank-1", START, 0)
    diary.tell("tank-2", START, HOUR)
    assert diary.stays("tank-2")
    other = Diary(tmp_path / "anew")
    other.batch_history = diary.batch_history
    other.tell("tank-4", START, 0)
    assert other.stays("tank-4") == [("No. 1", 0, None)]
    assert other.stays("tank-2") == []


def test_the_house_marks_its_best_and_takes_the_mark_back(diary: Diary) -> None:
    """By name, the last of it; by when it began, an earlier one. A name that ran elsewhere is
    none."""
    for at in (0.0, 40 * DAY):
        diary.tell("tank-3", START, at)
        diary.tell("tank-3", e.BatchEnd(), at + 33 * DAY)
    diary.stays("tank-3")
    first, second = diary.batch_history.stays["tank-3"]
    mark = diary.tell("tank-3", e.Best(batch="No. 1"), 80 * DAY)
    diary.tell("tank-4", e.Best(batch="No. 1"), 80 * DAY)
    diary.stays("tank-3")
    first, second = diary.batch_history.stays["tank-3"]
    assert diary.batch_history.is_best(second) and not diary.batch_history.is_best(first)
    diary.tell("tank-3", e.TakeBack(of=mark), 81 * DAY)
    diary.tell("tank-3", e.Best(batch="No. 1", since=e.Moment(first.start)), 82 * DAY)
    diary.stays("tank-3")
    first, second = diary.batch_history.stays["tank-3"]
    assert diary.batch_history.is_best(first) and not diary.batch_history.is_best(second)
