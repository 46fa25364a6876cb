"""One life of the watch, and what it says of itself while it lives."""

from __future__ import annotations

import logging
from collections.abc import Callable

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
