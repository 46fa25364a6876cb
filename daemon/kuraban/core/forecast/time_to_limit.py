"""How long a place has before it leaves its tolerance and its limit, if cooling stopped now.

A tank warms by its ferment, and towards its cellar. How fast, it has often shown itself: its own
warm-ups of the last hours are the best witness. Where they are too few, alcohol in two samples
gives the rate of the ferment (1 % ABV makes 8.6 kJ in a litre and warms a mash by about 2 K), and
litres and the cellar's air give the wall. Where there is neither, the usual rates of a ferment of
that kind give a wide range, which is shown and decides nothing.

Every figure is a range. The soonest end takes the fastest warm-up, the air of now, and a ferment
that feeds on its own warmth by 12 % a degree; the latest takes the slowest and no such growth. The
plan moves along: what counts is product against plan in force. Rates of ferments and walls are
common practice, the heat is Colombié, Malherbe and Sablayrolles 2007, Food Control 18:953.
"""

from __future__ import annotations

import math
from itertools import product
from typing import Literal, NamedTuple

import msgspec

from kuraban.core import entries as e
from kuraban.core.forecast.reckoning_cache import Learned
from kuraban.core.forecast.warming_rate import disturbed_since, learned
from kuraban.core.house_view import HouseView
from kuraban.core.plan.fill_level import litres_in
from kuraban.core.plan.subject_state import Batch
from kuraban.core.units import DAY, HOUR
from kuraban.trade.heat import (
    BARE_STEEL,
    INSULATED,
    MASH_HEAT_CAPACITY,
    tank_surface,
    warming_rate,
)

Basis = Literal["own warm-ups", "samples", "course"]

LEAST_RECORD = 3 * HOUR
"""Own warm-ups in all from which they are believed."""
LEAST_FAST = 0.03
"""K/h: no mash is believed to stand still for a night, whatever its record says."""
DOUBT = 0.15
"""Share by which the fastest warm-up may be exceeded and the slowest be missed: the ferment is not
the same every hour, and a few warm-ups do not show its whole range."""
READ = 0.05
"""K by which the product may be warmer (or colder) than it reads just now."""
GROWTH = 0.12
"""Share by which a ferment quickens for each degree, at most (Q10 of 2 to 3)."""
AHEAD, STEP = 48.0, 0.25
"""Hours looked ahead, and in which steps. Beyond is for ever."""
SAMPLES_BACK, APART = 6 * DAY, 0.5 * DAY
ALCOHOL_ERROR = 0.3
"""% ABV by which one determination of alcohol may be off (common practice)."""
PER_BAUME = (0.7, 1.5)
"""% ABV made while Baume falls by one degree (one batch showed 1.0)."""
FASTEST = 5.0
"""% ABV a day that no mash exceeds."""
LIQUID = (0.80, 0.90)
QUIET, LIVELY, STARTER = (0.3, 1.2), (0.5, 2.0), (0.5, 2.5)
"""% ABV a day of a mash that is kept cold, of another, and of a starter (common practice)."""
COLD_COURSE = 12.0
"""°C: a course that never goes beyond is kept cold."""
COLDEST, HOTTEST = -10.0, 60.0
"""°C between which the heat of a tank is reckoned."""
FILLED = (0.6, 1.0)
"""Share of its size to which a tank may be filled, where nobody logged it."""


class Hours(msgspec.Struct, frozen=True, kw_only=True):
    """Hours from now until a place leaves its tolerance and its limit; infinite beyond two days."""

    soonest: float
    latest: float
    limit_soonest: float
    limit_latest: float
    rests_on: Basis
    slow: float
    """K/h at which it warms or, negative, cools: the slow and the fast end."""
    fast: float
    record: float | None = None
    """Hours of own warm-ups that were seen."""
    shut: float | None = None
    """Share of the record in which nothing cooled it: what the cooler has to spare for it."""

    @property
    def decides(self) -> bool:
        """Whether it rests on this very mash, so that a ring may wait for it."""
        return self.rests_on != "course"


class Rates(NamedTuple):
    """K/h, slow and fast, and what they rest on."""

    slow: float
    fast: float
    rests_on: Basis
    record: Learned | None = None


def hours_in_hand(view: HouseView, cooler: str, now: float) -> float | None:
    """The fewest hours of every judged place that a cooler serves, at the pessimistic end.

    None where that of one is unknown, or where it serves nothing that is judged.
    """
    every = [hours_left(view, place, now) for place in _judged(view, cooler, now)]
    known = [hours.soonest for hours in every if hours is not None and hours.decides]
    return min(known) if known and len(known) == len(every) else None


def first_to_leave(view: HouseView, cooler: str, now: float) -> tuple[str, Hours] | None:
    """The place that leaves its tolerance first if this cooler stopped, and when.

    None where the hours of one place are unknown.
    """
    every = [(place, hours_left(view, place, now)) for place in _judged(view, cooler, now)]
    known = [(place, hours) for place, hours in every if hours is not None and hours.decides]
    if not known or len(known) < len(every):
        return None
    return min(known, key=lambda one: one[1].soonest)


def _judged(view: HouseView, cooler: str, now: float) -> list[str]:
    return [place for place in view.served(cooler) if view.place_judged(place, now)]


