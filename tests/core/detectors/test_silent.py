"""A probe that does not answer, told from its own rhythm."""

from __future__ import annotations

import msgspec
import pytest

from kuraban.core.site import Probe
from kuraban.core.units import MINUTE
from tests.core.detectors.kit import (
    CELLAR,
    EVENING,
    MID,
    TANK,
    Night,
    cellar,
    course,
    house,
    noisy,
)

NOON = EVENING + 14 * 3600


def tank(every: float = MINUTE) -> Night:
    home = cellar()
    probes = tuple(msgspec.structs.replace(p, every=every) for p in home.probes)
    night = Night(msgspec.structs.replace(home, probes=probes), start=NOON)
    night.batch()
    return night


@pytest.mark.parametrize(("every", "silent"), [(MINUTE, 10), (5 * MINUTE, 50)])
def test_ten_of_its_own_intervals_and_at_least_ten_minutes(every: float, silent: float) -> None:
    night = tank(every)
    night.play(61, mid=noisy(10.0), air=6.0).play(180, air=6.0)
    assert night.raised("mid/silent") == [60 + silent]


def test_maintenance_hears_of_it_in_duty_hours() -> None:
    night = tank().play(60, mid=noisy(10.0), air=6.0).play(90, air=6.0)
    assert [page.role for page in night.pages("mid/silent")] == ["maintenance"]


def test_when_it_answers_again_it_is_over_at_once() -> None:
    night = tank().play(60, mid=noisy(10.0), air=6.0).play(90, air=6.0)
    night.play(95, mid=noisy(10.0), air=6.0)
    assert night.over("mid/silent") == [90]
    assert night.view.product("tank", night.engine.now) is not None


def test_a_single_gap_shorter_than_that_is_nothing() -> None:
    night = tank().play(60, mid=noisy(10.0), air=6.0).play(68, air=6.0)
    night.play(120, mid=noisy(10.0), air=6.0)
    assert not night.alarms()


def test_a_probe_that_never_spoke_is_told_from_when_it_was_to_be_judged() -> None:
    night = tank().play(60, air=6.0)
    assert night.raised("mid/silent") == [10]


def test_a_probe_of_a_tank_without_a_batch_rings_nobody() -> None:
    night = Night(cellar(), start=NOON).play(120)
    assert not night.alarms()


def test_the_room_of_a_tank_is_listened_to_while_a_batch_runs_there() -> None:
    night = tank().play(60, mid=noisy(10.0), air=6.0).play(90, mid=noisy(10.0))
    assert night.alarms() == {"air/silent"}


def test_a_filling_backfill_is_no_answer_of_now() -> None:
    """Old readings alone, an hour late: the probe is still silent."""
    night = tank().play(60, mid=noisy(10.0), air=6.0).play(150, air=6.0)
    late = [{"value": 10.0, "at": night.moment(m)} for m in range(62, 100)]
    night.send("reading/mid", msgspec.json.encode(late).decode())
    night.play(152, air=6.0)
    assert night.stands("mid/silent")


def test_a_probe_out_of_service_may_be_silent() -> None:
    night = tank().play(30, mid=noisy(10.0), air=6.0)
    night.log("mid", "out-of-service", reason="battery")
    night.play(120, air=6.0)
    assert "mid/silent" not in night.alarms()


def test_a_contact_falls_silent_as_a_thermometer_does() -> None:
    valve = Probe(id="valve", of="tank", measures="valve", every=5 * MINUTE)
    night = Night(cellar(valve), start=NOON)
    night.batch()
    night.play(61, mid=noisy(10.0), air=6.0, valve=0).play(120, mid=noisy(10.0), air=6.0)
    assert night.raised("valve/silent") == [60 + 50]


def test_after_the_batch_ended_its_silence_is_nobodys() -> None:
    night = tank().play(60, mid=noisy(10.0), air=6.0).play(90, air=6.0)
    night.log("tank", "batch-end")
    night.play(110)
    assert not night.stands("mid/silent")


