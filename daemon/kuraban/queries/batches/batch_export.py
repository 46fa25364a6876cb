"""A batch's record for the shelf: everything that the journal holds of it, as tables.

Its readings, and those of its rooms and coolers while it stood there; what people entered, with
the corrections beside what they correct; samples; alarm steps and messages; the plan in force and
the first one; the sheet. A batch is known by its name; where a name comes again every season, by a
day on which it ran.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import msgspec

from kuraban.core import entries as e
from kuraban.core.facts import EntryOutcome, Logged
from kuraban.core.plan.counted_entries import ToldEntry
from kuraban.core.site import WATCH, House, Probe
from kuraban.core.timescale import wall_of
from kuraban.core.units import DAY, MINUTE, show_time
from kuraban.edges.table_writer import Cell, Column, Table
from kuraban.queries.batches.batch_history import BatchHistory, Stay
from kuraban.queries.batches.batch_sheet import sheet_of
from kuraban.queries.journal_to_recording import entry_text
from kuraban.queries.place_timeseries import in_short
from kuraban.store.history import History

STEP = 10 * MINUTE
"""Between two rows of the plan."""
ONE_BREW = 120 * DAY
"""Stays of one name that began within so long are one batch."""
LATER = 60 * DAY
"""So long after the end corrections are looked for."""
UNITS = {"humidity": "%RH", "power": "W"} | dict.fromkeys(
    ("running", "demand", "valve", "pump"), "0 or 1"
)
DEGREES = "°C"

Row = tuple[Cell, ...]


@dataclass(frozen=True, slots=True)
class Span:
    """A place, room, cooler, probe or the watch, while the batch had to do with it."""

    subject: str
    start: float
    end: float


def _text(*titles: str) -> tuple[Column, ...]:
    return tuple(Column(title) for title in titles)


def _numbers(*titles: str) -> tuple[Column, ...]:
    return tuple(Column(title, "number") for title in titles)


WHEN = (Column("time"), Column("time (Unix s)", "number"))


def stays_of(batch_history: BatchHistory, name: str, day: float | None = None) -> list[Stay]:
    """Where the batch of that name stood, oldest first: the newest of the name, or the one that
    ran on `day`. Empty where there is none."""
    named = [
        stay for stays in batch_history.stays.values() for stay in stays if stay.batch.name == name
    ]
    if day is not None:
        named = [stay for stay in named if stay.start < day + DAY]
    newest = max((stay.start for stay in named), default=0.0)
    found = [stay for stay in named if stay.start > newest - ONE_BREW]
    return sorted(found, key=lambda stay: stay.start)


class BatchFolder:
    """The tables of one batch; JournalError where the journal cannot be read."""

    def __init__(self, history: History, house: House, stays: list[Stay]) -> None:
        self._history, self._house, self._stays = history, house, stays
        self._now = history.now() or 0.0
        self.spans = self._spans()
        self.start = min(stay.start for stay in stays)
        self.end = max(self._end(stay) for stay in stays)

    @property
    def places(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys(stay.place for stay in self._stays))

    @property
    def running(self) -> bool:
        return any(stay.ended(self._now) is None for stay in self._stays)

    @property
    def summed_until(self) -> float | None:
        """Before then its readings may be summaries by now; None where all are at full length."""
        whole = self._history.whole_from()
        return whole if whole is not None and whole > self.start else None

    def tables(self) -> Iterator[Table]:
        """Each with its rows to come, so that no more than one is read at a time."""
        told = self._entries()
        counting = [one.as_it_counts for one in told if one.counts]
        yield from self._readings()
        yield self._entered(told)
        yield self._samples(counting)
        yield self._aims(counting)
        yield self._plan()
        yield self._rings()
        yield self._messages()
        yield self._sheet()

    def courses(self) -> dict[str, str]:
        """The batch's own copies of its courses: name of the file, and its JSON."""
        known = {(stay.batch.course.id, stay.place): stay.batch.course for stay in self._stays}
        return {
            f"course-{course}-{place}.json": msgspec.json.format(
                msgspec.json.encode(found), indent=2
            ).decode()
            for (course, place), found in known.items()
        }

    # What it had to do with.

    def _end(self, stay: Stay) -> float:
        ended = stay.ended(self._now)
        return self._now if ended is None else ended

    def _spans(self) -> dict[str, Span]:
        spans: dict[str, Span] = {}
        for stay in self._stays:
            place = self._house.place[stay.place]
            beside = [one for one in (place.room, place.cooler, place.heater) if one]
            told = self._history.counting(stay.place, stay.start - DAY, self._end(stay))
            beside += [one.entry.cooler for one in told if isinstance(one.entry, e.ServedBy)]
            for subject in (stay.place, *beside):
                self._widen(spans, subject, stay.start, self._end(stay))
                for probe in self._house.probes_of(subject):
                    self._widen(spans, probe.id, stay.start, self._end(stay))
            self._widen(spans, WATCH, stay.start, self._end(stay))
        return spans

    @staticmethod
    def _widen(spans: dict[str, Span], subject: str, start: float, end: float) -> None:
        known = spans.get(subject, Span(subject, start, end))
        spans[subject] = Span(subject, min(known.start, start), max(known.end, end))

    def _within(self, subject: str, at: float) -> bool:
        span = self.spans.get(subject)
        return span is not None and span.start - 1.0 <= at <= span.end + 1.0

    def _when(self, at: float) -> tuple[str, float]:
        zone = self._house.zone
        return show_time(at, zone), wall_of(at, zone)

    # Readings.

    def _readings(self) -> Iterator[Table]:
        probes = [probe for probe in self._house.probes if probe.id in self.spans]
        for measure in sorted({probe.measures for probe in probes}):
            own = [probe for probe in probes if probe.measures == measure]
            columns = (*WHEN, *_text("probe", "of"))
            unit = UNITS.get(measure, DEGREES)
            yield Table(
                f"readings-{measure}",
                (*columns, *_numbers(f"{measure} ({unit})")),
                self._read(own),
            )

    def _read(self, probes: Iterable[Probe]) -> Iterator[Row]:
        for probe in probes:
            span = self.spans[probe.id]
            for at, value in self._history.readings(probe.id, span.start, span.end + 1.0):
                yield (*self._when(at), probe.id, probe.of, value)

    # Entries.

    def _entries(self) -> list[ToldEntry]:
        """All of the batch, and whatever corrects one of them, however late."""
        found = {
            told.logged.key: told
            for span in self.spans.values()
            for told in self._history.told(span.subject, span.start - 1.0, span.end + LATER)
        }
        own = [told.logged for told in found.values()]
        kept = {one.key for one in own if self._within(one.subject, one.at)}
        corrections = [one for one in own if _corrected(one.entry) is not None]
        for one in sorted(corrections, key=lambda one: one.received):
            if (one.subject, _corrected(one.entry)) in kept:
                kept.add(one.key)
        return sorted(
            (found[key] for key in kept), key=lambda told: (told.logged.at, told.logged.received)
        )

    def _entered(self, told: list[ToldEntry]) -> Table:
        """Every entry as it was made, and what became of it."""
        columns = (
            *WHEN, *_text("received", "subject", "entry", "id", "who", "way", "corrects",
                          "corrected by"),
            *_numbers("product then (°C)"),
            *_text("became", "by entry", "reason", "as entered (JSON)"),
        )  # fmt: skip
        by: dict[tuple[str, str], list[str]] = {}
        for one, _ in told:
            corrects = _corrected(one.entry)
            if corrects is not None:
                by.setdefault((one.subject, corrects), []).append(one.id)
        zone = self._house.zone
        rows = (
            (
                *self._when(one.at), show_time(one.received, zone), one.subject,
                e.kind_of(one.entry), one.id, one.by, one.way, _corrected(one.entry),
                ", ".join(by.get(one.key, ())) or None, one.seen, *_became(outcome),
                entry_text(one, zone),
            )
            for one, outcome in told
        )  # fmt: skip
        return Table("entries", columns, rows)

    def _samples(self, told: list[Logged]) -> Table:
        measured = ("baume", "smv", "alcohol", "acidity", "amino", "glucose", "hydrometer_celsius")
        columns = (
            *WHEN, Column("place"), Column("moromi day", "whole"),
            *_numbers("Baumé (°Bé)", "SMV", "alcohol (% vol)", "acidity (mL)", "amino acid (mL)",
                      "glucose (as entered)", "sample read at (°C)"),
            Column("who"),
        )  # fmt: skip
        rows = (
            (
                *self._when(one.at), one.subject, self._day(one.subject, one.at),
                *(getattr(one.entry, name) for name in measured), one.by,
            )
            for one in told
            if isinstance(one.entry, e.Sample)
        )  # fmt: skip
        return Table("samples", columns, rows)

    def _day(self, place: str, at: float) -> int | None:
        for stay in self._stays:
            if stay.place == place and stay.start <= at <= self._end(stay):
                return stay.batch.plan.day(at)
        return None

    # Plan.

    def _aims(self, told: list[Logged]) -> Table:
        columns = (
            *WHEN, *_text("place", "what", "by"), *_numbers("aim (°C)"), *_text("then"),
            *_numbers("for (h)", "more (°C)"), *_text("who", "way"),
        )  # fmt: skip
        rows = (row for one in told for row in self._aimed(one))
        return Table("aims", columns, rows)

    def _aimed(self, one: Logged) -> Iterator[Row]:
        """A row an aim; a plan for many days has one for each of its points."""
        head = (*self._when(one.at), one.subject, e.kind_of(one.entry))
        tail, zone = (one.by, one.way), self._house.zone
        match one.entry:
            case e.Aim(celsius=celsius, by=by, then=then):
                yield (*head, show_time(by, zone), celsius, then, None, None, *tail)
            case e.Plan(points=points):
                for by, celsius in points:
                    yield (*head, show_time(by, zone), celsius, None, None, None, *tail)
            case e.Hold(for_=lasts):
                yield (*head, None, None, None, lasts / 3600, None, *tail)
            case e.LetRun(for_=lasts, more=more):
                yield (*head, None, None, None, lasts / 3600, more, *tail)
            case _:
                return

    def _plan(self) -> Table:
        columns = (
            *WHEN, *_text("place", "stage"), Column("moromi day", "whole"),
            *_numbers("planned (°C)", "first plan (°C)"),
        )  # fmt: skip
        return Table("plan", columns, (row for stay in self._stays for row in self._planned(stay)))

    def _planned(self, stay: Stay) -> Iterator[Row]:
        plan, at = stay.batch.plan, stay.start
        while at < self._end(stay):
            stage = plan.standing(at).stage.id
            degrees = round(plan.at(at), 3), round(plan.first(at), 3)
            yield (*self._when(at), stay.place, stage, plan.day(at), *degrees)
            at = (at // STEP + 1) * STEP

    # Rings.

    def _rings(self) -> Table:
        columns = (
            *WHEN, *_text("subject", "condition", "step", "urgency"),
            *_numbers("value (°C, %RH or W)", "planned (°C)"), *_text("text", "who"),
        )  # fmt: skip
        rows = (
            (
                *self._when(step.at), step.subject, step.condition, step.step, step.urgency,
                step.value, step.planned, step.text, step.by,
            )
            for step in self._history.steps(self.start, self.end + 1.0)
            if self._within(step.subject, step.at)
        )  # fmt: skip
        return Table("rings", columns, rows)

    def _messages(self) -> Table:
        columns = (
            *WHEN, *_text("kind", "role", "person", "urgency", "alarms", "title", "body", "id"),
        )  # fmt: skip
        rows = (
            (
                *self._when(one.at), one.step, one.role, one.person, one.urgency,
                ", ".join(one.alarms), one.title, one.body, one.id,
            )
            for one in self._history.messages(self.start, self.end + 1.0)
            if any(self._within(alarm.partition("/")[0], one.at) for alarm in one.alarms)
        )  # fmt: skip
        return Table("messages", columns, rows)

    # The sheet.

    def _sheet(self) -> Table:
        columns = (
            *WHEN, Column("place"), Column("brewery day", "whole"), Column("moromi day", "whole"),
            Column("stages"), *_numbers(
                "planned (°C)", "morning (°C)", "evening (°C)", "room (°C)", "Baumé at 15 °C (°Bé)",
                "SMV", "alcohol (% vol)", "acidity (mL)", "amino acid (mL)", "BMD", "cooled (h)",
            ),
            *_text("face", "work"),
        )  # fmt: skip
        return Table("sheet", columns, self._sheet_rows())

    def _sheet_rows(self) -> Iterator[Row]:
        language = self._house.site.language
        for stay in self._last():
            for day in sheet_of(self._history, self._house, stay, self._now).days:
                stages = ", ".join(title.get(language) or title["en"] for title in day.stages)
                yield (
                    *self._when(day.at), day.place, day.number, day.day, stages,
                    _rounded(day.aim), _rounded(day.morning), _rounded(day.evening),
                    _rounded(day.room), day.baume, day.smv, day.alcohol, day.acidity, day.amino,
                    _rounded(day.bmd), _rounded(day.cooled), "; ".join(day.face),
                    "; ".join(in_short(one) for one in day.work),
                )  # fmt: skip

    def _last(self) -> list[Stay]:
        """Stays from which the batch went nowhere further: a sheet holds those before."""
        earlier = {
            (stay.before.place, stay.before.start)
            for stay in self._stays
            if stay.before is not None and stay.before.batch.since == stay.batch.since
        }
        return [stay for stay in self._stays if (stay.place, stay.start) not in earlier]


def _corrected(entry: e.Entry) -> str | None:
    return entry.of if isinstance(entry, (e.TakeBack, e.Amend)) else None


def _became(outcome: EntryOutcome | None) -> tuple[str | None, str | None, str | None]:
    """How an entry stands, by which other one, and why; nothing where it is not decided yet."""
    if outcome is None:
        return None, None, None
    return outcome.fate, outcome.cause and outcome.cause[1], outcome.reason or None


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 3)