def hours_left(view: HouseView, place: str, now: float) -> Hours | None:
    """Until a brewing place leaves its tolerance and its limit on the warm side, uncooled.

    None for koji, for a place without batch or believed product, and where nothing is known.
    """
    batch, known = view.batch(place, now), view.product(place, now)
    if batch is None or known is None or view.house.place[place].kind == "koji-bed":
        return None
    rates = _rates(view, place, batch, known[0], now)
    if rates is None:
        return None
    walk = [
        _until(batch, known[0] + off, now, rate, growth, limit)
        for limit in (False, True)
        for rate, growth, off in ((rates.fast, GROWTH, READ), (rates.slow, 0.0, -READ))
    ]
    record = rates.record
    return Hours(
        soonest=walk[0], latest=walk[1], limit_soonest=walk[2], limit_latest=walk[3],
        rests_on=rates.rests_on, slow=rates.slow, fast=rates.fast,
        record=None if record is None else record.seconds / HOUR,
        shut=None if record is None else record.shut,
    )  # fmt: skip


def _until(
    batch: Batch, celsius: float, now: float, rate: float, growth: float, limit: bool
) -> float:
    """Hours until product leaves the plan's edge upward; the plan and its stages go along."""
    value, before = celsius, 0.0
    for number in range(int(AHEAD / STEP) + 1):
        over = value - _edge(batch, now + number * STEP * HOUR, limit)
        if over > 0:
            return max(number - over / (over - before), 0.0) * STEP
        before = over
        value += rate * STEP * (1 + growth * max(value - celsius, 0.0))
    return math.inf


def _edge(batch: Batch, at: float, limit: bool) -> float:
    stage, planned = batch.plan.standing(at).stage, batch.plan.at(at)
    if limit:
        return min(planned + stage.limit.above, batch.course.never[1])
    return planned + stage.tolerance.above


def _rates(view: HouseView, place: str, batch: Batch, celsius: float, now: float) -> Rates | None:
    air = view.air_of(view.house.place[place], now)
    litres = _litres(view, place, now)
    record = learned(view, place, now)
    if record is not None and record.seconds >= LEAST_RECORD:
        return _from_record(record, litres, air)
    if litres is None or air is None or not all(COLDEST <= t <= HOTTEST for t in (celsius, air)):
        return None
    sampled = alcohol_a_day(view, place, now)
    a_day = _usual(view, place, batch) if sampled is None else sampled
    rates = [
        warming_rate(made, held, product=celsius, room=air, u_value=wall, liquid_share=share)
        for made, held, wall, share in product(a_day, litres, (INSULATED[0], BARE_STEEL[1]), LIQUID)
    ]
    return Rates(min(rates), max(*rates, LEAST_FAST), "course" if sampled is None else "samples")


def _from_record(record: Learned, litres: tuple[float, float] | None, air: float | None) -> Rates:
    """The warm-ups seen, quickened by a cellar that has warmed since."""
    warmer = 0.0
    if litres is not None and air is not None and record.air is not None:
        through = BARE_STEEL[1] * tank_surface(litres[0]) * 3600 / (litres[0] * MASH_HEAT_CAPACITY)
        warmer = max(air - record.air, 0.0) * through
    fast = record.fastest + DOUBT * abs(record.fastest) + warmer
    slow = record.slowest - DOUBT * abs(record.slowest)
    return Rates(slow, max(fast, LEAST_FAST), "own warm-ups", record)


def _litres(view: HouseView, place: str, now: float) -> tuple[float, float] | None:
    """Least and most litres that are in it: by the additions logged, else by its size."""
    logged = litres_in(view.entry_log, place, now)
    if logged is not None and logged > 0:
        return 0.95 * logged, 1.05 * logged
    size = view.house.place[place].litres
    return None if size is None else (FILLED[0] * size, FILLED[1] * size)


def _usual(view: HouseView, place: str, batch: Batch) -> tuple[float, float]:
    """% ABV a day, by the kind of the course."""
    if view.house.place[place].kind == "starter":
        return STARTER
    warmest = max(celsius for stage in batch.course.stages for _, celsius in stage.points)
    return QUIET if warmest <= COLD_COURSE else LIVELY


def alcohol_a_day(view: HouseView, place: str, now: float) -> tuple[float, float] | None:
    """% ABV made a day, least and most, by the last two samples that say so; None without.

    Alcohol where both have it, else the fall of Baume. Samples from before something was added
    count no more.
    """
    since = max(now - SAMPLES_BACK, disturbed_since(view, place, now))
    samples = [
        (logged.at, logged.entry)
        for logged in view.entry_log.counting()
        if logged.subject == place and isinstance(logged.entry, e.Sample)
        and since <= logged.at <= now
    ]  # fmt: skip
    alcohol = [(at, s.alcohol) for at, s in samples if s.alcohol is not None]
    pair = _last_pair(alcohol)
    if pair is not None:
        days, made = pair
        return _a_day(made - ALCOHOL_ERROR, days), _a_day(made + ALCOHOL_ERROR, days)
    baume = [(at, known) for at, s in samples if (known := baume_of(s)) is not None]
    pair = _last_pair(baume)
    if pair is None or pair[1] >= 0:
        return None
    days, fallen = pair[0], -pair[1]
    return _a_day(PER_BAUME[0] * fallen, days), _a_day(PER_BAUME[1] * fallen, days)


def _a_day(made: float, days: float) -> float:
    return min(max(made / days, 0.0), FASTEST)


def baume_of(sample: e.Sample) -> float | None:
    """Baume of a sample, from its SMV where that was noted."""
    if sample.baume is not None:
        return sample.baume
    return None if sample.smv is None else -sample.smv / 10


def _last_pair(points: list[tuple[float, float]]) -> tuple[float, float] | None:
    """Days from the nearest point half a day or more before the last to that, and the rise."""
    for at, value in reversed(points[:-1]):
        if points[-1][0] - at >= APART:
            return (points[-1][0] - at) / DAY, points[-1][1] - value
    return None
