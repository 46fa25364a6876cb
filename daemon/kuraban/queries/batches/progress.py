"""What a brewer asks of a place that runs: how far it is, and when its next work is due.

Times are Unix seconds, temperatures °C, rates K/h, days are whole moromi days as the course counts
them, so that BMD is what the crew writes; only a forecast takes their fraction. Samples come from
the books as they count now.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from statistics import median

from kuraban.core import entries as e
from kuraban.core.facts import Logged
from kuraban.core.forecast.drift import drift_of
from kuraban.core.forecast.time_to_limit import baume_of
from kuraban.core.house_view import HouseView
from kuraban.core.plan.subject_state import Batch
from kuraban.core.planned_curve import Target
from kuraban.core.site import House
from kuraban.core.units import DAY, MINUTE, day_turn, next_clock
from kuraban.core.views.batch_sheet import Proposal
from kuraban.trade.density import (
    LONGEST_MASH,
    ZeroDay,
    baume_from_smv,
    bmd,
    forecast_zero,
    hydrometer_at_15,
)
from kuraban.trade.heat import Hours, hours_until
from kuraban.trade.numerics import on_line

WORKS_BACK = 20 * MINUTE
WORKS_ON = 45 * MINUTE
"""Before a work and after it the bed's temperature is read over so long (common practice)."""
LEAST, MOST = -3.0, 20.0
"""Baume of which BMD is reckoned."""
NARROW = 3.0
"""Days of a forecast's range beyond which it advises nothing."""
PRESSED_AFTER = 7.0
"""Days after Baume zero within which mash is pressed (common practice)."""
TENTHS = 0.3
"""K by which a day's aim is moved at a time: a few tenths (common practice)."""
BESIDE, LEAST_BESIDE = 0.05, 1.5
"""The share of a line's BMD, and how much at least, within which a batch goes with it: two readings
may differ by 0.05 Baume, 1.5 on day 30 (common practice)."""
FRESH = 1.5 * DAY
"""A sample older than that proposes nothing."""
SPIRIT = ("alcohol", "late-water", "water", "yodan")
"""What changes Baume without ferment: a forecast starts anew after it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sampled:
    """One day's analysis. `baume` is at 15 °C where the sample's temperature is known."""

    at: float
    day: int | None
    baume: float | None
    alcohol: float | None
    acidity: float | None

    @property
    def bmd(self) -> float | None:
        if self.day is None or self.baume is None or not 1 <= self.day <= LONGEST_MASH:
            return None
        return bmd(self.day, self.baume) if LEAST <= self.baume <= MOST else None


@dataclass(frozen=True, slots=True, kw_only=True)
class Progress:
    """Samples by time, the forecast of Baume zero, and what the plan has for tomorrow morning."""

    samples: tuple[Sampled, ...]
    today: int | None
    zero: ZeroDay | None
    corrected: str | None
    """What was added that made the forecast start anew."""
    slope: float | None
    """% ABV made as Baume fell by a degree in this batch, where two samples tell."""
    ends: float | None
    """The moromi day on which the course ends."""
    tomorrow: tuple[float, float] | None
    """Time and °C of the plan."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Works:
    """A koji bed: hours until its stage's last figure by its own rise, and what works did to it."""

    product: float
    goal: float
    stage: str
    following: str | None
    due: float
    """When the course expects the next work."""
    slow: float
    fast: float
    hours: Hours
    last: tuple[tuple[str, float, float], ...]
    """Earlier works: what, when, and by how much the bed fell or rose with it."""


def progress(house: House, told: Iterable[Logged], batch: Batch, now: float) -> Progress:
    """How far a mash is. `told` are the entries of its place that count, as they count."""
    own = [logged for logged in told if batch.since <= logged.at <= now]
    samples = _samples(own, batch)
    added = _added(own)
    clean = [s for s in samples if added is None or s.at > added[1]]
    site, zone = house.site, house.zone
    points = [
        (s.day + (s.at - day_turn(s.at, site.day_starts, zone)) / DAY, s.baume)
        for s in clean
        if s.bmd is not None and s.day is not None and s.baume is not None
    ]
    morning = next_clock(now, site.day_starts, zone)
    return Progress(
        samples=tuple(samples),
        today=batch.plan.day(now),
        zero=forecast_zero(points) if len(points) > 1 else None,
        corrected=None if added is None else added[0],
        slope=_line(clean),
        ends=_ends(batch),
        tomorrow=(morning, batch.plan.at(morning)),
    )


def proposed(
    found: Progress, target: Target | None, never: tuple[float, float], now: float
) -> Proposal | None:
    """What the samples propose for tomorrow's aim: a few tenths, or to leave it. The brewer decides
    by face, nose and tongue; a range that is wide advises nothing.

    BMD above the house's line is a ferment behind it, and below ahead; without a line, or after
    something that moved Baume by itself, the forecast of zero is held against the course's end.
    """
    if found.tomorrow is None:
        return None
    at, planned = found.tomorrow
    way, why, facts = _by_line(found, target, now) or _by_zero(found)
    celsius = min(max(planned + way * TENTHS, never[0]), never[1]) if way else planned
    return Proposal(at=at, planned=planned, celsius=celsius, why=why, facts=facts)


Way = tuple[int, str, tuple[tuple[str, float], ...]]
"""Warmer 1, colder -1 or as planned 0; why, and its figures."""


