"""One life of the watch, and what it says of itself while it lives."""

from __future__ import annotations

import logging
from bisect import bisect_right
from collections.abc import Callable, Sequence

from kuraban.edges.supervisor import Supervisor
from kuraban.runtime.watch import Watch
from tests.simulation.broker import Client
from tests.simulation.machine import Life


class Spell(Life):
    """One life of the watch: from when it watched, and until when it did."""

    def __init__(self, began: float) -> None:
        super().__init__()
        self.began = began
        self.watch: Watch | None = None
        self.ready: float | None = None
        self.ended: float | None = None
        self.petted: list[float] = []
        """When it told its supervisor that a turn was good."""
        self.clients: list[Client] = []


class Pets(Supervisor):
    def __init__(self, pet: Callable[[], None]) -> None:
        super().__init__(None)
        self._pet = pet

    def pet(self, status: str) -> None:
        self._pet()


class Faults(logging.Handler):
    """What the watch says of faults of its own."""

    def __init__(self, heard: Callable[[str, str], None]) -> None:
        super().__init__(logging.WARNING)
        self._heard = heard

    def emit(self, record: logging.LogRecord) -> None:
        if "fault of ours" in record.getMessage():
            error = record.exc_info[1] if record.exc_info else ""
            self._heard("fault", f"{record.getMessage()[:200]}: {error!r}")


def true_moment(marks: Sequence[tuple[float, float]], moment: float) -> float:
    """When it truly was what the watch calls that moment, by some of its moments and the true ones.

    Time that it believes to have gone by, and that did not, was when it came to believe so; time of
    which it does not know had gone by before it told anything more.
    """
    number = bisect_right(marks, (moment, 9e99))
    began, true = marks[max(number - 1, 0)]
    if moment <= began or number == len(marks):
        return true + moment - began
    then, latest = marks[number]
    return min(moment + max(true - began, latest - then), latest)
