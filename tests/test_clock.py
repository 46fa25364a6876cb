"""The watch's time goes on by elapsed seconds, whatever the wall clock does."""

from __future__ import annotations

import pickle
import time
from collections.abc import Iterator

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kuraban import clock as clocks
from kuraban.clock import Clock, elapsed

START = 1_769_883_000.0


class Machine:
    """A machine whose two clocks a test turns."""

    def __init__(self) -> None:
        self.real, self.wall = 1000.0, START

    def run(self, seconds: float) -> None:
        self.real += seconds
        self.wall += seconds


@pytest.fixture
def machine(monkeypatch: pytest.MonkeyPatch) -> Iterator[Machine]:
    turned = Machine()
    monkeypatch.setattr(clocks, "elapsed", lambda: turned.real)
    monkeypatch.setattr(clocks, "wall_clock", lambda: turned.wall)
    return turned  # type: ignore[return-value]


def test_the_watch_has_the_machines_time() -> None:
    """Unless told otherwise, its clock is the machine's own."""
    clock = Clock()
    assert abs(clock() - time.time()) < 0.05
    assert abs(clock.of(elapsed() + 60.0) - (time.time() + 60.0)) < 0.05


def test_a_night_can_pass_in_minutes() -> None:
    """From its start, and as often as it is asked again, the clock runs at its speed."""
    clock = Clock(speed=600.0, start=1_769_883_000.0, began=1000.0)
    assert clock.of(1000.0) == 1_769_883_000.0
    assert clock.of(1006.0) == 1_769_883_000.0 + 3600
    assert clock.real(1_769_883_000.0 + 3600) == 1006.0


def test_elapsed_time_never_stands_still_for_long() -> None:
    before = elapsed()
    time.sleep(0.02)
    assert 0.015 < elapsed() - before < 5.0


def test_a_machine_without_a_count_of_sleep_has_the_other(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delattr(time, "CLOCK_BOOTTIME", raising=False)
    assert abs(elapsed() - time.monotonic()) < 1.0


def test_a_step_leaves_the_watchs_time_alone(machine: Machine) -> None:
    clock = Clock()
    machine.run(60.0)
    machine.wall -= 3600.0
    assert (clock(), clock.follow(), clock.ahead) == (START + 60, -3600.0, -3600.0)
    assert (clock(), clock.follow()) == (START + 60, 0.0)


def test_what_is_less_than_a_second_is_followed(machine: Machine) -> None:
    """Forward at once; back by standing still until the time has come."""
    clock = Clock()
    machine.wall += 0.9
    assert (clock.follow(), clock()) == (0.0, START + 0.9)
    machine.wall -= 0.9
    assert (clock.follow(), clock()) == (0.0, START + 0.9)
    machine.run(0.5)
    assert clock() == START + 0.9
    machine.run(1.0)
    assert clock() == pytest.approx(START + 1.5)
    assert clock.ahead == 0.0


def test_the_part_of_a_second_beside_a_step_is_followed(machine: Machine) -> None:
    """So that how far the clock is ahead is always whole seconds, which people read."""
    clock = Clock()
    machine.wall += 3600.25
    assert (clock.follow(), clock()) == (3600.0, START + 0.25)
    machine.wall -= 9000.25
    assert (clock.follow(), clock.ahead) == (-9000.0, -5400.0)


def test_a_look_that_took_too_long_says_nothing(
    machine: Machine, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A process that is held up between its two looks would see a step that was none."""
    clock = Clock()

    def slow() -> float:
        machine.run(5.0)
        return machine.wall

    monkeypatch.setattr(clocks, "wall_clock", slow)
    assert (clock.follow(), clock.ahead) == (0.0, 0.0)


def test_a_start_takes_up_where_the_journal_ends(machine: Machine) -> None:
    clock = Clock()
    assert clock.take_up(START - 600.0, 0.0) == 0.0
    assert (clock(), clock.ahead) == (START, 0.0)
    assert clock.take_up(START + 3000.0, -3600.0) == 0.0
    assert (clock(), clock.ahead) == (START + 3600, -3600.0), "a gap of ten minutes"
    assert clock.take_up(START + 0.5, 0.0) == 0.0
    assert clock() == START + 0.5, "less than a second is no step"


def test_a_start_in_the_past_goes_on_from_the_journals_end(machine: Machine) -> None:
    clock = Clock()
    last = START + 3 * 86400.5
    assert clock.take_up(last, 0.0) == -3 * 86400.0 - 2.0
    assert last <= clock() < last + 1.0
    assert clock.shown(machine.real) == pytest.approx(clock() + clock.ahead, abs=1.0)
    assert clock.follow() == 0.0


def test_time_that_was_not_known_is_caught_up(machine: Machine) -> None:
    clock = Clock()
    machine.wall += 9 * 3600.0
    clock.follow()
    clock.jump(9 * 3600.0)
    assert (clock(), clock.ahead, clock.follow()) == (machine.wall, 0.0, 0.0)


def test_the_pages_are_not_behind_the_watch(machine: Machine) -> None:
    """They have a clock of their own, which hears with each picture how late it is."""
    theirs: Clock = pickle.loads(pickle.dumps(Clock()))
    theirs.not_before(START - 5.0)
    assert theirs() == START
    theirs.not_before(START + 5.0)
    assert theirs() == START + 5.0


moves = st.lists(
    st.tuples(
        st.floats(0.0, 600.0),
        st.one_of(st.just(0.0), st.floats(-0.99, 0.99), st.floats(-3e5, 3e5)),
    ),
    max_size=40,
)


@given(moves)
def test_the_watchs_time_never_falls_and_keeps_to_elapsed_time(
    moved: list[tuple[float, float]],
) -> None:
    """Whatever somebody does to the wall clock, and the watch always knows how far it is ahead."""
    with pytest.MonkeyPatch.context() as patch:
        machine = Machine()
        patch.setattr(clocks, "elapsed", lambda: machine.real)
        patch.setattr(clocks, "wall_clock", lambda: machine.wall)
        clock, before, followed = Clock(), START, 0.0
        for seconds, by in moved:
            machine.run(seconds)
            assert clock() >= before
            machine.wall += by
            before, stepped = clock(), clock.follow()
            followed += abs(by - stepped)
            assert stepped == 0.0 or abs(by) >= 0.5
            assert clock() >= before
            assert abs(clock() - START - (machine.real - 1000.0)) <= followed + 1e-3
            assert clock.of(machine.real) + clock.ahead == pytest.approx(machine.wall, abs=1e-3)
