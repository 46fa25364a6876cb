"""A lamp, a buzzer and a relay, on the pins that gpiozero itself makes for tests."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from gpiozero import Device
from gpiozero.pins.mock import MockFactory

from kuraban.core.views.wall import Shown
from kuraban.edges.gpio import Pins
from kuraban.errors import ConfigurationError
from tests.nights import wait

LAMP, BUZZER, RELAY = 17, 27, 22


@pytest.fixture
def board(monkeypatch: pytest.MonkeyPatch) -> Iterator[MockFactory]:
    monkeypatch.setattr(Device, "pin_factory", made := MockFactory())
    yield made
    made.reset()


def states(board: MockFactory) -> tuple[bool, ...]:
    return tuple(bool(board.pin(number).state) for number in (LAMP, BUZZER, RELAY))


def test_the_relay_is_held_while_the_watch_is_heard_and_falls_with_it(board: MockFactory) -> None:
    """Also when this program ends."""
    pins = Pins(LAMP, BUZZER, RELAY)
    assert states(board) == (False, False, False)
    pins.show(Shown("steady", alive=True))
    assert states(board) == (True, False, True)
    pins.show(Shown("off", alive=True))
    assert states(board) == (False, False, True)
    pins.close()
    assert board.pin(RELAY).function == "input"


def test_lamp_and_buzzer_go_together_while_somebody_is_called(board: MockFactory) -> None:
    pins = Pins(LAMP, BUZZER, RELAY)
    pins.show(Shown("flash", alive=False))
    wait(lambda: states(board) == (True, True, False))
    wait(lambda: states(board) == (False, False, False))
    pins.close()


def test_a_house_may_have_a_relay_alone(board: MockFactory) -> None:
    pins = Pins(None, None, RELAY)
    pins.show(Shown("flash", alive=True))
    assert states(board)[2]
    pins.close()


def test_a_pin_that_is_none_is_told_with_what_would_be_right(board: MockFactory) -> None:
    with pytest.raises(ConfigurationError, match=r"GPIO 99 cannot be used.*GPIO number"):
        Pins(99, None, None)
