"""What a rehearsal alters: read as it is typed, made in a house."""

from __future__ import annotations

import pytest

from kuraban.core.planned_curve import Sides, Stage
from kuraban.core.site import House
from kuraban.core.units import HOUR, MINUTE
from kuraban.errors import ConfigurationError
from kuraban.rehearse import read_changes
from kuraban.rehearse.altered_settings import changed
from tests.core.house import brewery


def with_(*texts: str) -> House:
    house = brewery()
    return changed(house, read_changes(texts, house))


def stage(house: House, course: str, name: str) -> Stage:
    return next(shape for shape in house.course[course].stages if shape.id == name)


def test_a_figure_alone_goes_for_every_stage_of_every_course() -> None:
    house = with_("delay=90m")
    stages = [shape for course in house.courses for shape in course.stages]
    assert {shape.delay for shape in stages} == {90 * MINUTE}


def test_a_course_or_one_of_its_stages_can_be_named() -> None:
    """The others stay as they are."""
    house = with_("mash.tolerance=0.6", "mash.main.tolerance=0.8")
    assert stage(house, "mash", "tome").tolerance == Sides(0.6, 0.6)
    assert stage(house, "mash", "main").tolerance == Sides(0.8, 0.8)
    assert stage(house, "koji", "hikikomi").tolerance == Sides(1.0, 1.0)


def test_a_sign_changes_what_each_stage_has() -> None:
    """A stage with a wide tolerance keeps it, a little wider; nothing falls below 0."""
    house = with_("tolerance=+0.1", "delay=-30m")
    assert stage(house, "mash", "main").tolerance == Sides(0.6, 0.6)
    assert stage(house, "koji", "hikikomi").tolerance == Sides(1.1, 1.1)
    assert stage(house, "mash", "main").delay == 30 * MINUTE
    assert stage(house, "koji", "hikikomi").delay == 0.0


def test_one_side_can_be_changed_alone() -> None:
    assert stage(with_("tolerance.below=0.9"), "mash", "main").tolerance == Sides(0.9, 0.5)


def test_notice_stays_within_tolerance_and_tolerance_within_limit() -> None:
    """What was changed holds, the others give way, as in a course file."""
    wide = stage(with_("mash.tolerance=1.5"), "mash", "main")
    assert (wide.tolerance, wide.limit) == (Sides(1.5, 1.5), Sides(1.5, 1.5))
    narrow = stage(with_("mash.limit=0.2"), "mash", "main")
    assert narrow.notice == narrow.tolerance == narrow.limit == Sides(0.2, 0.2)
    noticed = stage(with_("mash.notice=0.7"), "mash", "main")
    assert (noticed.notice, noticed.tolerance) == (Sides(0.7, 0.7), Sides(0.7, 0.7))


def test_a_banded_place_and_a_cooler_have_bands_and_delays() -> None:
    house = with_("store.band=0.5..9", "store.delay=1h", "chiller-1.delay=+5m")
    assert (house.place["store"].band, house.place["store"].delay) == ((0.5, 9.0), HOUR)
    assert house.cooler["chiller-1"].delay == 20 * MINUTE


def test_a_condition_can_be_left_out() -> None:
    """The house stays as it is."""
    house = brewery()
    (change,) = read_changes(["trending-warm=off"], house)
    assert change.leaves_out
    assert changed(house, [change]) == house


def test_an_older_house_without_that_course_is_passed_over() -> None:
    """A journal knows houses of years ago."""
    changes = read_changes(["koji.delay=20m"], brewery())
    assert changed(House(site=brewery().site), changes).courses == ()


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("tolerance", 'write KEY=VALUE such as "tolerance=0.6"'),
        ("tolerane=0.6", 'did you mean "tolerance"?'),
        ("tolerance=wide", 'write "0.6", or with + or - before it'),
        ("tolerance=nan", "a figure not below 0"),
        ("delay=90", 'write "90m", or with + or - before it'),
        ("delay.below=90m", "a time has no side"),
        ("mesh.delay=90m", 'did you mean "mash"?'),
        ("mash.mein.delay=90m", 'did you mean "main"?'),
        ("mash.main.soe.delay=90m", "names too much"),
        ("warm=on", 'write "warm=off"'),
        ("store.band=8..1", "the lower edge comes first"),
        ("store.band=8", 'write it as "1..8"'),
        ("store.tolerance=1", "there are band, delay"),
    ],
)
def test_what_cannot_be_a_change_says_what_would_be_right(text: str, told: str) -> None:
    with pytest.raises(ConfigurationError) as error:
        read_changes([text], brewery())
    (line,) = str(error.value).splitlines()
    assert line.startswith(f"command line: --with {text}: ")
    assert told in line


def test_every_fault_is_told_at_once() -> None:
    with pytest.raises(ConfigurationError) as error:
        read_changes(["delay=90", "tolerance=0.6", "warm=on"], brewery())
    assert len(error.value.faults) == 2
