"""Rows of the journal as points in line protocol: readings, entries, what became of them, and
alarm steps.

    reading,batch=No.\\ 8,measures=product,place=tank-3,probe=t3-mid,site=Kura value=10.4 1769…000
    entry,batch=No.\\ 8,entry=addition,id=…,place=tank-3,site=Kura kg=120,what="rice",… 1769…000
    outcome,batch=No.\\ 8,entry=addition,fate=counted,id=…,place=tank-3,site=Kura reason="" 1769…412
    alarm,batch=No.\\ 8,condition=warm,place=tank-3,site=Kura,step=raised text="…",value=… 1769…412

What makes a point itself is its tags and its time, and both come from the row and from the rows
before it, never from the moment of sending: written twice, it is still one point. Times are
nanoseconds. A reading's are whole microseconds, and two readings of a probe never share one moment;
an entry has its id among its tags; an outcome and an alarm step carry the end of their numbers
below the microsecond. They are the wall clock's, as it stood when the row was written: an hour that
it showed twice stands there once, the later one. Numbers are floats, texts are strings, and lists
are strings of JSON, so that a field never changes its kind.
"""

from __future__ import annotations

import math
from datetime import UTC
from typing import Any

import msgspec

from kuraban.core import entries as e
from kuraban.core.effects import Step
from kuraban.core.engine.occupancy import Occupancy
from kuraban.core.facts import ClockStepped, Logged
from kuraban.core.plan.counted_entries import ToldEntry
from kuraban.core.site import WATCH, from_document
from kuraban.core.timescale import Pieces, Timescale, redated
from kuraban.store.forwarded import Event, Rows

_TAG = str.maketrans({",": r"\,", "=": r"\=", " ": r"\ ", "\\": "/"})
"""A backslash before one of these means something else to each engine, so a tag has none."""
_TEXT = str.maketrans({'"': r"\"", "\\": r"\\"})


