"""One invented batch of 33 days in tank 3, with samples, a re-drawn plan, and koji beside it."""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path

from kuraban.core import entries as e
from kuraban.core.engine.engine import Engine
from kuraban.core.facts import Fact, HouseChanged, Logged, Reading
from kuraban.core.site import to_document
from kuraban.core.units import DAY, HOUR, MINUTE, parse_time
from kuraban.settings.catalogues import load_words
from tests.edges.web.served import Served
from tests.journals import house

PLACE, NAME, COURSE = "tank-3", "No. 21", "moromi-slow-33"
SOE = parse_time("2026-01-10T09:30:00+09:00")
TOME = SOE + 3 * DAY
DAY_1 = parse_time("2026-01-13T06:00:00+09:00")
"""The turn of the brewery day of tome."""
END = DAY_1 + 33 * DAY + 4 * HOUR
BAUME = {3: 8.0, 4: 8.2, 5: 7.8, 6: 7.2, 8: 6.2, 10: 5.3, 12: 4.5, 14: 3.8, 16: 3.2, 18: 2.6,
         20: 2.0, 22: 1.5, 24: 1.0, 26: 0.6, 28: 0.3, 30: 0.1, 32: -0.1}  # fmt: skip
"""By moromi day, as if measured at half past eight."""


def on_day(day: int, hours: float = 2.5) -> float:
    """Hours after the turn of a moromi day."""
    return DAY_1 + (day - 1) * DAY + hours * HOUR


def _entries(until: float) -> Iterator[Logged]:
    told: list[tuple[float, e.Entry]] = [
        (SOE, e.BatchStart(batch=NAME, course=COURSE, rice_kg=1500.0)),
        (SOE + HOUR, e.Addition(what="water-koji", kg=40.0)),
        (SOE + 2 * HOUR, e.Addition(what="rice", kg=110.0)),
        (SOE + 2 * DAY, e.StageMark(stage="naka")),
        (TOME, e.StageMark(stage="tome")),
        (TOME + 2 * HOUR, e.Addition(what="rice", kg=600.0)),
        (on_day(7, 11), e.Plan(points=((e.Moment(on_day(8, 0)), 8.8),
                                       (e.Moment(on_day(10, 0)), 9.4)))),
        (on_day(5), e.Look(foam="high foam", text="cracks")),
        (on_day(15), e.Look(foam="foam fallen")),
        (on_day(20), e.Note(text="Aroma clean; cooled a little less.")),
        *(
            (on_day(day), e.Sample(baume=baume, alcohol=round(18 - 2 * baume, 1), acidity=1.6,
                                   amino=1.1))
            for day, baume in BAUME.items()
        ),
    ]  # fmt: skip
    for number, (at, entry) in enumerate(sorted(told, key=lambda one: one[0])):
        if at <= until:
            yield Logged(f"long-{number}", PLACE, entry, at, at, "aki", "page")
    if until >= END:
        yield Logged("long-end", PLACE, e.BatchEnd(), END, END, "aki", "page")


def _readings(engine: Engine, start: float, until: float) -> Iterator[Reading]:
    """What the probe reads: near the plan, with a saw-tooth of cooling; the valve; the cellar."""
    at, probes = start, [probe.id for probe in house().probes_of(PLACE, "product")]
    while at < until:
        batch = engine.view.batch(PLACE, at)
        product = 12.0 if batch is None else batch.plan.at(at)
        product += 0.15 * math.sin(at / (2 * HOUR)) + 0.1
        for probe in probes:
            yield Reading(probe, at, round(product, 2), at)
        yield Reading("cellar-air", at, round(6.0 + math.sin(at / DAY), 2), at)
        yield Reading("t3-valve", at, float(at % (4 * HOUR) < HOUR), at)
        at += 15 * MINUTE


def lived_batch(folder: Path, until: float = END + HOUR) -> Served:
    """The watch and its journal as they stand at `until`."""
    engine = Engine(load_words())
    first = SOE - HOUR
    engine.take(HouseChanged(first, to_document(house())))
    served = Served(folder, engine)
    waiting: list[Fact] = list(_entries(until))
    for reading in _readings(engine, first, until):
        while waiting and waiting[0].received <= reading.received:
            engine.take(waiting.pop(0))
        engine.take(reading)
        if len(engine.facts) > 2000:
            served.commit()
    for fact in waiting:
        engine.take(fact)
    engine.wake(until)
    served.commit()
    return served
