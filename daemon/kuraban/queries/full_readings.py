"""Readings in full out of the long history, where the journal has summaries."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence

from kuraban.core.site import House
from kuraban.core.timescale import moment_of, wall_of
from kuraban.core.units import DAY
from kuraban.errors import KurabanError
from kuraban.store.history import History

Told = Iterable[tuple[float, float]]
Source = Callable[[str, float, float], Told]
"""(time, value) of a probe in a span in any order, by the wall clock; KurabanError with why not."""
AT_ONCE = 28 * DAY
"""Seconds that are asked for at a time."""


class FullReadings:
    """Asked as `History.readings` is; each source is asked for what those before it lack.

    The least, the greatest and the last of a minute or ten are readings themselves, so a source
    that has not one of them lacks something there. `short` are the probes of which none had
    everything, with the last moment of which that is so; `troubles` what sources said that could
    not be asked; they are none of `sources` any more.
    """

    def __init__(self, history: History, sources: Sequence[Source], house: House) -> None:
        self._history, self._zone = history, house.zone
        self.sources = [*sources]
        self.short: dict[str, float] = {}
        self.troubles: list[str] = []

    def __call__(self, probe: str, start: float, end: float) -> Iterator[tuple[float, float]]:
        while start < end:
            until = min(start + AT_ONCE, end)
            yield from self._span(probe, start, until)
            start = until

    def _span(self, probe: str, start: float, end: float) -> Iterator[tuple[float, float]]:
        told = list(self._history.graded(probe, start, end))
        had: dict[int, tuple[float, float]] = {}
        lacking = [(at, value, grain) for at, value, grain in told if grain]
        for source in [*self.sources]:
            if lacking:
                slot = max(grain for _, _, grain in lacking)
                span = max(start, lacking[0][0] - slot), min(end, lacking[-1][0] + slot)
                for at, value in self._asked(source, probe, *span):
                    if start <= at < end:
                        had.setdefault(_mark(at), (at, value))
                lacking = [one for one in lacking if not _within(one[0], had)]
        if lacking:
            self.short[probe] = max(lacking[-1][0], self.short.get(probe, 0.0))
        left = [(at, value) for at, value, grain in told if not grain and _mark(at) not in had]
        yield from sorted([*had.values(), *left, *((at, value) for at, value, _ in lacking)])

    def _asked(self, source: Source, probe: str, start: float, end: float) -> Told:
        try:
            found = source(probe, wall_of(start, self._zone), wall_of(end, self._zone))
            return [(moment_of(at, self._zone), value) for at, value in found]
        except KurabanError as error:
            self.troubles.append(str(error).partition("\n")[0])
            self.sources.remove(source)
            return []


def _mark(at: float) -> int:
    """Its whole milliseconds: more is not kept of a time everywhere."""
    return round(at * 1e6) // 1000


def _within(at: float, had: dict[int, tuple[float, float]]) -> bool:
    """Whether a summary's value is there, whose time was rounded to a millisecond."""
    mark = round(at * 1000)
    return mark in had or mark - 1 in had