def test_a_probe_set_out_of_service_in_the_air_makes_no_tank_cold() -> None:
    """Told as out of the mash, and then somebody switched it off: it reads 2 degrees of air."""
    night = Night(cellar())
    night.batch()
    night.play(60, mid=noisy(10.0), air=2.0).play(100, mid=2.0, air=2.0)
    assert night.stands("mid/displaced")
    night.log("mid", "out-of-service", reason="cable broken")
    night.play(215, mid=2.0, air=2.0)
    assert not night.alarms() & {"tank/cold", "tank/far-cold", "tank/overcooling"}
    assert night.view.product("tank", night.engine.now) is None
    night.play(300, mid=2.0, air=2.0)
    assert night.stands("tank/unwatched"), "nothing measures that tank"


def test_back_in_service_it_measures_again() -> None:
    night = Night(cellar())
    night.batch()
    night.play(60, mid=10.0, air=6.0)
    night.log("mid", "out-of-service", reason="new cable")
    night.play(70, mid=10.0, air=6.0)
    night.log("mid", "in-service")
    night.play(80, mid=10.0, air=6.0)
    assert night.view.product("tank", night.engine.now) is not None


def test_what_it_answers_from_the_start_of_the_batch_on() -> None:
    """It waits for its first word, then for the next; silent, it says since when; and after the
    batch it is not judged."""
    night = tank()
    assert night.why("mid/silent") == ["lacks: runs-out until=10 lasted=0 wanted=10"]
    assert night.play(5, air=6.0).why("mid/silent") == [
        "lacks: runs-out until=10 lasted=5 wanted=10",
        "delay: since=0 how=seen spent=5 wanted=10 due=10",
    ]
    night.play(61, mid=10.0, air=6.0).play(66, air=6.0)
    assert night.why("mid/silent") == ["lacks: answers since=60 wanted=10"]
    night.play(90, air=6.0)
    silent = ["stands", "seen: no-value since=60", "ends: over-answers"]
    assert night.why("mid/silent") == silent
    assert night.play(91, mid=10.0).why("mid/silent") == ["lacks: answers since=90 wanted=10"]
    night.log("tank", "batch-end")
    assert night.why("mid/silent") == []


def test_what_fell_silent_before_the_batch_has_its_ten_minutes_from_the_start_of_it() -> None:
    night = Night(cellar(), start=NOON).play(60, mid=10.0, air=6.0).play(90, air=6.0)
    night.batch()
    assert night.play(99, air=6.0).why("mid/silent")[0] == (
        "lacks: runs-out until=100 lasted=9 wanted=10"
    )
    assert night.play(101, air=6.0).raised("mid/silent") == [100]


def test_after_ten_minutes_without_a_batch_it_is_looked_at_again() -> None:
    """And nothing is told of it in between."""
    night = tank().play(60, mid=10.0, air=6.0).play(75, air=6.0)
    night.log("tank", "batch-end")
    assert night.view.probe_states["mid"].suspect == frozenset()
    detector = next(d for _, d in night.engine.registry.about["mid"] if "silent" in d.conditions)
    assert detector.look(night.engine.now) == night.engine.now + 10 * MINUTE


def halls(minute: float) -> Night:
    """Three tanks of one board that falls silent at 60, and back at a minute for two of them."""
    tanks = [msgspec.structs.replace(TANK, id=f"t{n}") for n in range(3)]
    probes = [msgspec.structs.replace(MID, id=f"p{n}", of=f"t{n}") for n in range(3)]
    night = Night(house(CELLAR, *tanks, *probes, courses=(course(),)), start=NOON)
    for n in range(3):
        night.batch(f"t{n}")
    return night.play(60, p0=10.0, p1=10.0, p2=10.0).play(minute).play(100, p0=10.0, p1=10.0)


def test_while_many_are_silent_together_each_waits_and_is_told_within_a_minute_after() -> None:
    night = halls(100)
    assert night.why("p2/silent") == ["lacks: dusk"]
    assert "silent" in night.view.probe_states["p2"].suspect
    assert halls(71).raised("p2/silent") == [71 + 2]
