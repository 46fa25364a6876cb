"""A lamp, a buzzer and a relay on the pins of a Raspberry Pi, by gpiozero.

The relay is held while all is well. It falls when the watch is silent, and when this program ends.
"""

from __future__ import annotations

from typing import Any

from kuraban.core.views.wall import Shown
from kuraban.errors import ConfigurationError, Fault

HALF = 0.5
"""Seconds on, and as many off."""
RIGHT = "a pin of this Raspberry Pi by its GPIO number, with pip install 'kuraban[wall]'"


class Pins:
    """Each by its GPIO number, None for what is not there. All are off until `show` was called.

    Raises ConfigurationError for a pin that cannot be had, or where there are no pins at all.
    """

    def __init__(self, lamp: int | None, buzzer: int | None, relay: int | None) -> None:
        self._shown: Shown | None = None
        self._lights = [_pin("LED", number) for number in (lamp, buzzer) if number is not None]
        self._relay = None if relay is None else _pin("OutputDevice", relay)

    def show(self, shown: Shown) -> None:
        """The lamp's word; the buzzer sounds while the lamp flashes."""
        if shown == self._shown:
            return
        self._shown = shown
        if self._relay is not None:
            self._relay.value = shown.alive
        for light in self._lights:
            light.blink(HALF, HALF) if shown.lamp == "flash" else light.off()
        if shown.lamp == "steady" and self._lights:
            self._lights[0].on()

    def close(self) -> None:
        for one in (*self._lights, self._relay):
            if one is not None:
                one.close()


def _pin(kind: str, number: int) -> Any:
    try:
        import gpiozero

        return getattr(gpiozero, kind)(number)
    except Exception as error:  # of gpiozero, or of whichever library it found below
        wrong = f"GPIO {number} cannot be used ({type(error).__name__}: {error})"
        raise ConfigurationError([Fault("command line", "pins", wrong, RIGHT)]) from error
