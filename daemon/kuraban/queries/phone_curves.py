"""The curve that goes with a ring: the last hours of its place against the plan, for a phone.

What the watch knows at the moment of the ring (plan, tolerance, day numbers) is put aside by its
loop, which costs a fraction of a millisecond; the readings are taken from the journal by the
thread that draws.
"""

from __future__ import annotations

import logging
from collections import OrderedDict
from collections.abc import Iterator
from importlib.util import find_spec
from pathlib import Path
from statistics import median
from typing import TYPE_CHECKING, NamedTuple

from kuraban.core.effects import Message
from kuraban.core.engine.engine import Engine
from kuraban.core.facts import Logged
from kuraban.core.forecast.drift import drift_of
from kuraban.core.house_view import HouseView
from kuraban.core.plan.subject_state import Batch
from kuraban.core.site import House
from kuraban.core.units import HOUR, next_clock
from kuraban.queries.place_status import held_of
from kuraban.queries.snapshot import line_of
from kuraban.store.history import History

if TYPE_CHECKING:
    from kuraban.edges.charts import Event, Point, Turn

BACK, AHEAD = 14 * HOUR, 3 * HOUR
STEP = 300.0
KEPT = 64
MEASURES = ("product", "air", "supply")

log = logging.getLogger("kuraban")


class Known(NamedTuple):
    """What the watch knew of a place when it rang."""

    house: House
    place: str
    at: float
    plan: tuple[tuple[float, float], ...]
    first: tuple[tuple[float, float], ...]
    band: tuple[tuple[float, float, float], ...]
    days: tuple[tuple[float, int | None], ...]
    """Turns of the brewery day within, and the moromi day that begins."""
    fan: tuple[tuple[float, float, float], ...] = ()
    """Where the product may be in the coming hours: time, lowest and highest °C."""


def available() -> bool:
    """Whether curves can be drawn here at all."""
    return find_spec("matplotlib") is not None


class Curves:
    """`remember` belongs to the watch's loop, `draw` to any other thread."""

    def __init__(self, journal: Path) -> None:
        self._journal = journal
        self._known: OrderedDict[str, Known] = OrderedDict()

    def remember(self, engine: Engine, message: Message) -> None:
        """Put aside what a ring about one place will be drawn against."""
        try:
            self._remember(engine, message)
        except Exception:  # a ring without its picture is still a ring
            log.exception("a fault of ours, please report it; %s gets no picture", message.alarms)

    def _remember(self, engine: Engine, message: Message) -> None:
        house = engine.view.house
        subject, *others = (alarm.partition("/")[0] for alarm in message.alarms or ("",))
        if message.step != "page" or any(one in house.place for one in others):
            return
        place = house.probe[subject].of if subject in house.probe else subject
        if place not in house.place:
            return
        self._known[message.id] = known_of(engine, place, message.at)
        while len(self._known) > KEPT:
            self._known.popitem(last=False)

    def draw(self, message: Message) -> bytes | None:
        """A PNG; None where nothing was measured or nothing is known any more."""
        known = self._known.get(message.id)
        if known is None or not available():
            return None
        from kuraban.edges.charts import PHONE, Band, figure, nights_of, png

        start, end = known.at - BACK, known.at + AHEAD
        history = History(self._journal)
        try:
            points = list(_points(history, known, start))
            events = list(_events(history, known, start))
        finally:
            history.close()
        if not points:
            return None
        place, zone = known.house.place[known.place], known.house.zone
        band = [Band(*one) for one in known.band]
        made = figure(
            points, known.plan, known.first, band, events, message.language, zone,
            start=start, end=end, title=place.name, plain_title=place.id,
            turns=list(_turns(known, message.language)),
            nights=nights_of(known.house.site.duty_hours, start, end, zone),
            fan=[Band(*one) for one in known.fan], size=PHONE,
        )  # fmt: skip
        return png(made)


def known_of(engine: Engine, place: str, at: float) -> Known:
    """What is known of a place now, some hours back and ahead."""
    view = HouseView(engine.watched.state)  # its own, so that the watch decides as without it
    house, batch = view.house, view.batch(place, at)
    start, end = at - BACK, at + AHEAD
    if batch is None:
        band, days = house.place[place].band, tuple[tuple[float, int | None], ...]()
        lines = () if band is None else ((start, *band), (end, *band))
        return Known(house, place, at, (), (), lines, days)
    line = line_of(batch.plan, end)
    return Known(
        house, place, at,
        plan=_within(line.points, start, end), first=_within(line.first, start, end),
        band=tuple(_tolerance(batch, start, end)), days=tuple(_days(batch, house, start, end)),
        fan=tuple(_fan(view, place, batch, at, end)),
    )  # fmt: skip


def _within(
    line: tuple[tuple[float, float], ...], start: float, end: float
) -> tuple[tuple[float, float], ...]:
    """The part of a line over [start, end], and the point on either side of it."""
    before = [point for point in line if point[0] < start][-1:]
    after = [point for point in line if point[0] > end][:1]
    return (*before, *(point for point in line if start <= point[0] <= end), *after)


def _tolerance(batch: Batch, start: float, end: float) -> Iterator[tuple[float, float, float]]:
    at = max(start, batch.plan.spans[0].start)
    while at <= end and not batch.plan.ended(at):
        sides = batch.plan.standing(at).stage.tolerance
        planned = batch.plan.at(at)
        yield at, planned - sides.below, planned + sides.above
        at += STEP


def _fan(
    view: HouseView, place: str, batch: Batch, at: float, end: float
) -> Iterator[tuple[float, float, float]]:
    """The product of now, carried on along the plan by its drift; nothing while work goes on."""
    known = view.product(place, at)
    if known is None or held_of(view, place, batch, at)[0] is not None:
        return
    drift = drift_of(view, place, batch, at)
    if drift is None:
        return
    apart_now, moment = known[0] - batch.plan.at(at), at
    while moment <= end and not batch.plan.ended(moment):
        hours, level = (moment - at) / HOUR, batch.plan.at(moment) + apart_now
        yield moment, level + drift.low * hours, level + drift.high * hours
        moment += STEP


def _days(
    batch: Batch, house: House, start: float, end: float
) -> Iterator[tuple[float, int | None]]:
    at = next_clock(start, house.site.day_starts, house.zone)
    while at <= end:
        yield at, batch.plan.day(at)
        at = next_clock(at, house.site.day_starts, house.zone)


def _points(history: History, known: Known, start: float) -> Iterator[Point]:
    """The median of what the place's probes read in each five minutes."""
    from kuraban.edges.charts import Point

    for measure in MEASURES:
        held: dict[int, list[float]] = {}
        for probe in known.house.probes_of(known.place, measure):
            for at, value in history.readings(probe.id, start, known.at + 60.0):
                held.setdefault(int(at // STEP), []).append(value)
        if held:
            for number in sorted(held):
                yield Point(min(number * STEP + STEP / 2, known.at), median(held[number]))
            return


def _events(history: History, known: Known, start: float) -> Iterator[Event]:
    from kuraban.edges.charts import KINDS, Event

    entries: Iterator[Logged] = history.counting(known.place, start, known.at + 60.0)
    for logged in entries:
        kind = KINDS.get(type(logged.entry))
        if kind is not None:
            yield Event(logged.at, kind)
    yield Event(known.at, "ring")


def _turns(known: Known, language: str) -> Iterator[Turn]:
    from kuraban.edges.charts import Turn

    for at, day in known.days:
        plain = "" if day is None else f"day {day}"
        yield Turn(at, f"{day}日目" if day is not None and language == "ja" else plain, plain)
