"""The lamp says what needs somebody, and a watch that is not heard is no quiet house."""

from __future__ import annotations

import pytest

from kuraban.core.views.wall import BEAT, Shown, WallLamp, lamp_of


@pytest.mark.parametrize(
    ("standing", "lamp"),
    [
        ([], "off"),
        ([(True, "log")], "off"),
        ([(True, "duty")], "steady"),
        ([(False, "wake")], "steady"),
        ([(False, "wake"), (True, "duty"), (True, "wake")], "flash"),
    ],
)
def test_it_flashes_only_for_what_wakes_and_nobody_has(
    standing: list[tuple[bool, str]], lamp: str
) -> None:
    assert lamp_of(standing) == lamp


def test_the_contact_is_closed_while_the_watch_is_heard() -> None:
    """And opens when it has been silent for too long; the lamp flashes then."""
    wall = WallLamp(3 * BEAT)
    assert wall.shown(0.0) == Shown("flash", alive=False)
    wall.hear("off", False, 10.0)
    assert wall.shown(10.0 + 3 * BEAT) == Shown("off", alive=True)
    assert wall.shown(10.1 + 3 * BEAT) == Shown("flash", alive=False)
    wall.hear("steady", False, 100.0)
    assert wall.shown(100.0) == Shown("steady", alive=True)


def test_a_word_that_the_broker_kept_is_no_beat() -> None:
    """Nor is one that nobody knows."""
    wall = WallLamp(60.0)
    wall.hear("steady", True, 0.0)
    wall.hear("on fire", False, 1.0)
    assert not wall.shown(1.0).alive


@pytest.mark.parametrize("status", ["gone", "stopped", ""])
def test_a_watch_that_is_gone_is_told_at_once(status: str) -> None:
    wall = WallLamp(60.0)
    wall.hear("off", False, 0.0)
    wall.hear_status("watching")
    assert wall.shown(1.0) == Shown("off", alive=True)
    wall.hear_status(status)
    assert wall.shown(1.0) == Shown("flash", alive=False)
