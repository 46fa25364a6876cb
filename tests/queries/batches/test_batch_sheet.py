"""The sheet of a batch, as the journal tells it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from kuraban.core import entries as e
from kuraban.core.facts import Logged
from kuraban.core.units import DAY, HOUR
from kuraban.core.views.batch_sheet import BatchSheet, SheetDay
from kuraban.queries.batches.batch_sheet import Batches
from tests.edges.web.served import Served
from tests.long_batch import END, NAME, PLACE, SOE, lived_batch, on_day


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """The batch of 33 days, pressed."""
    lived = lived_batch(tmp_path_factory.mktemp("whole"))
    yield lived
    lived.close()


@pytest.fixture(scope="module")
def half(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """The same batch on the morning of day 18."""
    lived = lived_batch(tmp_path_factory.mktemp("half"), on_day(18, 3))
    yield lived
    lived.close()


def asked(served: Served) -> Batches:
    return Batches(served.settings.house, served.path)


def sheet_of(served: Served) -> BatchSheet:
    found = asked(served).sheet(PLACE, int(SOE))
    assert found is not None
    return found


def day_of(sheet: BatchSheet, number: int) -> SheetDay:
    (found,) = [day for day in sheet.days if day.day == number]
    return found


def test_a_batch_is_listed_while_it_runs_and_after(whole: Served, half: Served) -> None:
    """With its day and stage now, or as they were at the end."""
    (running,) = asked(half).stays()
    assert (running.name, running.day, running.stage, running.end) == (NAME, 18, "moromi", None)
    (ended,) = asked(whole).stays()
    assert (ended.end, ended.day, ended.rice_kg) == (END, 34, 1500.0)


def test_every_brewery_day_has_one_row(whole: Served) -> None:
    """From the day of soe, three before tome, to the day of pressing; there is no day 0."""
    numbers = [day.day for day in sheet_of(whole).days]
    assert numbers == [-3, -2, -1, *range(1, 35)]


def test_a_row_has_aim_morning_evening_and_room(whole: Served) -> None:
    """The aim is the plan of the morning; the mash of this story keeps within 0.3 of it."""
    day = day_of(sheet_of(whole), 12)
    assert day.aim is not None and day.morning is not None and day.evening is not None
    assert day.morning == pytest.approx(day.aim, abs=0.3)
    assert day.room is not None and 5 <= day.room <= 7


def test_the_valve_was_open_for_six_hours_a_day(whole: Served) -> None:
    """One hour in four, in this story."""
    assert day_of(sheet_of(whole), 12).cooled == pytest.approx(6.0, abs=0.3)


def test_samples_stand_on_their_day_with_bmd(whole: Served) -> None:
    """BMD is the moromi day times Baume (Nada Sake Research Group glossary, "BMD curve")."""
    sheet = sheet_of(whole)
    day = day_of(sheet, 10)
    assert (day.baume, day.acidity, day.amino) == (5.3, 1.6, 1.1)
    assert day.bmd == pytest.approx(53.0)
    assert day_of(sheet, 11).bmd is None


def test_the_face_of_the_mash_and_the_work_stand_on_their_day(whole: Served) -> None:
    sheet = sheet_of(whole)
    assert day_of(sheet, 5).face == ("high foam", "cracks")
    assert [type(one.entry) for one in day_of(sheet, 20).work] == [e.Note]
    assert [type(one.entry) for one in day_of(sheet, 1).work] == [e.StageMark, e.Addition]


def test_the_day_of_baume_zero_is_told_with_its_range(half: Served, tmp_path: Path) -> None:
    """Not before BMD has clearly turned, and within the days that a mash may live."""
    assert sheet_of(half).zero is None
    later = lived_batch(tmp_path, on_day(22, 3))
    zero = sheet_of(later).zero
    later.close()
    assert zero is not None
    assert zero.earliest < zero.likely < zero.latest
    assert zero.earliest < 31 < zero.latest, "as that batch went on"


def test_just_turned_bmd_forecasts_nothing(tmp_path: Path) -> None:
    """From days 12 and 14 of this batch the line would reach day 137."""
    lived = lived_batch(tmp_path, on_day(14, 3))
    assert sheet_of(lived).zero is None
    lived.close()


def test_the_first_plan_stays_beside_the_one_in_force(whole: Served) -> None:
    """The brewer drew it down by 0.9 on day 7."""
    plan = sheet_of(whole).plan
    assert plan.first
    assert plan.at(on_day(12, 0)) == pytest.approx(9.4, abs=0.01)


def test_a_corrected_sample_counts_as_corrected(half: Served, tmp_path: Path) -> None:
    """And one that was taken back is gone from the sheet."""
    own = half.twin(tmp_path)
    now = own.clock()
    sample = Logged("s1", PLACE, e.Sample(baume=22.0), now, now, "aki", "page")
    own.submit(sample)
    own.submit(Logged("s2", PLACE, e.Amend(of="s1", fields={"baume": 2.2}), now, now, "aki"))
    assert day_of(sheet_of(own), 18).baume == 2.2
    own.submit(Logged("s3", PLACE, e.TakeBack(of="s1"), now, now, "aki"))
    assert day_of(sheet_of(own), 18).baume == 2.6
    own.close()


def test_a_batch_that_moved_keeps_its_earlier_days(half: Served, tmp_path: Path) -> None:
    """Its sheet in the new tank begins with soe in the old one, samples included."""
    own = half.twin(tmp_path)
    now = own.clock()
    own.submit(Logged("m1", PLACE, e.Move(to="tank-4"), now, now, "aki", "page"))
    own.pass_time(2 * DAY)
    found = asked(own).sheet("tank-4", int(now))
    assert found is not None and found.stay.came_from == PLACE
    assert day_of(found, 10).baume == 5.3 and day_of(found, 10).place == PLACE
    assert day_of(found, 19).place == "tank-4"
    own.close()


def test_a_place_or_a_time_without_batch_has_no_sheet(whole: Served) -> None:
    assert asked(whole).sheet("tank-4", int(SOE)) is None
    assert asked(whole).sheet(PLACE, int(SOE) + 1) is None


def test_a_sample_is_weighed_against_those_before_it(half: Served) -> None:
    """Baume 2.6 this morning and 0.5 now: asked about; 2.4 is not."""
    now = half.clock()

    def questions(baume: float) -> list[str]:
        told = Logged("q", PLACE, e.Sample(baume=baume), now + HOUR, now + HOUR, "aki")
        return [one.key for one in asked(half).sample(told)]

    assert questions(0.5) == ["moved"]
    assert questions(2.4) == []


def test_the_coming_mornings_have_their_plan(half: Served) -> None:
    """At the turn of each brewery day, and drawn anew where points are given."""
    ahead = asked(half).ahead(PLACE, 5, ())
    assert ahead is not None and ahead.drawn is None
    assert [day.day for day in ahead.days] == [19, 20, 21, 22, 23]
    point = (ahead.days[1].at, 7.0)
    anew = asked(half).ahead(PLACE, 5, (point,))
    assert anew is not None and anew.drawn is not None
    assert anew.drawn.at(point[0]) == pytest.approx(7.0)
    assert ahead.days[1].planned != pytest.approx(7.0)


def test_an_ended_batch_has_no_days_ahead(whole: Served) -> None:
    assert asked(whole).ahead(PLACE, 5, ()) is None
    assert asked(whole).ahead("tank-4", 5, ()) is None