def _by_line(found: Progress, target: Target | None, now: float) -> Way | None:
    if target is None or not found.samples or found.corrected is not None:
        return None
    newest = found.samples[-1]
    if now - newest.at > FRESH:
        return None
    level, day = newest.bmd, newest.day
    wanted = None if day is None else on_line(target.bmd, day)
    if level is None or day is None or wanted is None:
        return None
    apart, room = level - wanted, max(BESIDE * abs(wanted), LEAST_BESIDE)
    facts = (("day", float(day)), ("bmd", level), ("wanted", wanted))
    if abs(apart) <= room:
        return 0, "with-line", facts
    return (1, "above-line", facts) if apart > 0 else (-1, "below-line", facts)


def _by_zero(found: Progress) -> Way:
    zero, ends = found.zero, found.ends
    if zero is None or ends is None or zero.latest - zero.earliest > NARROW:
        return 0, "open", ()
    facts = (("earliest", zero.earliest), ("latest", zero.latest), ("ends", ends))
    if zero.earliest > ends:
        return 1, "late", facts
    return (-1, "early", facts) if zero.latest < ends - PRESSED_AFTER else (0, "with-course", facts)


def _samples(told: list[Logged], batch: Batch) -> list[Sampled]:
    """Samples of the batch; those of one moment are one."""
    found: dict[float, e.Sample] = {}
    for logged in told:
        if isinstance(logged.entry, e.Sample):
            found[logged.at] = _both(found.get(logged.at), logged.entry)
    return [
        Sampled(
            at=at, day=batch.plan.day(at), baume=_at_15(sample), alcohol=sample.alcohol,
            acidity=sample.acidity,
        )
        for at, sample in sorted(found.items())
    ]  # fmt: skip


def _both(first: e.Sample | None, then: e.Sample) -> e.Sample:
    if first is None:
        return then
    names = then.__struct_fields__
    pairs = {name: (getattr(then, name), getattr(first, name)) for name in names}
    return e.Sample(**{name: old if new is None else new for name, (new, old) in pairs.items()})


def _at_15(sample: e.Sample) -> float | None:
    """Baume at 15 °C: corrected where the sample's temperature and alcohol were noted."""
    baume = baume_of(sample)
    if baume is None or sample.hydrometer_celsius is None or sample.alcohol is None:
        return baume
    if not (5 <= sample.hydrometer_celsius <= 30 and sample.alcohol <= 22 and -5 <= baume <= 15):
        return baume
    corrected = hydrometer_at_15(-10 * baume, sample.hydrometer_celsius, sample.alcohol)
    return baume_from_smv(corrected.smv)


def _added(told: list[Logged]) -> tuple[str, float] | None:
    """The latest addition that moved Baume by itself: what and when."""
    found = None
    for logged in told:
        if isinstance(logged.entry, e.Addition) and logged.entry.what in SPIRIT:
            found = logged.entry.what, logged.at
    return found


def _line(samples: list[Sampled]) -> float | None:
    """The slope of alcohol against the fall of Baume, from the first to the last that tell both."""
    both = [(s.alcohol, s.baume) for s in samples if s.alcohol is not None and s.baume is not None]
    if len(both) < 2 or both[0][1] - both[-1][1] < 0.5:
        return None
    return (both[-1][0] - both[0][0]) / (both[0][1] - both[-1][1])


def _ends(batch: Batch) -> float | None:
    """The moromi day of the course's end, as it stands."""
    span = batch.plan.spans[-1]
    end = span.due + sum(stage.length for stage in batch.course.stages[span.stage + 1 :])
    day = batch.plan.day(end)
    return None if day is None else float(day)


def works(view: HouseView, place: str, batch: Batch, now: float) -> Works | None:
    """A bed's next work by its own rise, None where its product or its rise is not known."""
    known, drift = view.product(place, now), drift_of(view, place, batch, now)
    if known is None or drift is None:
        return None
    standing, slope = batch.plan.standing(now), batch.plan.slope(now)
    rates = drift.low + slope, drift.high + slope
    goal = standing.stage.points[-1][1]
    following = batch.course.stages[standing.span.stage + 1 : standing.span.stage + 2]
    return Works(
        product=known[0],
        goal=goal,
        stage=_title(standing.stage.title, standing.stage.id),
        following=_title(following[0].title, following[0].id) if following else None,
        due=standing.span.due,
        slow=rates[0],
        fast=rates[1],
        hours=hours_until(known[0], goal, rates),
        last=tuple(_works_done(view, place, batch, now)),
    )


def _title(title: dict[str, str], name: str) -> str:
    both = [title[language] for language in ("ja", "en") if title.get(language)]
    return " ".join(both) or name


def _works_done(
    view: HouseView, place: str, batch: Batch, now: float
) -> list[tuple[str, float, float]]:
    """Each work of this batch whose before and after are in the record, and what it did."""
    found, series = [], view.places[place].series
    for logged in view.entry_log.about(place):
        entry, within = logged.entry, batch.since <= logged.at <= now - WORKS_ON
        if within and isinstance(entry, (e.StageMark, e.Handwork)):
            before = series.since(logged.at - WORKS_BACK, logged.at)[1]
            after = series.since(logged.at + WORKS_ON - WORKS_BACK, logged.at + WORKS_ON)[1]
            if len(before) > 2 and len(after) > 2:
                name = entry.stage if isinstance(entry, e.StageMark) else "handwork"
                found.append((name, logged.at, median(after) - median(before)))
    return found[-4:]
