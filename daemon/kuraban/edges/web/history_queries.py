"""What lies behind a place: its product, what people did there, and the rings; from the journal.

Every question opens the journal for itself, to read alone, and closes it: nobody who looks holds
up the watch, and a journal that was set aside is not read on.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from statistics import median

from kuraban.core import entries as e
from kuraban.core.effects import Message, Step
from kuraban.core.facts import COUNTS, Fate, Logged
from kuraban.core.site import House
from kuraban.core.units import DAY, HOUR, MINUTE
from kuraban.core.views.snapshot import PlanLine
from kuraban.store.archive import WholeHistory
from kuraban.store.history import History, Shortened
from kuraban.trade.robust import theil_sen

MEASURES = ("product", "air", "supply")
STEPS = (MINUTE, 2 * MINUTE, 5 * MINUTE, 10 * MINUTE, 20 * MINUTE, 30 * MINUTE, HOUR, 2 * HOUR,
         3 * HOUR, 6 * HOUR, 12 * HOUR, DAY)  # fmt: skip
MOST_SLOPED = 60
PIECE = 4000
"""Readings of an export that are read in one look into the journal."""
WINDOW = 30 * DAY
"""Of which summaries are taken out at once."""
Spells = Iterable[tuple[float, float]]
Graded = tuple[float, float, int]
"""When, the value, and the seconds that it stands for."""


@dataclass(frozen=True, slots=True)
class Measured:
    """The median of what a place's probes read in one step from `at` on."""

    at: float
    value: float


@dataclass(frozen=True, slots=True)
class Done:
    """An entry as it counts, or as it was made where it does not, and how it stands."""

    logged: Logged
    fate: Fate | None
    """None while it lies ahead of its time."""
    reason: str = ""

    @property
    def back(self) -> bool:
        return self.fate == "taken-back"

    @property
    def counts(self) -> bool:
        return self.fate in COUNTS

    @property
    def gone(self) -> bool:
        """It does not count, and will not but by another entry."""
        return self.fate in ("taken-back", "refused", "fallen-away")


