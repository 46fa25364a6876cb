"""A stretch of one place's past: measured, planned, and what people did, in even steps."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from contextlib import suppress
from dataclasses import dataclass
from statistics import median
from typing import NamedTuple

from kuraban.core import entries as e
from kuraban.core.facts import Logged
from kuraban.core.plan.entry_reducer import apply
from kuraban.core.plan.subject_state import Batch, Refused, SubjectStates
from kuraban.core.texts.translator import figure
from kuraban.queries.journal_state import JournalState

STEP = 600.0
"""Seconds of a row."""
DEGREES = ("product", "air", "supply")


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One step from `at` on. `measured` is the median of what the place's probes read, °C."""

    at: float
    measured: float | None
    planned: float | None
    did: tuple[str, ...]

    @property
    def difference(self) -> float | None:
        if self.measured is None or self.planned is None:
            return None
        return self.measured - self.planned


class Spell(NamedTuple):
    """A batch in the place, from `start` to `end`."""

    start: float
    end: float
    batch: Batch


Readings = Callable[[str, float, float], Iterable[tuple[float, float]]]
"""(time, value) of a probe in a span, in the order of times."""


def rows(
    state: JournalState, place: str, start: float, end: float, step: float = STEP,
    readings: Readings | None = None,
) -> list[Row]:  # fmt: skip
    """The rows that hold [start, end), from an even moment on; `readings` are the journal's where
    nobody else has them. JournalError where it fails."""
    first = start // step * step
    count = max(int(-(-(end - first) // step)), 0)
    measured = _measured(state, place, first, end, step, readings or state.history.readings)
    spells = _spells(state, place, end)
    did = _did(state, place, first, end, step)
    return [
        Row(
            at=first + number * step,
            measured=measured.get(number),
            planned=_planned(spells, first + (number + 0.5) * step),
            did=tuple(did.get(number, ())),
        )
        for number in range(count)
    ]


def _measured(
    state: JournalState, place: str, start: float, end: float, step: float, readings: Readings
) -> dict[int, float]:
    """By row; the product where a probe measures it, else the air."""
    house = state.engine.view.house
    for measure in DEGREES:
        found: dict[int, list[float]] = {}
        for probe in house.probes_of(place, measure):
            for at, value in readings(probe.id, start, end):
                found.setdefault(int((at - start) // step), []).append(value)
        if found:
            return {number: median(values) for number, values in found.items()}
    return {}


def _planned(spells: list[Spell], at: float) -> float | None:
    """The plan in force at that time."""
    for spell in reversed(spells):
        if spell.start <= at < spell.end and not spell.batch.plan.ended(at):
            return spell.batch.plan.at(at)
    return None


def _spells(state: JournalState, place: str, end: float) -> list[Spell]:
    """Which batches ran in the place, as the entries that are still known tell it."""
    known = state.engine.watched.state.entry_log
    books = SubjectStates(state.engine.view.house)
    books.courses = dict(known.courses)
    found: list[Spell] = []
    running: tuple[Batch, float] | None = None
    for logged in known.counting():
        with suppress(Refused):
            apply(books, logged)
        batch = books.subject_state(place).batch
        if batch is not (running[0] if running else None):
            if running is not None:
                found.append(Spell(running[1], logged.at, running[0]))
            start = None if batch is None else min(batch.since, logged.at)
            running = None if batch is None or start is None else (batch, start)
    if running is not None:
        found.append(Spell(running[1], end, running[0]))
    return found


def _did(
    state: JournalState, place: str, start: float, end: float, step: float
) -> dict[int, list[str]]:
    found: dict[int, list[str]] = {}
    for logged in state.history.counting(place, start, end):
        found.setdefault(int((logged.at - start) // step), []).append(in_short(logged))
    return found


def in_short(logged: Logged) -> str:
    """An entry in a few words, "check 10.2 °C (aki)"."""
    by = f" ({logged.by})" if logged.by else ""
    return f"{e.kind_of(logged.entry)}{_said(logged.entry)}{by}"


def _said(entry: e.Entry) -> str:
    match entry:
        case e.Check(celsius=celsius) | e.Aim(celsius=celsius):
            return f" {figure(celsius)} °C"
        case e.Sample():
            shown = {"Bé": entry.baume, "SMV": entry.smv, "alc": entry.alcohol}
            told = [f"{name} {figure(v)}" for name, v in shown.items() if v is not None]
            return f" {', '.join(told)}" if told else ""
        case e.Addition(what=what) | e.CaskIn(what=what) | e.CaskOut(what=what):
            return f" {what}"
        case e.StageMark(stage=stage):
            return f" {stage}"
        case e.BatchStart(batch=batch):
            return f" {batch}"
        case e.Note(text=text):
            return f": {text}"
        case _:
            condition = getattr(entry, "condition", None)
            return f" {condition}" if condition else ""
