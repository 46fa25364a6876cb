"""A probe that gives nothing is told once, and once more when it is well: a loose plug that comes
and goes with every round would else fill the log."""

from __future__ import annotations

from collections.abc import Callable

WELL = 10
"""Values in a row after which a trouble is over."""


class Troubles:
    def __init__(self, tell: Callable[[str], None]) -> None:
        self._tell = tell
        self._left: dict[str, int] = {}

    def silent(self, probe: str, why: str) -> None:
        if probe not in self._left:
            self._tell(f"{probe}: no reading: {why}")
        self._left[probe] = WELL

    def heard(self, probe: str) -> None:
        if probe in self._left:
            self._left[probe] -= 1
            if not self._left[probe]:
                del self._left[probe]
                self._tell(f"{probe}: reads again")
