"""How a cooler is used to run, learned from its own record."""

from __future__ import annotations

import pytest

from kuraban.core.engine.durable_state import lay_over, pack, standing_of, unpack
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


def rested(minutes: float, *, pipe: bool = False, valve: bool | None = None) -> CoolerHabit:
    """It rests for so long and runs again."""
    habit = CoolerHabit()
    for minute in range(int(minutes) + 30):
        habit.take(Ran("chiller", 60.0 * (minute + 1), minute >= minutes, 4.0, valve, pipe))
    return habit


def test_a_rest_is_as_long_as_it_lasted() -> None:
    habit = rested(40)
    assert habit.rests == [2400.0] and habit.longest_rest == 2400.0
    assert habit.starts == [4.0] and habit.start == 5.5
    assert CoolerHabit().longest_rest is None and CoolerHabit().start is None


@pytest.mark.parametrize(("minutes", "learned"), [(15, True), (16, False)])
def test_a_quarter_of_an_hour_without_a_word_is_no_gap_and_more_is_one(
    minutes: float, learned: bool
) -> None:
    habit = CoolerHabit()
    habit.take(Ran("chiller", 0.0, False, 3.0, None, False))
    habit.take(Ran("chiller", 60.0 * minutes, True, 3.0, None, False))
    assert bool(habit.rests) is learned


def test_a_turn_is_half_a_degree_back() -> None:
    for back, turned in ((0.4, []), (0.5, [5.0])):
        habit = CoolerHabit()
        for minute, kept in enumerate((4.0, 5.0, 5.0 - back)):
            habit.take(Ran("chiller", 60.0 * minute, True, kept, None, False))
        assert habit.tops == turned
    habit = CoolerHabit()
    for minute, kept in enumerate((4.0, 5.0, 4.0, 3.0, 3.4, 3.0, 3.5, 4.5, 4.0)):
        habit.take(Ran("chiller", 60.0 * minute, True, kept, None, False))
    assert habit.tops == [5.0, 4.5], "up by less than half a degree is no way up"


def test_a_habit_is_proven_when_it_turned_or_started_twice() -> None:
    assert not CoolerHabit(tops=[4.0]).proven
    assert CoolerHabit(tops=[4.0], starts=[4.0]).proven
    assert CoolerHabit(starts=[4.0, 4.0]).proven


def test_it_goes_as_far_as_it_turned_or_started() -> None:
    assert CoolerHabit(tops=[4.0], starts=[4.0, 4.2]).reach == 5.5
    assert CoolerHabit(starts=[4.0, 4.2]).reach == 4.7
    assert CoolerHabit().reach is None


def test_one_turn_in_six_is_left_out_and_one_in_five_counts() -> None:
    assert usual([9.0, 4.0, 4.0, 4.0, 4.0]) == 9.5
    assert usual([9.0, 4.0, 4.0, 4.0, 4.0, 4.1]) == 4.6
    assert usual([9.0, 8.0] + [4.0] * 10) == 4.5
    assert usual([4.0]) == 5.5


def test_an_open_valve_shows_the_water_itself_after_ten_minutes() -> None:
    habit = CoolerHabit()
    habit.take(Ran("chiller", 0.0, False, 4.0, True, True))
    assert not habit.flows(599.0, True) and habit.flows(600.0, True)
    assert habit.flows(0.0, None) and not CoolerHabit().flows(600.0, False)
    habit.take(Ran("chiller", 660.0, False, 4.0, False, True))
    assert not habit.flows(3600.0, False)


def calls(answered: int, left: int, late: float = 1.0) -> CoolerHabit:
    """So many openings of a valve after which it ran so many minutes later, or did not."""
    habit, minute = CoolerHabit(), 0
    for number in range(answered + left):
        for step in range(30):
            opened = step >= 10
            runs = opened and step >= 10 + late and number < answered
            habit.take(Ran("chiller", 60.0 * minute, runs, None, opened, False))
            minute += 1
    return habit


def test_it_follows_the_valves_when_it_answered_three_calls_and_left_one_in_ten_at_most() -> None:
    assert not calls(2, 0).follows_valves and calls(3, 0).follows_valves
    assert calls(10, 1).follows_valves and not calls(9, 1).follows_valves
    assert (calls(3, 2).answered, calls(3, 2).unanswered) == (3, 2)


def test_four_minutes_after_the_valve_is_at_once_and_six_are_not() -> None:
    assert calls(3, 0, late=4.0).follows_valves
    assert not calls(3, 0, late=6.0).follows_valves


def test_it_never_rested_when_it_ran_through_an_hour_of_open_valves() -> None:
    for minutes, never in ((60, True), (59, False)):
        habit = CoolerHabit()
        for minute in range(minutes + 1):
            habit.take(Ran("chiller", 60.0 * minute, True, 4.0, True, False))
        assert habit.never_rested is never
    assert not rested(90, valve=True).never_rested


def test_a_rest_of_ten_minutes_under_an_open_valve_is_a_pause() -> None:
    assert not rested(10, valve=True).rested_called
    assert rested(11, valve=True).rested_called
    assert not rested(60, valve=False).rested_called


def test_what_it_learned_last_counts_and_twelve_of_it() -> None:
    habits = Habits()
    for minute in range(20 * 30):
        runs = minute % 30 >= 10 + minute // 30 % 20
        habits.take(Ran("chiller", 60.0 * minute, runs, 4.0, None, False))
    assert len(habits.known["chiller"].rests) == 12


def test_who_cannot_tell_whether_it_runs_learns_its_turns_alone() -> None:
    habit = CoolerHabit()
    for minute, kept in enumerate((4.0, 5.0, 4.0)):
        habit.take(Ran("chiller", 60.0 * minute, None, kept, None, False))
    assert habit.tops == [5.0] and not habit.starts and not habit.rests


@pytest.mark.parametrize(
    ("kept", "tops"),
    [
        ((5.0, 4.0, 4.4, 3.5), [5.0]),
        ((5.0, 4.0, 4.5, 4.6, 4.2, 4.1), [5.0, 4.6]),
        ((4.0, 5.0, None, 4.9, 4.0), []),
    ],
)
def test_half_a_degree_is_a_turn(kept: tuple[float | None, ...], tops: list[float]) -> None:
    """And what was not seen begins anew, as if it fell."""
    habit = CoolerHabit()
    for value in kept:
        habit._turns(value)
    assert habit.tops == tops
