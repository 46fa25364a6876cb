"""How a cooler is used to run, learned from its own record."""

from __future__ import annotations

import pytest

from kuraban.core.engine.standing import lay_over, pack, standing_of, unpack
from kuraban.core.equipment.cooler_habit import CoolerHabit, Habits, Ran, usual
from tests.core.detectors.kit import Night, noisy
from tests.core.equipment.test_cooler_view import POWER, SUPPLY, VALVE, night_of

FULL, STANDING = 1150.0, 41.0


def buffer(minute: float) -> float:
    """2 to 5 degrees and back, six hours long: four of rest, two of running."""
    turn = minute % 360
    return 2.0 + 3.0 * turn / 240 if turn < 240 else 5.0 - 3.0 * (turn - 240) / 120


def lived(until: int, *, pipe: bool = True, valve: bool | None = True) -> CoolerHabit:
    habits = Habits()
    for minute in range(until):
        runs = minute % 360 >= 240
        habits.take(Ran("chiller", 60.0 * minute, runs, buffer(minute), valve, pipe))
    return habits.known["chiller"]


def test_where_its_water_turned_and_at_what_it_started_is_its_habit() -> None:
    habit = lived(3 * 360)
    assert habit.start == pytest.approx(5.5, abs=0.1)
    assert habit.reach == pytest.approx(5.5, abs=0.1)
    assert habit.longest_rest == pytest.approx(240 * 60, abs=120)


def test_seen_once_a_habit_has_a_wider_margin() -> None:
    habit = lived(300)
    assert habit.start == pytest.approx(6.5, abs=0.1)


def test_water_that_stands_in_a_pipe_teaches_nothing() -> None:
    """All valves are shut: the pipe warms towards the room, whatever the buffer does."""
    assert lived(1080, valve=False).reach is None
    assert lived(1080, valve=False, pipe=False).reach is not None
    assert lived(1080, valve=None).reach is not None


def test_one_turn_in_six_is_an_accident() -> None:
    assert usual([4.0, 4.1, 4.2, 4.0, 4.1, 9.0]) == pytest.approx(4.7)
    assert usual([]) is None


def test_it_follows_the_valves_where_it_answered_each_at_once() -> None:
    habit = CoolerHabit()
    for minute in range(400):
        opened = minute % 60 < 30
        habit.take(Ran("chiller", 60.0 * minute, opened and minute % 60 > 0, 4.0, opened, True))
    assert habit.follows_valves
    assert not lived(1080).follows_valves


def test_after_a_gap_it_counts_no_rest_and_no_run_across_it() -> None:
    habits = Habits()
    habits.take(Ran("chiller", 0.0, False, 3.0, True, True))
    habits.take(Ran("chiller", 7200.0, True, 5.0, True, True))
    assert not habits.known["chiller"].rests


def test_what_it_learned_outlives_an_update() -> None:
    night = night_of(POWER, SUPPLY, VALVE).play(
        800, mid=noisy(10.0), valve=1, supply=buffer,
        power=lambda m: FULL if m % 360 >= 240 else STANDING,
    )  # fmt: skip
    kept = unpack(pack(standing_of(night.engine)))
    fresh = Night(night.home)
    fresh.engine.wake(night.engine.now)
    lay_over(fresh.engine, kept)
    habits = night.engine.watched.state.habits.known
    assert habits["chiller"].starts
    assert fresh.engine.watched.state.habits.known == habits


def test_what_the_house_has_no_more_is_forgotten() -> None:
    habits = Habits()
    habits.take(Ran("chiller", 0.0, False, 3.0, True, True))
    habits.keep({"other"})
    assert not habits.known
