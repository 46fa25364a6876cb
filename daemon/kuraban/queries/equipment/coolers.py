"""Coolers and heaters as whoever keeps them looks at them, and how long what they serve can wait.

Whether one is called for and runs is read as the detectors read it. Starts are counted from the
probe that speaks oftenest, and a compressor is told from a pump by its draw, as where too many
starts are told. Heat: what warms a tank uncooled, by its own record and its litres, is what its
cooling has to take out, within the share of the time in which it cools.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import NamedTuple

from kuraban.core.detectors.landing import FULL
from kuraban.core.equipment.cooler_view import CoolerView
from kuraban.core.forecast.time_to_limit import (
    FILLED,
    LEAST_RECORD,
    Hours,
    alcohol_a_day,
    hours_left,
)
from kuraban.core.forecast.warming_rate import RECORD, disturbed_since
from kuraban.core.house_view import HouseView
from kuraban.core.plan.fill_level import litres_in
from kuraban.core.probes.probe_view import ProbeView
from kuraban.core.site import Cooler
from kuraban.core.units import HOUR, MINUTE
from kuraban.core.views.equipment_run_hours import Spell, share, spells, starts
from kuraban.core.views.equipment_views import CoolerNow, HoursLeft, Served
from kuraban.trade.heat import LIQUID_SHARE, MASH_HEAT_CAPACITY, fermentation_watts
from kuraban.trade.robust import median

COMPRESSOR_SHARE, COMPRESSOR_WATTS = 0.15, 60.0
"""Share of the rated draw, and W where none is known, from which a compressor runs."""
BACK = (1.0, 6.0, 12.0)
"""Hours of which the share run is told."""
KEPT, HOURS_KEPT = 10.0, 60.0
"""Seconds for which a cooler, and the hours of a place, are not reckoned anew."""
MOST_HOURS = 2
"""Places of which one picture reckons the hours anew, but for those not known at all."""
LEAST_COOLED = 0.05
"""Share of the time from which what cooling takes out can be told."""


class _Known(NamedTuple):
    at: float
    version: int
    hours: HoursLeft | None


class Machines:
    """Coolers, and hours left, as last reckoned. Belongs to the loop that owns the engine."""

    def __init__(self) -> None:
        self._hours: dict[str, _Known] = {}
        self._coolers: tuple[float, int, tuple[CoolerNow, ...]] = (-math.inf, -1, ())
        self._left = 0

    def hours(self, view: HouseView, now: float) -> dict[str, HoursLeft]:
        """By place, for every place with a batch of which something is known."""
        self._left = MOST_HOURS
        found = {}
        for place in view.house.places:
            if place.kind in ("tank", "starter") and view.batch(place.id, now) is not None:
                hours = self._of_place(view, place.id, now)
                if hours is not None:
                    found[place.id] = hours
        return found

    def _of_place(self, view: HouseView, place: str, now: float) -> HoursLeft | None:
        kept, version = self._hours.get(place), view.entry_log.version
        old = kept is None or kept.version != version or not 0 <= now - kept.at < HOURS_KEPT
        if kept is None or (old and self._left > 0):
            self._left -= 1
            kept = self._hours[place] = _Known(now, version, hours_of(view, place, now))
        return kept.hours

    def coolers(
        self, view: HouseView, hours: dict[str, HoursLeft], now: float
    ) -> tuple[CoolerNow, ...]:
        """Every cooler and heater in the order of the site file."""
        at, version, found = self._coolers
        if version != view.entry_log.version or not 0 <= now - at < KEPT:
            found = tuple(cooler_of(view, one, hours, now) for one in view.house.coolers)
            self._coolers = now, view.entry_log.version, found
        return found


def hours_of(view: HouseView, place: str, now: float) -> HoursLeft | None:
    """How long a place has if its cooling stopped now, and the heat that goes in and out."""
    found = hours_left(view, place, now)
    if found is None:
        return None
    return HoursLeft(
        soonest=_known(found.soonest), latest=_known(found.latest),
        limit_soonest=_known(found.limit_soonest), limit_latest=_known(found.limit_latest),
        rests_on=found.rests_on, slow=found.slow, fast=found.fast, record=found.record,
        shut=found.shut, litres=_litres(view, place, now), made=_made(view, place, now),
        taken=_taken(view, place, found, now),
    )  # fmt: skip


def _known(hours: float) -> float | None:
    return None if math.isinf(hours) else hours


def _litres(view: HouseView, place: str, now: float) -> tuple[float, float] | None:
    """Least and most litres in it: by what was logged, else by its size."""
    logged, size = litres_in(view.entry_log, place, now), view.house.place[place].litres
    if logged:
        return (1 - FULL) * logged, (1 + FULL) * logged
    return None if size is None else (FILLED[0] * size, FILLED[1] * size)


def _made(view: HouseView, place: str, now: float) -> tuple[float, float] | None:
    """W of the ferment by its samples."""
    a_day, litres = alcohol_a_day(view, place, now), _litres(view, place, now)
    if a_day is None or litres is None:
        return None
    slow, fast = (
        fermentation_watts(rate, held, LIQUID_SHARE)
        for rate, held in zip(a_day, litres, strict=True)
    )
    return slow, fast


def _taken(view: HouseView, place: str, found: Hours, now: float) -> tuple[float, float] | None:
    """W that its cooling takes out while it cools; None where its record does not say."""
    litres = _litres(view, place, now)
    if litres is None or found.record is None or found.record * HOUR < LEAST_RECORD:
        return None
    cooled = 1 - (1.0 if found.shut is None else found.shut)
    moved = _moved(view, place, now)
    if cooled < LEAST_COOLED or moved is None or found.slow < moved:
        return None
    least, most = (held * MASH_HEAT_CAPACITY / 3600 / cooled for held in litres)
    return (found.slow - moved) * least, (found.fast - moved) * most


def _moved(view: HouseView, place: str, now: float) -> float | None:
    """K an hour by which it moved over its record, from end to end."""
    since = max(now - RECORD, disturbed_since(view, place, now))
    times, values = view.places[place].series.since(since, now)
    part = len(times) // 6
    if part < 3 or times[-1] - times[0] < LEAST_RECORD:
        return None
    hours = (times[-1] - times[0]) * 5 / 6 / HOUR
    return (median(list(values[-part:])) - median(list(values[:part]))) / hours


# A cooler.


def cooler_of(
    view: HouseView, cooler: Cooler, hours: dict[str, HoursLeft], now: float
) -> CoolerNow:
    """One cooler or heater as it stands."""
    seen = CoolerView(view, cooler.id)
    ran, turns = _spells(view, cooler, now)
    runs = seen.runs(now)
    return CoolerNow(
        id=cooler.id,
        name=cooler.name,
        kind=cooler.kind,
        heats=cooler.heats,
        service=cooler.service,
        rated=cooler.rated_watts,
        out=view.entry_log.of(cooler.id).out_of_service,
        judged=view.cooler_judged(cooler.id, now),
        called=seen.called_by(now),
        runs=runs,
        since=ran[-1].start if ran and ran[-1].runs is runs else None,
        power=view.measured(cooler.id, now, "power"),
        supply=view.measured(cooler.id, now, "supply"),
        back=view.measured(cooler.id, now, "return"),
        air=view.measured(cooler.id, now, "air"),
        at=_heard(view, cooler.id),
        band=cooler.band,
        off_band=seen.off_band(now),
        starts=starts(turns, now - HOUR) if _seen(turns, now) else None,
        shares=tuple(_shares(ran, now)),
        served=tuple(
            Served(
                place=place, judged=view.place_judged(place, now),
                valve=view.signal(place, now, "valve"), hours=hours.get(place),
            )
            for place in view.served(cooler.id)
        ),
    )  # fmt: skip


def _heard(view: HouseView, cooler: str) -> float | None:
    heard = (view.probe_states[probe.id].heard for probe in view.house.probes_of(cooler))
    return max((at for at in heard if at is not None), default=None)


def _spells(view: HouseView, cooler: Cooler, now: float) -> tuple[list[Spell], list[Spell]]:
    """When it ran by its own word or its draw; and by whatever speaks oftenest, for its starts."""
    power, running = (view.hanging(cooler.id, measure)[:1] for measure in ("power", "running"))
    telling = [*running, *power]
    if not telling:
        return [], []
    draws = CoolerView(view, cooler.id).least_draw()
    oftenest = min(telling, key=lambda probe_state: probe_state.probe.every)
    rated = cooler.rated_watts
    compressor = COMPRESSOR_WATTS if rated is None else COMPRESSOR_SHARE * rated
    return _of(telling[0], draws, BACK[-1] * HOUR, now), _of(oftenest, compressor, 2 * HOUR, now)


def _of(probe_state: ProbeView, watts: float, back: float, now: float) -> list[Spell]:
    least = watts if probe_state.probe.measures == "power" else 0.5
    times, values = probe_state.series.since(now - back, now)
    return spells(zip(times, values, strict=True), least, probe_state.silent_after, now)


def _seen(found: list[Spell], now: float) -> bool:
    """Whether so much of the last hour is known that starts can be counted."""
    return sum(spell.within(now - HOUR, now) for spell in found) >= 50 * MINUTE


def _shares(found: list[Spell], now: float) -> Iterator[tuple[float, float]]:
    for back in BACK:
        known = share(found, now - back * HOUR, now)
        if known is not None:
            yield back, known