class Points:
    """Makes points of rows, which must come in the order of their numbers.

    `site` is the tag; the house's own name as it was at the time where that is None.
    """

    def __init__(self, site: str | None = None) -> None:
        self._site = site
        self._occupancy = Occupancy()
        self._heads: dict[str, tuple[float, float, str]] = {}
        self._clock: Pieces = ()
        self._scale: Timescale | None = None

    def learn(self, events: list[Event]) -> None:
        """Houses, outcomes and steps of the clock that have been forwarded already."""
        for _, what in events:
            self._take(what)

    def of(self, rows: Rows) -> tuple[list[int], list[str]]:
        """The number and the line of every point, in the order of the rows."""
        numbers: list[int] = []
        lines: list[str] = []
        start = 0
        for seq, what in rows.events:
            stop = _first_beyond(rows, seq, start)
            self._readings(rows, start, stop, numbers, lines)
            start = stop
            line = self._event(seq, what)
            if line:
                numbers.append(seq)
                lines.append(line)
        self._readings(rows, start, len(rows.readings), numbers, lines)
        return numbers, lines

    def _readings(
        self, rows: Rows, start: int, stop: int, numbers: list[int], lines: list[str]
    ) -> None:
        heads, scale = self._heads, self._scale
        for seq, probe, at, value in rows.readings[start:stop]:
            since, until, head = heads.get(probe, _NEVER)
            if not since <= at < until:
                since, until, head = heads[probe] = self._head(probe, at)
            wall = at if scale is None else at + scale.ahead(at)
            lines.append(f"{head}{value!r} {wall * 1e6:.0f}000")
            numbers.append(seq)

    def _head(self, probe: str, at: float) -> tuple[float, float, str]:
        """What a probe's lines begin with, and over what stretch of time they do."""
        house = self._occupancy.house
        known = None if house is None else house.probe.get(probe)
        tags: dict[str, str | None] = {"probe": probe}
        since, until = -math.inf, math.inf
        if known is not None:
            stay = self._occupancy.at(known.of, at)
            since, until = stay.start, stay.end
            tags |= {"place": known.of, "measures": known.measures, "batch": stay.batch}
        return since, until, self._reading_head(tags)

    def _reading_head(self, tags: dict[str, str | None]) -> str:
        return f"reading{self._tags(tags)} value="

    def _event(self, seq: int, what: object) -> str:
        if isinstance(what, Step):
            return self._step(seq, what)
        if isinstance(what, Logged):
            return self._entry(what)
        line = self._outcome(seq, what) if isinstance(what, ToldEntry) else ""
        self._take(what)
        return line

    def _take(self, what: object) -> None:
        self._heads.clear()
        if isinstance(what, ToldEntry):
            self._occupancy.take(what)
        elif isinstance(what, str):
            self._occupancy.settle_in(from_document(what))
        elif isinstance(what, ClockStepped):
            self._clock = redated(self._clock, what)
            self._scale = Timescale(UTC, self._clock) if self._clock else None

    def _where(self, subject: str, at: float) -> dict[str, str | None]:
        """Place, probe and batch of whatever an entry or an alarm is about."""
        house = self._occupancy.house
        probe = None if house is None else house.probe.get(subject)
        place = subject if probe is None else probe.of
        batch = None if place == WATCH else self._occupancy.at(place, at).batch
        return {"place": place, "probe": None if probe is None else subject, "batch": batch}

    def _tags_of(self, logged: Logged) -> dict[str, str | None]:
        """Of an entry; one that begins a batch belongs to that."""
        where, entry = self._where(logged.subject, logged.at), logged.entry
        where["batch"] = entry.batch if isinstance(entry, e.BatchStart) else where["batch"]
        return {**where, "entry": e.kind_of(entry), "id": logged.id}

    def _entry(self, logged: Logged) -> str:
        """As it was made, whatever becomes of it."""
        tags = self._tags(self._tags_of(logged))
        fields = self._fields(logged.entry)
        fields |= {"who": logged.by, "way": logged.way, "seen": logged.seen}
        return f"entry{tags} {_shown(fields)} {self._time(logged.at)}000"

    def _outcome(self, seq: int, told: ToldEntry) -> str:
        logged, outcome = told
        assert outcome is not None
        tags = self._tags({**self._tags_of(logged), "fate": outcome.fate})
        by = None if outcome.cause is None else outcome.cause[1]
        fields = {"reason": outcome.reason, "by": by, "who": outcome.by}
        if outcome.entry is not None:
            fields |= {f"now_{name}": said for name, said in self._fields(outcome.entry).items()}
        return f"outcome{tags} {_shown(fields)} {self._time(outcome.received)}{seq % 1000:03}"

    def _step(self, seq: int, step: Step) -> str:
        told = {"condition": step.condition, "step": step.step}
        tags = self._tags({**self._where(step.subject, step.at), **told})
        fields = {
            "value": step.value, "planned": step.planned, "text": step.text, "who": step.by,
            "urgency": step.urgency,
        }  # fmt: skip
        return f"alarm{tags} {_shown(fields)} {self._time(step.at)}{seq % 1000:03}"

    def _fields(self, entry: e.Entry) -> dict[str, Any]:
        """What an entry says, but for its kind. No field has the name of a tag."""
        told: dict[str, Any] = msgspec.to_builtins(entry, enc_hook=self._number)
        del told["entry"]
        if "batch" in told:
            told["begins"] = told.pop("batch")
        return told

    def _number(self, value: Any) -> float:
        return self._wall(value) if isinstance(value, e.Moment) else float(value)

    def _wall(self, at: float) -> float:
        return float(at) if self._scale is None else at + self._scale.ahead(at)

    def _time(self, at: float) -> str:
        """Whole microseconds of the wall clock."""
        return f"{self._wall(at) * 1e6:.0f}"

    def _tags(self, tags: dict[str, str | None]) -> str:
        house = self._occupancy.house
        site = self._site or (None if house is None else house.site.name)
        every = sorted({**tags, "site": site}.items())
        return "".join(f",{key}={_tag(text)}" for key, text in every if text)


_NEVER = (math.inf, -math.inf, "")


def _first_beyond(rows: Rows, seq: int, start: int) -> int:
    """The index of the first reading numbered beyond an event."""
    readings = rows.readings
    stop = len(readings)
    while start < stop:
        middle = (start + stop) // 2
        if readings[middle][0] < seq:
            start = middle + 1
        else:
            stop = middle
    return start


def _shown(fields: dict[str, Any]) -> str:
    shown = ((key, _field(value)) for key, value in sorted(fields.items()))
    return ",".join(f"{key}={text}" for key, text in shown if text)


def _field(value: Any) -> str:
    """Empty for what has no value."""
    if value is None:
        return ""
    if isinstance(value, (int, float)):
        return repr(float(value)) if math.isfinite(value) else ""
    text = value if isinstance(value, str) else msgspec.json.encode(value).decode()
    return f'"{_printable(text).translate(_TEXT)}"'


def tag_value(text: str) -> str:
    """A tag's text as an engine has it."""
    return _printable(text).replace("\\", "/")


def _tag(text: str) -> str:
    return _printable(text).translate(_TAG)


def _printable(text: str) -> str:
    """Without line ends, which separate points, and other control characters."""
    return text if text.isprintable() else "".join(c if c.isprintable() else " " for c in text)
