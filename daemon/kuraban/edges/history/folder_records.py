"""Rows of the journal as records of the folder: a line of JSON each, its table's name before it.

Readings, entries with what became of them, and alarm steps; `TABLES` holds their columns, and by
which of them a record is itself: told twice, it is one. Times are the wall clock's, Unix seconds.
"""

from __future__ import annotations

from typing import Any, Final

import msgspec

from kuraban.core import entries as e
from kuraban.core.effects import Step
from kuraban.core.facts import Logged
from kuraban.core.plan.counted_entries import ToldEntry
from kuraban.edges.history.line_protocol import Points
from kuraban.store.forwarded import Rows

TABLES: Final[dict[str, tuple[tuple[str, ...], tuple[str, ...]]]] = {
    "readings": (("probe", "time"), ("site", "place", "measures", "batch", "value")),
    "entries": (
        ("time", "subject", "entry", "id", "fate"),
        ("site", "place", "batch", "who", "way", "reason", "text"),
    ),
    "alarms": (
        ("time", "subject", "condition", "step"),
        ("site", "place", "batch", "urgency", "value", "planned", "text", "who"),
    ),
}
"""By table: the columns that make a record itself, and the others."""
NUMBERS: Final = frozenset({"time", "value", "planned"})


class Records(Points):
    """Makes records of rows, which must come in the order of their numbers."""

    def _readings(
        self, rows: Rows, start: int, stop: int, numbers: list[int], lines: list[str]
    ) -> None:
        for seq, probe, at, value in rows.readings[start:stop]:
            since, until, head = self._heads.get(probe, (0.0, 0.0, ""))
            if not since <= at < until:
                since, until, head = self._heads[probe] = self._head(probe, at)
            lines.append(f'{head},"value":{value!r},"time":{self._wall(at)!r}}}')
            numbers.append(seq)

    def _reading_head(self, tags: dict[str, str | None]) -> str:
        """The line as far as it is always the same."""
        return self._line("readings", {**tags}).removesuffix("}")

    def _line(self, table: str, told: dict[str, Any]) -> str:
        house = self._occupancy.house
        told = {"site": self._site or (house.site.name if house else None), **told}
        plain = {name: value for name, value in told.items() if value is not None}
        return f"{table}\t{msgspec.json.encode(plain).decode()}"

    def _entry(self, logged: Logged) -> str:
        return self._of_entry(logged, logged.entry, logged.at, "made", logged.by, "")

    def _outcome(self, seq: int, told: ToldEntry) -> str:
        outcome = told.outcome
        assert outcome is not None
        entry = outcome.entry or told.logged.entry
        return self._of_entry(
            told.logged, entry, outcome.received, outcome.fate, outcome.by, outcome.reason
        )

    def _of_entry(
        self, logged: Logged, entry: e.Entry, at: float, fate: str, who: str | None, reason: str
    ) -> str:
        tags = self._tags_of(logged)
        told = {name: tags[name] for name in ("place", "batch", "entry", "id")}
        text = msgspec.json.encode(self._fields(entry)).decode()
        return self._line(
            "entries",
            {**told, "time": self._wall(at), "subject": logged.subject, "fate": fate, "who": who,
             "way": logged.way, "reason": reason, "text": text},
        )  # fmt: skip

    def _step(self, seq: int, step: Step) -> str:
        where = self._where(step.subject, step.at)
        told = {name: getattr(step, name) for name in (
            "subject", "condition", "step", "urgency", "value", "planned", "text")}  # fmt: skip
        where = {"place": where["place"], "batch": where["batch"]}
        return self._line("alarms", {**where, **told, "time": self._wall(step.at), "who": step.by})
