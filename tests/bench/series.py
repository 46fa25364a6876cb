"""The probe judging over measured series: what it tells of labelled events, and of nothing.

Each series of `tests/trade/data` that is a thermometer's is heard as the only product probe of a
tank, whose plan is too wide to be left: so only what is told of the probe itself counts (silent,
stuck, wild, displaced). A labelled event is told if a word falls within it or half an hour after,
and doubted if the probe counted for nothing meanwhile; every other word is false.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, NamedTuple

from rich.console import Console
from rich.table import Table

from kuraban.core.effects import Step
from kuraban.core.engine.engine import Engine
from kuraban.core.facts import HouseChanged, Logged, Reading
from kuraban.core.intake.entry_parser import entry_from
from kuraban.core.planned_curve import Course, Sides, Stage
from kuraban.core.site import House, Person, Place, Probe, Site, to_document
from kuraban.core.units import DAY, HOUR, MINUTE
from kuraban.settings.catalogues import load_words
from tests.bench import ground
from tests.trade import open_data

BEGAN = 1_767_193_200.0
"""Midnight of 2026-01-01 in Japan; the series have no dates that matter here."""
AFTER = 30 * MINUTE
YEAR = 365.25 * DAY
WIDE = Sides(90.0, 90.0)
ON = Stage(
    id="on", length=800 * DAY, points=((0.0, 20.0),), tolerance=WIDE, notice=WIDE, limit=WIDE,
    delay=HOUR, limit_delay=HOUR, settle=0.0, ends="crew", anchor="mark",
)  # fmt: skip
LEVEL = Course(id="level", for_=("tank",), never=(-90.0, 140.0), stages=(ON,))


class Series(NamedTuple):
    """Readings every `every` seconds, and which of them people called an event."""

    name: str
    every: float
    celsius: list[float]
    event: list[bool]


def series() -> Iterator[Series]:
    for number, mote in open_data.motes().items():
        yield Series(f"mote {number}", 5.0, mote.celsius, mote.event)
    room = open_data.room()
    yield Series("office", 16 * MINUTE, room, [False] * len(room))
    for station in sorted({hour.station for hour in open_data.weather()}):
        air = [hour.air for hour in open_data.weather() if hour.station == station]
        yield Series(f"air at {station}", HOUR, air, [False] * len(air))


def words_about(one: Series) -> tuple[list[tuple[float, str]], list[float]]:
    """When each alarm of the probe was raised, and which; and when it began to be doubted."""
    house = House(
        site=Site(name="Measured", timezone="Asia/Tokyo"),
        places=(Place(id="tank", kind="tank", name="Tank"),),
        probes=(Probe(id="probe", of="tank", measures="product", every=max(one.every, 10.0)),),
        people=(Person(id="aki", name="Aki", language="en"),), courses=(LEVEL,),
    )  # fmt: skip
    engine = Engine(load_words())
    engine.take(HouseChanged(BEGAN, to_document(house)))
    start = {"entry": "batch-start", "batch": "1", "course": "level"}
    logged = entry_from(start, "tank", house, BEGAN, "page")
    assert isinstance(logged, Logged)
    engine.take(logged)
    told, doubts, believed = [], list[float](), True
    for number, value in enumerate(one.celsius):
        at = BEGAN + (number + 1) * one.every
        engine.take(Reading("probe", at, value, at))
        steps = [event for event in engine.drain().story if isinstance(event, Step)]
        told += [(s.at, s.condition) for s in steps if s.subject == "probe" and s.step == "raised"]
        before, believed = believed, not engine.view.probe_states["probe"].suspect
        if before and not believed:
            doubts.append(at)
    return told, doubts


def judged(one: Series) -> dict[str, Any]:
    """Events told and missed, and false words."""
    marks = [BEGAN + (n + 1) * one.every for n, event in enumerate(one.event) if event]
    spans: list[list[float]] = []
    for at in marks:
        if spans and at - spans[-1][1] <= 10 * one.every:
            spans[-1][1] = at
        else:
            spans.append([at, at])
    words, doubts = words_about(one)
    told = [any(a <= at <= b + AFTER for at, _ in words) for a, b in spans]
    doubted = [any(a <= at <= b + AFTER for at in doubts) for a, b in spans]
    beside = [at for at in doubts if not any(a <= at <= b + AFTER for a, b in spans)]
    false = [name for at, name in words if not any(a <= at <= b + AFTER for a, b in spans)]
    years = len(one.celsius) * one.every / YEAR
    return {
        "series": one.name, "readings": len(one.celsius), "probe_years": round(years, 4),
        "events": len(spans), "told": sum(told), "missed": len(spans) - sum(told),
        "doubted": sum(doubted), "false_doubts": len(beside),
        "false": len(false), "false_words": sorted(set(false)),
    }  # fmt: skip


def main() -> None:
    rows = [judged(one) for one in series()]
    years, false = sum(r["probe_years"] for r in rows), sum(r["false"] for r in rows)
    table = Table(
        "series", "readings", "years", "events", "doubted", "told", "missed", "false", box=None
    )
    for r in rows:
        cells = (
            "series",
            "readings",
            "probe_years",
            "events",
            "doubted",
            "told",
            "missed",
            "false",
        )
        table.add_row(*(str(r[name]) for name in cells))
    Console(width=110).print(table)
    print(f"{false} false words in {years:.2f} probe-years: {false / years:.2f} a probe-year")
    ground.keep("series", machine=ground.machine(), rows=rows,
                false_a_probe_year=round(false / years, 2))  # fmt: skip


if __name__ == "__main__":
    main()
