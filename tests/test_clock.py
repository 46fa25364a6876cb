from __future__ import annotations

import time

from kuraban.clock import Clock, elapsed


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