@dataclass(frozen=True, slots=True, kw_only=True)
class Since:
    """What a product did since a moment; `slope` in °C an hour, None where too little is known."""

    start: float
    lowest: float
    highest: float
    first: float
    last: float
    slope: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One line of a plain table."""

    at: float
    measured: float | None
    planned: float | None
    did: tuple[Logged, ...] = ()

    @property
    def difference(self) -> float | None:
        if self.measured is None or self.planned is None:
            return None
        return self.measured - self.planned


@dataclass(frozen=True, slots=True, kw_only=True)
class PastRing:
    """One ring from raised to over."""

    subject: str
    condition: str
    urgency: str
    at: float
    answered: tuple[float, str | None] | None = None
    over: float | None = None
    people: tuple[str, ...] = ()
    """Whom it woke."""
    verdict: str | None = None

    @property
    def alarm(self) -> str:
        return f"{self.subject}/{self.condition}"


@contextmanager
def reading(path: Path) -> Iterator[History]:
    """The journal with the past beside it, to read. JournalError where it cannot be."""
    history = WholeHistory(path)
    try:
        yield history
    finally:
        history.close()


def graded(path: Path, probe: str, start: float, end: float) -> Iterator[Graded]:
    """What is kept of a probe, in the order of times.

    A short look for each piece: whoever takes long to read holds nothing open meanwhile. While a
    journal that is being written is being read, its log can only grow.
    """
    while start < end:
        with reading(path) as history:
            piece, start = _piece(history, probe, start, end)
        yield from piece


def _piece(history: History, probe: str, start: float, end: float) -> tuple[list[Graded], float]:
    """The next readings, month by month, and from when on others may follow."""
    held: list[Graded] = []
    while start < end and len(held) < PIECE:
        last = min(start + WINDOW, end)
        rows = iter(history.graded(probe, start, last))
        held += islice(rows, PIECE - len(held))
        for one in rows:
            if one[0] > held[-1][0]:
                return held, one[0]
            held.append(one)
        start = last
    return held, start


def step_for(length: float, most: int) -> float:
    """The finest even step that cuts a length into at most so many."""
    return next((step for step in STEPS if length / step <= most), STEPS[-1])


def curve(
    history: History, house: House, place: str, start: float, end: float, step: float,
    doubts: Spells = (),
) -> list[Measured]:  # fmt: skip
    """The product of a place, or its air, in steps; a step without readings is not there, nor is
    what was told within the `doubts`."""
    for measure in MEASURES:
        held: dict[int, list[float]] = {}
        for probe in house.probes_of(place, measure):
            for at, value in history.readings(probe.id, start, end):
                if not any(first <= at <= last for first, last in doubts):
                    held.setdefault(int(at // step), []).append(value)
        if held:
            return [Measured(number * step, median(held[number])) for number in sorted(held)]
    return []


def shortened(
    history: History, house: House, subject: str, start: float, end: float
) -> tuple[Shortened, ...]:
    """Where the readings of a place's or cooler's probes are summaries by now."""
    return history.shortened([probe.id for probe in house.probes_of(subject)], start, end)


def since(points: list[Measured], start: float) -> Since | None:
    """What a curve did from a moment on."""
    values = [point for point in points if point.at >= start]
    if not values:
        return None
    told = [point.value for point in values]
    every = max(len(values) // MOST_SLOPED, 1)
    sloped = values[::every]
    slope = None
    if len(sloped) >= 5 and sloped[-1].at - sloped[0].at >= 20 * MINUTE:
        hours = [(point.at - sloped[0].at) / HOUR for point in sloped]
        slope = theil_sen(hours, [point.value for point in sloped]).slope
    return Since(
        start=start, lowest=min(told), highest=max(told), first=told[0], last=told[-1],
        slope=slope,
    )  # fmt: skip


def table(
    points: Iterable[Measured], plan: PlanLine | None, done: Iterable[Done], start: float,
    end: float, step: float,
) -> list[Row]:  # fmt: skip
    """Even rows from the newest to the oldest."""
    held: dict[int, list[float]] = {}
    for point in points:
        held.setdefault(int(point.at // step), []).append(point.value)
    did: dict[int, list[Logged]] = {}
    for one in done:
        if one.counts:
            did.setdefault(int(one.logged.at // step), []).append(one.logged)
    rows = []
    for number in range(int(end // step), int(start // step) - 1, -1):
        values, at = held.get(number), number * step
        rows.append(
            Row(
                at=at,
                measured=median(values) if values else None,
                planned=None if plan is None else plan.at(at + step / 2),
                did=tuple(did.get(number, ())),
            )
        )
    return rows


def done(history: History, subject: str, start: float, end: float) -> list[Done]:
    """Entries about a subject but for corrections, oldest first, with what became of each."""
    return [
        Done(told.as_it_counts, None)
        if told.outcome is None
        else Done(told.as_it_counts, told.outcome.fate, told.outcome.reason)
        for told in history.told(subject, start, end)
        if not isinstance(told.logged.entry, (e.TakeBack, e.Amend))
    ]


def rings(history: History, start: float, end: float) -> list[PastRing]:
    """Rings that began in a span, newest first, with whom they woke and how they ended."""
    found: list[PastRing] = []
    open_: dict[str, int] = {}
    for step in history.steps(start, end):
        if step.step in ("raised", "realarmed", "released", "unshelved"):
            if step.alarm not in open_:
                open_[step.alarm] = len(found)
                found.append(_begun(step))
        elif step.alarm in open_:
            found[open_[step.alarm]] = _after(found[open_[step.alarm]], step)
            if step.step == "normal":
                del open_[step.alarm]
    woken = _woken(history.messages(start, end))
    verdicts = _verdicts(history, start, end)
    return [
        _with(ring, tuple(woken(ring)), verdicts.get(ring.alarm, ())) for ring in reversed(found)
    ]


def _begun(step: Step) -> PastRing:
    return PastRing(
        subject=step.subject, condition=step.condition, urgency=step.urgency, at=step.at
    )  # fmt: skip


def _after(ring: PastRing, step: Step) -> PastRing:
    answered, over = ring.answered, ring.over
    if step.step == "acknowledged" and answered is None:
        answered = step.at, step.by
    if step.step in ("returned", "normal") and over is None:
        over = step.at
    return PastRing(
        subject=ring.subject, condition=ring.condition, urgency=ring.urgency, at=ring.at,
        answered=answered, over=over,
    )  # fmt: skip


def _woken(messages: Iterable[Message]) -> Callable[[PastRing], Iterable[str]]:
    pages = [m for m in messages if m.step == "page"]

    def of(ring: PastRing) -> Iterable[str]:
        until = ring.over if ring.over is not None else float("inf")
        return dict.fromkeys(
            m.person for m in pages if ring.alarm in m.alarms and ring.at <= m.at <= until
        )

    return of


def _verdicts(history: History, start: float, end: float) -> dict[str, tuple[Logged, ...]]:
    found: dict[str, tuple[Logged, ...]] = {}
    for logged in history.counting(None, start, end):
        if isinstance(logged.entry, e.Verdict):
            held = found.get(logged.entry.alarm, ())
            found[logged.entry.alarm] = (*held, logged)
    return found


def _with(ring: PastRing, people: tuple[str, ...], verdicts: tuple[Logged, ...]) -> PastRing:
    """The verdict is the first that was given after the ring and names its moment, if any does."""
    verdict = next(
        (v.entry.was for v in verdicts if isinstance(v.entry, e.Verdict) and v.at >= ring.at), None
    )
    return PastRing(
        subject=ring.subject, condition=ring.condition, urgency=ring.urgency, at=ring.at,
        answered=ring.answered, over=ring.over, people=people, verdict=verdict,
    )  # fmt: skip
