"""Whom each rung of the ladder reaches."""

from __future__ import annotations

import pytest

from kuraban.core.alarm_conditions import CONDITIONS
from kuraban.core.notify.ladder import WHOM, Whom, called, called_on_duty
from kuraban.core.site import Duty
from kuraban.core.units import HOUR
from tests.core.house import AWAKE, DUSK, brewery, moment, with_rota

HOUSE = brewery()
NIGHT = moment("2026-02-02T02:00")


def reached(
    condition: str, whom: Whom, at: float = NIGHT, *more: Duty, told: tuple[str, ...] = ()
) -> list[str]:
    calls = called(brewery(*more), CONDITIONS[condition], whom, at, 0, told)
    return [one.person for one in calls]


def climbed(condition: str, *more: Duty) -> list[list[str]]:
    """Whom each rung reaches, one after the other."""
    told: list[str] = []
    rungs = []
    for whom in WHOM:
        rungs.append(reached(condition, whom, NIGHT, *more, told=tuple(told)))
        told += rungs[-1]
    return rungs


def test_a_mash_rings_the_brewer_the_brewer_again_the_next_and_then_all() -> None:
    assert climbed("warm") == [["aki"], ["aki"], ["bun"], ["aki", "bun"]]


def test_a_cooler_rings_maintenance_and_the_brewers_at_last() -> None:
    """With one person on the role the third ring is hers again."""
    assert climbed("stopped") == [
        ["ken"], ["ken"], ["ken"], ["ken", "aki", "bun"],
    ]  # fmt: skip


def test_the_last_rung_reaches_all_of_the_role_off_duty_too() -> None:
    second = Duty(role="maintenance", person="dai", order=2, hours=(8 * HOUR, 17 * HOUR))
    assert reached("stopped", "next", NIGHT, second) == ["ken"]
    assert reached("stopped", "all", NIGHT, second) == ["ken", "dai", "aki", "bun"]


@pytest.mark.parametrize("condition", ["warm", "far-cold", "overcooling", "unwatched", "humid"])
def test_whoever_is_awake_hears_of_product_and_air_before_the_sleeping_brewer(
    condition: str,
) -> None:
    assert reached(condition, "first", NIGHT, AWAKE) == ["cho"]
    assert reached(condition, "first", DUSK, AWAKE) != ["cho"], "cho is not up yet"


def test_after_the_one_awake_comes_the_brewer() -> None:
    assert climbed("warm", AWAKE) == [["cho"], ["cho"], ["aki"], ["cho", "aki", "bun"]]


def test_next_is_the_first_on_duty_who_was_not_told() -> None:
    """Though the rota names them first; with all told, the second of the line is told again."""
    assert reached("warm", "next", told=("bun",)) == ["aki"]
    assert reached("warm", "next", told=("aki", "bun")) == ["bun"]
    assert reached("stopped", "next", told=("ken",)) == ["ken"], "nobody else is of the role"
    third = Duty(role="brewer", person="cho", order=3)
    assert reached("warm", "next", NIGHT, third) == ["aki"]
    assert reached("warm", "next", NIGHT, third, told=("aki", "bun", "cho")) == ["bun"]


@pytest.mark.parametrize("condition", ["stopped", "silent", "dark"])
def test_a_machine_is_not_the_business_of_who_is_awake(condition: str) -> None:
    assert reached(condition, "first", NIGHT, AWAKE) == ["ken"]


def store_call(whom: Whom, *rota: Duty) -> list[str]:
    """A store outside its band is maintenance's."""
    outside = CONDITIONS["warm"]._replace(role="maintenance")
    return [one.person for one in called(with_rota(HOUSE, *rota), outside, whom, NIGHT, 0)]


def test_a_store_outside_its_band_goes_to_maintenance_before_who_is_awake() -> None:
    assert store_call("first", *HOUSE.rota, AWAKE) == ["ken"]
    assert "cho" not in store_call("all", *HOUSE.rota, AWAKE)


def test_where_maintenance_is_off_duty_who_is_awake_hears_of_the_store_before_the_brewer() -> None:
    by_day = Duty(role="maintenance", person="ken", order=1, hours=(8 * HOUR, 17 * HOUR))
    others = [duty for duty in HOUSE.rota if duty.role != "maintenance"]
    assert store_call("first", *others, by_day, AWAKE) == ["cho"]
    assert store_call("first", *others, by_day) == ["aki"]


def test_nobody_on_maintenance_passes_a_cooler_to_the_brewer() -> None:
    house = with_rota(HOUSE, *(duty for duty in HOUSE.rota if duty.role != "maintenance"))
    calls = called(house, CONDITIONS["stopped"], "first", NIGHT, 0)
    assert [(one.person, one.role) for one in calls] == [("aki", "maintenance")]


def on_duty(condition: str, at: float, *more: Duty) -> list[str]:
    calls = called_on_duty(brewery(*more), CONDITIONS[condition], at)
    assert all(one.rung == 0 for one in calls)
    return [one.person for one in calls]


def test_what_can_wait_rings_in_duty_hours_and_nobody_at_night() -> None:
    assert on_duty("humid", moment("2026-02-01T06:00")) == ["dai"]
    assert on_duty("humid", moment("2026-02-01T20:59:59")) == ["dai"]
    assert on_duty("humid", moment("2026-02-01T21:00")) == []
    assert on_duty("humid", NIGHT) == []


def test_what_can_wait_rings_at_night_whoever_is_up_for_it() -> None:
    assert on_duty("humid", NIGHT, AWAKE) == ["cho"]
    assert on_duty("trending-warm", NIGHT, AWAKE) == ["cho"]
    assert on_duty("silent", NIGHT, AWAKE) == [], "cho is not of maintenance"
    up = Duty(role="maintenance", person="dai", order=2, awake=True)
    assert on_duty("silent", NIGHT, up) == ["dai"]
    second = Duty(role="maintenance", person="bun", order=3, awake=True)
    assert on_duty("silent", NIGHT, second, up) == ["dai"], "one is enough"
    assert on_duty("silent", moment("2026-02-01T12:00"), second, up) == ["ken"]
