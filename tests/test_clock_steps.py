"""What the watch makes of its wall clock, as facts."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from kuraban import clock as clocks
from kuraban import clock_steps
from kuraban.clock import Clock
from kuraban.clock_steps import WRITTEN, WallClock
from kuraban.core.facts import ClockStepped, Fact, Impaired

START = 1_769_883_000.0
HOUR, DAY = 3600.0, 86400.0


class Machine:
    def __init__(self) -> None:
        self.real, self.wall = 1000.0, START

    def run(self, seconds: float) -> Machine:
        self.real += seconds
        self.wall += seconds
        return self

    def off(self, seconds: float, wakes_up_at: float) -> WallClock:
        """The machine is switched off for a while; its clock says this when it is on again."""
        self.real, self.wall = 5.0, wakes_up_at
        return WallClock(Clock())


@pytest.fixture
def machine(monkeypatch: pytest.MonkeyPatch) -> Iterator[Machine]:
    turned = Machine()
    monkeypatch.setattr(clocks, "elapsed", lambda: turned.real)
    monkeypatch.setattr(clock_steps, "elapsed", lambda: turned.real)
    monkeypatch.setattr(clocks, "wall_clock", lambda: turned.wall)
    return turned  # type: ignore[return-value]


def gap(start: float, end: float) -> list[Fact]:
    return [Impaired("watch", True, start), Impaired("watch", False, end)]


def test_a_clock_that_only_runs_is_no_news(machine: Machine) -> None:
    looked = WallClock(Clock())
    assert looked.take_up((), None) == []
    for _ in range(100):
        machine.run(1.0)
        assert looked.look() == []


def test_a_step_is_a_fact_of_the_watchs_own_time(machine: Machine) -> None:
    looked = WallClock(Clock())
    machine.run(60.0).wall -= HOUR
    assert looked.look() == [ClockStepped(START + 60, -HOUR, -HOUR, START)]
    machine.run(60.0).wall += HOUR
    assert looked.look() == [ClockStepped(START + 120, HOUR, 0.0, START)]


def test_a_machine_that_slept_has_not_watched(machine: Machine) -> None:
    """Elapsed time counts sleep, and the wall clock goes on too: nothing stepped."""
    looked = WallClock(Clock())
    machine.run(0.5)
    assert looked.look() == []
    machine.run(3 * HOUR)
    assert looked.look() == gap(START + 0.5, START + 0.5 + 3 * HOUR)
    machine.run(119.0)
    assert looked.look() == []


def test_a_restart_knows_how_the_clock_stands(machine: Machine) -> None:
    """The gap is what the wall clock says it was, by the clock of before."""
    step = ClockStepped(START - HOUR, -HOUR, -HOUR, START - DAY)
    looked = machine.off(600.0, START)
    assert looked.take_up([step], START + HOUR - 600.0) == []
    assert looked._clock() == START + HOUR
    machine.run(1.0).wall += HOUR
    assert looked.look() == [ClockStepped(START + HOUR + 1, HOUR, 0.0, START + HOUR)]


def test_a_board_that_wakes_up_in_the_past_goes_on_and_catches_up(machine: Machine) -> None:
    """Switched off for nine hours; its clock says when it was switched on for the first time."""
    last = START
    looked = machine.off(9 * HOUR, START - 3 * DAY)
    assert looked.take_up((), last) == [ClockStepped(last, -3 * DAY, -3 * DAY, last, False)]
    machine.run(60.0)
    now = machine.wall = START + 9 * HOUR + 60.0
    assert looked.look() == [
        *gap(last + 60.0, now),
        ClockStepped(now, 3 * DAY + 9 * HOUR, 0.0, now),
    ]
    machine.run(1.0)
    assert looked.look() == []


def test_it_catches_up_after_one_more_restart_too(machine: Machine) -> None:
    looked = machine.off(9 * HOUR, START - 3 * DAY)
    (first,) = looked.take_up((), START)
    assert isinstance(first, ClockStepped)
    looked = machine.run(60.0).off(10.0, machine.wall + 10.0)
    assert looked.take_up([first], START + 60.0) == []
    machine.wall = START + 10 * HOUR
    assert isinstance(looked.look()[-1], ClockStepped)
    assert looked._clock() == START + 10 * HOUR


def test_a_clock_that_is_put_right_in_two_goes_catches_up_with_the_second(machine: Machine) -> None:
    looked = machine.off(HOUR, START - 3 * DAY)
    looked.take_up((), START)
    machine.wall += 2 * DAY
    assert [type(fact) for fact in looked.look()] == [ClockStepped]
    machine.wall += DAY + HOUR
    assert [type(fact) for fact in looked.look()] == [Impaired, Impaired, ClockStepped]
    assert looked._clock() == machine.wall


def test_a_clock_that_was_put_right_is_no_more_in_doubt(machine: Machine) -> None:
    """What somebody does to it later is a step like any other."""
    looked = machine.off(60.0, START - DAY)
    looked.take_up((), START)
    machine.wall = START + 60.0
    looked.look()
    before = looked._clock()
    machine.wall += 9 * HOUR
    (step,) = looked.look()
    assert (step.received, looked._clock()) == (before, before)


def test_a_new_journal_hears_how_the_clock_stands(machine: Machine) -> None:
    looked = WallClock(Clock())
    assert looked.renewed() == []
    machine.wall += HOUR
    looked.look()
    assert looked.renewed() == [ClockStepped(START, 0.0, HOUR, START)]


def test_a_new_watch_on_a_board_that_knows_no_year_begins_at_one_that_may_be(
    machine: Machine,
) -> None:
    """Nothing in a journal is of 1970; once the clock is right the watch has its time."""
    machine.wall = 120.0
    looked = WallClock(Clock())
    (step,) = looked.take_up((), None)
    assert isinstance(step, ClockStepped)
    assert not step.watched and step.received >= WRITTEN
    machine.run(60.0)
    assert looked.look() == []
    machine.wall = START
    assert [type(fact) for fact in looked.look()] == [Impaired, Impaired, ClockStepped]
    assert (looked._clock(), looked.steps[-1].ahead) == (START, 0.0)
