"""What hangs on the wall: one lamp for the whole house, and a contact that falls with the watch.

The watch says its word for the lamp again and again, and that is its beat. A word that the broker
had kept may be of yesterday: it says what the lamp is to show once the beat is heard, and is none.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final, Literal, NamedTuple, get_args

Lamp = Literal["off", "steady", "flash"]
BEAT: Final = 20.0
"""Seconds after which the watch says its word for the lamp again."""


def lamp_of(standing: Iterable[tuple[bool, str]]) -> Lamp:
    """Of each alarm that stands whether nobody has it, and its urgency: flashing while one that
    wakes is in nobody's hands, steady while anything else stands that concerns somebody."""
    told = [one for one in standing if one[1] != "log"]
    if (True, "wake") in told:
        return "flash"
    return "steady" if told else "off"


class Shown(NamedTuple):
    """What the lamp does, and whether the watch's contact is closed."""

    lamp: Lamp
    alive: bool


class WallLamp:
    """What a lamp is to show by what is heard. `after` seconds without a beat the watch counts as
    silent: then the contact is open and the lamp flashes, as it does until the first beat."""

    def __init__(self, after: float) -> None:
        self._after = after
        self._lamp: Lamp = "flash"
        self._beat: float | None = None

    def hear(self, word: str, kept: bool, now: float) -> None:
        """The word for the lamp; one that is none is nothing, and no beat."""
        for known in get_args(Lamp):
            if word == known:
                self._lamp = known
                self._beat = self._beat if kept else now

    def hear_status(self, status: str) -> None:
        """How the watch, or the broker in its name, says that it stands."""
        if status != "watching":
            self._beat = None

    def shown(self, now: float) -> Shown:
        alive = self._beat is not None and now - self._beat <= self._after
        return Shown(self._lamp if alive else "flash", alive)
