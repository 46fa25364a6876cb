"""From starter and koji lots to the tanks in which the sake stands, and back."""

from __future__ import annotations

import shutil
from pathlib import Path

import msgspec
import pytest

from kuraban.core import entries as e
from kuraban.core.facts import Reading
from kuraban.core.site import House
from kuraban.core.units import DAY, HOUR, MINUTE
from kuraban.core.views.batch_way import Way
from kuraban.queries.batches.batch_way import way_of
from kuraban.runtime.checkpoint.document import engine_in, freeze, read
from kuraban.settings import built_in_courses
from kuraban.store.history import History
from tests.journals import without_coolers
from tests.queries.batches.test_batch_history import T0, Diary

MINUTES_EACH = 5


def full_house() -> House:
    """The invented brewery, but its coolers, with every course that comes with the watch."""
    known = without_coolers()
    ids = {course.id for course in known.courses}
    more = tuple(course for course in built_in_courses() if course.id not in ids)
    return msgspec.structs.replace(known, courses=(*known.courses, *more))


class Season(Diary):
    def its_house(self) -> House:
        return full_house()

    def twin(self, path: Path) -> Season:
        """The same once more, in a journal of its own; this one's is closed."""
        self.journal.close()
        kept = freeze(self.engine)
        assert kept is not None
        shutil.copy(self.path, path)
        other = Season(path, engine_in(read(kept.blob), self.engine.words))
        other.count = self.count
        return other

    def read(self, probe: str, at: float, celsius: float) -> None:
        self.engine.wake(T0 + at)
        self.engine.take(Reading(probe, T0 + at, celsius, T0 + at))

    def way(self, batch: str, now: float) -> Way:
        history = History(self.path)
        self.batch_history.catch_up(history)
        found = way_of(history, self.batch_history, self.house, batch, T0 + now)
        history.close()
        return found


@pytest.fixture
def season(told: Season, tmp_path: Path) -> Season:
    """For one test alone, which may tell more."""
    return told.twin(tmp_path / "journal")


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> Season:
    """A starter and a koji lot into tank 1, pressed into tank 2 and, of another name, tank 3."""
    diary = Season(tmp_path_factory.mktemp("told") / "journal")
    diary.tell("starter-1", e.BatchStart(batch="Moto 5", course="starter-sokujo-14"), 0)
    diary.tell("koji-bed-1", e.BatchStart(batch="K 21", course="koji-tray-48"), 0)
    diary.tell("tank-1", e.BatchStart(batch="No. 1", course="moromi-ordinary-20"), 2 * DAY)
    diary.tell("tank-1", e.Addition(what="starter", litres=90, batch="Moto 5"), 2 * DAY + 60)
    diary.tell(
        "tank-1", e.Addition(what="water-koji", litres=90, kg=20, batch="K 21"), 2 * DAY + HOUR
    )
    diary.tell("tank-1", e.StageMark(stage="naka"), 4 * DAY)
    diary.tell("tank-1", e.StageMark(stage="tome"), 5 * DAY)
    diary.tell("tank-1", e.Press(to=("tank-2", "tank-3")), 24 * DAY)
    diary.tell("tank-2", e.BatchStart(batch="No. 1", course="sake-heated"), 24 * DAY + HOUR)
    diary.tell("tank-3", e.BatchStart(batch="First", course="sake-raw-cold"), 24 * DAY + HOUR)
    return diary


def test_a_way_is_walked_both_ways(season: Season) -> None:
    """From the koji lot to both tanks, and from the raw sake back to the starter."""
    for asked in ("No. 1", "K 21", "Moto 5", "First"):
        found = season.way(asked, 25 * DAY)
        joined = [(one.source, one.into, one.how, one.place) for one in found.joints]
        assert ("No. 1", "First", "pressed", "tank-3") in joined
        assert {(one.batch, one.place) for one in found.stood} >= {("First", "tank-3")}
    lot = season.way("K 21", 25 * DAY)
    assert "Moto 5" not in {one.source for one in lot.joints}  # it went beside it, not into it
    whole = season.way("No. 1", 25 * DAY)
    assert [(one.source, one.how) for one in whole.joints] == [
        ("Moto 5", "added"), ("K 21", "added"), ("No. 1", "pressed"), ("No. 1", "pressed"),
    ]  # fmt: skip
    stood = [(one.batch, one.place, one.end is None) for one in whole.stood]
    assert ("No. 1", "tank-1", False) in stood and ("No. 1", "tank-2", True) in stood


def test_an_addition_taken_back_is_no_part_of_it(season: Season) -> None:
    wrong = season.tell("tank-1", e.Addition(what="water-koji", litres=9, batch="K 9"), 3 * DAY)
    season.tell("tank-1", e.TakeBack(of=wrong), 3 * DAY + 60)
    assert "K 9" not in {one.source for one in season.way("No. 1", 25 * DAY).joints}


def test_sake_is_told_with_its_heating_and_its_warmth(season: Season) -> None:
    """To 65 °C and held an hour, then three days at 15 °C: 45 °C·days, and what the hot day gave.
    A mash has neither."""
    heat = 25 * DAY
    season.tell("tank-2", e.StageMark(stage="heat"), heat)
    for minute in range(0, 101, MINUTES_EACH):
        celsius = 15 + 50 * min(minute / 40, 1)
        season.read("t2-mid", heat + minute * MINUTE, celsius)
    season.tell("tank-2", e.StageMark(stage="cool"), heat + 101 * MINUTE)
    for hour in range(2, 75):
        season.read("t2-mid", heat + hour * HOUR, 15.0)
    season.tell("tank-2", e.Note(text="the turn that writes it"), heat + 75 * HOUR)
    sake = next(one for one in season.way("No. 1", heat + 76 * HOUR).stood if one.place == "tank-2")
    (heating,) = sake.heatings
    assert heating.least == 62 and heating.held.highest == pytest.approx(65)
    assert heating.held.minutes == pytest.approx(62, abs=3)
    assert sake.warmth is not None
    assert sake.warmth.degree_days == pytest.approx(45 + 3, abs=3)
    mash = next(one for one in season.way("No. 1", 28 * DAY).stood if one.place == "tank-1")
    assert mash.warmth is None and mash.heatings == ()


def test_a_pressing_that_leaves_some_ends_no_batch(season: Season) -> None:
    season.tell("tank-4", e.BatchStart(batch="No. 2", course="moromi-ordinary-20"), 26 * DAY)
    season.tell("tank-4", e.Press(to=("tank-5",), rest=True), 46 * DAY)
    stood = {one.place: one.end for one in season.way("No. 2", 47 * DAY).stood}
    assert stood["tank-4"] is None
    season.tell("tank-4", e.Press(to=("tank-5",)), 48 * DAY)
    stood = {one.place: one.end for one in season.way("No. 2", 49 * DAY).stood}
    assert stood["tank-4"] == T0 + 48 * DAY


def test_of_a_batch_that_never_was_nothing_is_known(season: Season) -> None:
    assert season.way("No. 99", 25 * DAY) == Way((), ())
