"""Coolers and heaters: called for or not, running or not, how often, and how long all can wait."""

from __future__ import annotations

import math
from typing import Any

import msgspec
import pytest

from kuraban.core.site import Cooler, Probe
from kuraban.core.views.equipment_views import CoolerNow, HoursLeft
from kuraban.queries.equipment.coolers import Machines, cooler_of, hours_of
from kuraban.trade.heat import MASH_HEAT_CAPACITY
from tests.core.detectors.kit import AIR, CELLAR, KOJI_COURSE, MID, TANK, Night, course, house

CHILLER = Cooler(
    id="chiller", kind="chilled-water", name="Chiller 1", rated_watts=1500, band=(0.5, 6.0),
    service="Ken, ext. 12",
)  # fmt: skip
POWER = Probe(id="power", of="chiller", measures="power")
RUNNING = Probe(id="running", of="chiller", measures="running", every=300)
VALVE = Probe(id="valve", of="tank", measures="valve", every=300)
SUPPLY = Probe(id="supply", of="chiller", measures="supply")
RETURN = Probe(id="return", of="chiller", measures="return")


def night(*probes: Probe, **tank: Any) -> Night:
    place = msgspec.structs.replace(TANK, cooler="chiller", **tank)
    n = Night(house(place, CELLAR, MID, AIR, CHILLER, *probes, courses=(course(), KOJI_COURSE)))
    n.batch(since=-4320)
    return n


def seen(n: Night) -> CoolerNow:
    now = n.start + 60 * n.minute
    return cooler_of(n.view, n.view.house.cooler["chiller"], {}, now)


def thrice_an_hour(minute: float) -> float:
    """Five minutes of every twenty."""
    return 1200.0 if minute % 20 < 5 else 40.0


def test_three_runs_of_five_minutes_an_hour_are_a_quarter_of_the_time() -> None:
    found = seen(night(POWER).play(360, mid=10.0, power=thrice_an_hour))
    assert found.starts == 3
    assert dict(found.shares)[6.0] == pytest.approx(0.25, abs=0.02)
    assert 12.0 not in dict(found.shares) or found.shares[-1][1] < 0.3
    assert found.runs is False and found.power == 40.0


def test_it_says_since_when_it_runs() -> None:
    n = night(POWER).play(30, mid=10.0, power=lambda minute: 1200.0 if minute >= 12 else 40.0)
    found = seen(n)
    assert found.runs is True and found.since == n.start + 12 * 60


def test_its_own_word_stands_above_its_draw() -> None:
    """A pump's draw is no compressor's run where a running signal says that it rests."""
    found = seen(night(POWER, RUNNING).play(30, mid=10.0, power=200.0, running=0))
    assert found.runs is False


def test_an_old_chiller_that_nobody_measures_says_that() -> None:
    found = seen(night(SUPPLY).play(30, mid=10.0, supply=4.0))
    assert (found.runs, found.starts, found.shares, found.power) == (None, None, (), None)
    assert found.supply == 4.0 and found.off_band is False


def test_warm_water_and_an_open_valve_are_told_as_such() -> None:
    n = night(SUPPLY, RETURN, VALVE)
    found = seen(n.play(30, mid=10.3, supply=9.0, valve=1, **{"return": 9.4}))
    assert found.called == "called_valve" and found.off_band
    assert found.difference == pytest.approx(0.4)
    (served,) = found.served
    assert (served.place, served.valve, served.judged) == ("tank", True, True)


def test_out_of_service_and_whom_to_ring_stand_on_it() -> None:
    n = night(POWER).play(10, mid=10.0, power=40.0)
    n.log("chiller", "out-of-service", reason="maintenance")
    found = seen(n)
    assert found.out is not None and not found.judged and found.service == "Ken, ext. 12"


def test_a_tank_given_to_another_cooler_hangs_on_it_no_more() -> None:
    n = Night(
        house(msgspec.structs.replace(TANK, cooler="chiller"), CELLAR, MID, CHILLER,
              msgspec.structs.replace(CHILLER, id="spare"), courses=(course(),))
    )  # fmt: skip
    n.batch()
    n.log("tank", "served-by", cooler="spare")
    assert seen(n).served == ()
    spare = cooler_of(n.view, n.view.house.cooler["spare"], {}, n.start)
    assert [one.place for one in spare.served] == ["tank"]


# Hours left, and heat.


def kept_level(minute: float) -> float:
    """Warms by 0.1 K/h while its valve is shut, and falls back in the 24 minutes it is open."""
    part = minute % 120
    return 10.0 + (0.1 * part / 60 if part < 96 else 0.16 * (1 - (part - 96) / 24))


def valve(minute: float) -> float:
    return float(minute % 120 >= 96)


def left(n: Night) -> HoursLeft | None:
    return hours_of(n.view, "tank", n.start + 60 * n.minute)


def test_what_cooling_takes_out_is_what_the_tank_would_gain() -> None:
    """0.1 K/h for a full or a little filled tank, in a fifth of the time: the truth lies within."""
    found = left(night(VALVE).play(720, mid=kept_level, air=8.0, valve=valve))
    assert found is not None and found.rests_on == "own warm-ups" and found.taken is not None
    truth = 0.1 * (0.8 * 1400) * MASH_HEAT_CAPACITY / 3600 / 0.2
    assert found.taken[0] <= truth <= found.taken[1]
    assert found.shut == pytest.approx(0.8, abs=0.05)


def test_hours_are_never_infinite_where_they_are_shown() -> None:
    """A cold cellar: it never leaves its tolerance, and that is told as none."""
    found = left(night(VALVE).play(720, mid=10.0, air=2.0, valve=valve))
    assert found is not None
    every = (found.soonest, found.latest, found.limit_soonest, found.limit_latest)
    assert all(hours is None or math.isfinite(hours) for hours in every)


def test_the_ferment_makes_what_its_samples_say() -> None:
    """1 % ABV a day in a cubic metre of liquid is about 100 W (Colombié et al. 2007)."""
    n = night(VALVE)
    n.log("tank", "sample", at=-2880, alcohol=8.0)
    n.log("tank", "sample", at=-1440, alcohol=9.0)
    found = left(n.play(720, mid=kept_level, air=8.0, valve=valve))
    assert found is not None and found.made is not None
    assert found.made[0] < 100 * 1.12 * 0.85 < found.made[1]


def test_an_empty_tank_has_no_hours() -> None:
    n = night(VALVE).play(60, mid=10.0, valve=0)
    n.log("tank", "batch-end")
    assert left(n) is None and Machines().hours(n.view, n.start + 60 * n.minute) == {}


def test_hours_are_not_reckoned_anew_every_second() -> None:
    n, machines = night(VALVE).play(720, mid=kept_level, air=8.0, valve=valve), Machines()
    now = n.start + 60 * n.minute
    first = machines.hours(n.view, now)["tank"]
    assert machines.hours(n.view, now + 5)["tank"] is first
    assert machines.hours(n.view, now + 120)["tank"] is not first
    coolers = machines.coolers(n.view, {"tank": first}, now)
    assert coolers[0].served[0].hours is first
    assert machines.coolers(n.view, {}, now + 5) is coolers
