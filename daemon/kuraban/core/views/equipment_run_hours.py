"""When a machine ran, read from what it said: its starts, its share of the time, its hours a day.

A reading counts until the next one, but no longer than its probe may be silent: beyond that nobody
knows. So hours run are a lower bound where a probe fell silent, and the share is of what is known.
A run that is shorter than the time between two readings may be missed.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import pairwise
from typing import NamedTuple

Reading = tuple[float, float]
"""Time and value."""


class Spell(NamedTuple):
    """A stretch, [start, end), in which it was known to run, or to rest."""

    start: float
    end: float
    runs: bool

    def within(self, start: float, end: float) -> float:
        """Seconds of it that lie in [start, end)."""
        return max(min(self.end, end) - max(self.start, start), 0.0)


def spells(
    readings: Iterable[Reading], least: float, silent_after: float, until: float
) -> list[Spell]:
    """What is known up to `until`, in the order of time: it ran where a value is `least` or more.

    Readings in the order of their times. A gap longer than `silent_after` seconds stays a gap.
    """
    found: list[Spell] = []
    before: tuple[float, bool] | None = None
    for at, value in readings:
        if at >= until:
            break
        if before is not None:
            _add(found, before, min(at, before[0] + silent_after))
        before = at, value >= least
    if before is not None:
        _add(found, before, min(until, before[0] + silent_after))
    return found


def _add(found: list[Spell], reading: tuple[float, bool], end: float) -> None:
    start, runs = reading
    last = found[-1] if found else None
    if last is not None and last.end == start and last.runs is runs:
        found[-1] = last._replace(end=end)
    else:
        found.append(Spell(start, end, runs))


def starts(found: Sequence[Spell], since: float) -> int:
    """How often it went from rest to running at `since` or later."""
    return sum(
        spell.runs and not before.runs and spell.start == before.end and spell.start >= since
        for before, spell in pairwise(found)
    )


def share(found: Iterable[Spell], start: float, end: float) -> float | None:
    """Share of what is known of [start, end) in which it ran; None where that is less than half."""
    ran, known = 0.0, 0.0
    for spell in found:
        seconds = spell.within(start, end)
        known += seconds
        ran += seconds if spell.runs else 0.0
    return ran / known if known >= (end - start) / 2 and known > 0 else None


def ran(found: Iterable[Spell], start: float, end: float) -> float | None:
    """Seconds in [start, end) in which it ran; None where nothing is known of that time."""
    within = [(spell.within(start, end), spell.runs) for spell in found]
    if not any(seconds for seconds, _ in within):
        return None
    return sum(seconds for seconds, runs in within if runs)
