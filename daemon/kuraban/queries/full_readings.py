"""Readings in full out of the folder of the long history, where the journal has summaries."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from kuraban.core.site import House
from kuraban.core.timescale import moment_of, wall_of
from kuraban.store.history import History

SHORT = 0.001
"""Seconds after the last reading of the folder."""


class FullReadings:
    """Asked as `History.readings` is, and the same where there is no folder; `served` are the
    probes whose values the folder had."""

    def __init__(self, history: History, folder: Path | None, house: House) -> None:
        self._history, self._folder, self._zone = history, folder, house.zone
        self.served: set[str] = set()

    def __call__(self, probe: str, start: float, end: float) -> Iterator[tuple[float, float]]:
        found = self._found(probe, start, end)
        if not found:
            yield from self._history.readings(probe, start, end)
            return
        self.served.add(probe)
        yield from self._history.readings(probe, start, found[0][0])
        yield from found
        yield from self._history.readings(probe, found[-1][0] + SHORT, end)

    def _found(self, probe: str, start: float, end: float) -> list[tuple[float, float]]:
        if self._folder is None or not self._history.shortened([probe], start, end):
            return []
        from kuraban.edges.history.folder_reader import readings

        span = wall_of(start, self._zone), wall_of(end, self._zone)
        told = readings(self._folder, probe, *span)
        return [(moment_of(at, self._zone), value) for at, value in told]
