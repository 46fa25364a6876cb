"""Who is on duty: days, hours across midnight, and who stands behind a role that nobody holds."""

from __future__ import annotations

import random
from datetime import date
from zoneinfo import ZoneInfo

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kuraban.core import rota as roster
from kuraban.core.site import Duty, Shift
from kuraban.core.units import HOUR, MINUTE
from tests.core.house import AWAKE, DUSK, ROTA, TOKYO, brewery, moment, with_rota
from tests.core.rota import WEEK, line_of, spells

HOUSE = brewery()
FRIDAY_NIGHT = Duty(
    role="brewer", person="aki", order=1, days=("fri",), hours=(18 * HOUR, 8 * HOUR)
)


def on_duty(duty: Duty, at: float, zone: ZoneInfo = TOKYO) -> bool:
    """Whether a house with this one line has its person on duty."""
    site = msgspec.structs.replace(HOUSE.site, timezone=zone.key)
    house = msgspec.structs.replace(with_rota(HOUSE, duty), site=site)
    return bool(roster.holders(house, duty.role, at))


@pytest.mark.parametrize(
    ("when", "on"),
    [
        ("2026-02-06T17:59:59", False),  # a Friday
        ("2026-02-06T18:00", True),
        ("2026-02-07T03:00", True),
        ("2026-02-07T07:59:59", True),
        ("2026-02-07T08:00", False),
        ("2026-02-06T03:00", False),
        ("2026-02-07T20:00", False),
    ],
)
def test_hours_across_midnight_belong_to_the_evening_on_which_they_begin(
    when: str, on: bool
) -> None:
    """Friday's night covers Saturday at three and not Friday at three."""
    assert on_duty(FRIDAY_NIGHT, moment(when)) is on


def test_a_line_without_days_and_hours_is_always() -> None:
    for hour in range(0, 24 * 7, 5):
        assert on_duty(ROTA[0], DUSK + hour * HOUR)


def test_a_day_without_hours_is_midnight_to_midnight() -> None:
    sunday = msgspec.structs.replace(ROTA[0], days=("sun",))
    assert on_duty(sunday, moment("2026-02-01T00:00"))
    assert on_duty(sunday, moment("2026-02-01T23:59:59"))
    assert not on_duty(sunday, moment("2026-02-02T00:00"))


duties = st.builds(
    Duty,
    role=st.just("brewer"),
    person=st.just("aki"),
    order=st.just(1),
    days=st.lists(st.sampled_from(WEEK), unique=True).map(tuple),
    hours=st.none() | st.tuples(*[st.integers(0, 47).map(lambda half: half * 1800.0)] * 2),
)


@given(duties, st.integers(0, 14 * 24 * 12))
def test_every_line_is_the_spells_that_it_writes_out(duty: Duty, steps: int) -> None:
    """Whatever the days and hours, the same moments are covered as by a list of spells."""
    at = DUSK + steps * 5 * MINUTE
    covered = any(start <= at < end for start, end in spells(duty, TOKYO, at))
    assert on_duty(duty, at, TOKYO) is covered


BERLIN, NEW_YORK = ZoneInfo("Europe/Berlin"), ZoneInfo("America/New_York")
CHANGES = [
    (BERLIN, 1774742400.0),  # 2026-03-29T00:00Z, an hour before clocks go from 02:00 to 03:00
    (BERLIN, 1792886400.0),  # 2026-10-25T00:00Z, an hour before they go from 03:00 back to 02:00
    (NEW_YORK, 1772949600.0),  # 2026-03-08T06:00Z, an hour before 02:00 becomes 03:00
    (NEW_YORK, 1793509200.0),  # 2026-11-01T05:00Z, an hour before 02:00 becomes 01:00
]


@given(duties, st.sampled_from(CHANGES), st.integers(-12 * 30, 12 * 30))
def test_where_clocks_change_every_line_is_its_spells_too(
    duty: Duty, change: tuple[ZoneInfo, float], steps: int
) -> None:
    """From the first minute by which the clock has come to its hour, in either of two nights."""
    zone, midnight = change
    at = midnight + steps * 5 * MINUTE
    covered = any(start <= at < end for start, end in spells(duty, zone, at))
    assert on_duty(duty, at, zone) is covered


@pytest.mark.parametrize(("zone", "before"), CHANGES)
def test_where_clocks_change_somebody_is_there_at_every_moment(
    zone: ZoneInfo, before: float
) -> None:
    """One hands over to the other at half past two, or at what comes in its place, and once."""
    hours = (14.5 * HOUR, 2.5 * HOUR)
    rota = (
        Duty(role="brewer", person="aki", order=1, hours=hours),
        Duty(role="brewer", person="bun", order=1, hours=hours[::-1]),
    )
    site = msgspec.structs.replace(HOUSE.site, timezone=zone.key)
    house = msgspec.structs.replace(HOUSE, rota=rota, site=site)
    there = [
        [one.person for one in roster.holders(house, "brewer", before + step * MINUTE)]
        for step in range(-60, 240)
    ]
    handed = there.index(["bun"])
    assert there == [["aki"]] * handed + [["bun"]] * (len(there) - handed)


def test_where_clocks_change_the_wall_clock_counts() -> None:
    """A night of 18:00 to 08:00 ends at eight on the wall, though an hour was lost."""
    vienna = ZoneInfo("Europe/Vienna")
    night = Duty(role="brewer", person="aki", order=1, hours=(18 * HOUR, 8 * HOUR))
    spring = 1774746000.0  # 2026-03-29T02:00+01:00, when it becomes 03:00
    assert on_duty(night, spring + 4 * HOUR + 59 * MINUTE, vienna)
    assert not on_duty(night, spring + 5 * HOUR, vienna)


def test_the_rota_names_who_comes_first() -> None:
    assert [one.person for one in roster.holders(HOUSE, "brewer", DUSK)] == ["aki", "bun"]
    turned = with_rota(HOUSE, *(msgspec.structs.replace(d, order=9 - d.order) for d in ROTA))
    assert [one.person for one in roster.holders(turned, "brewer", DUSK)] == ["bun", "aki"]


def test_a_person_on_two_lines_is_told_once() -> None:
    twice = brewery(Duty(role="brewer", person="aki", order=5))
    assert [one.person for one in roster.holders(twice, "brewer", DUSK)] == ["aki", "bun"]


@pytest.mark.parametrize("order", [0, 1, 5])
def test_who_is_awake_by_one_of_two_lines_is_awake(order: int) -> None:
    """Always on call, and this night at work: rung for what can wait, too."""
    up = Duty(role="maintenance", person="ken", order=order, awake=True)
    (ken,) = roster.holders(brewery(up), "maintenance", DUSK)
    assert (ken.person, ken.awake) == ("ken", True)


def test_nobody_on_a_role_passes_it_to_the_brewer_on_duty() -> None:
    house = with_rota(HOUSE, *(duty for duty in ROTA if duty.role != "maintenance"))
    assert [one.person for one in roster.chain(house, "maintenance", DUSK)] == ["aki", "bun"]


def test_off_duty_maintenance_sleeps_while_a_brewer_is_on_duty() -> None:
    days = Duty(role="maintenance", person="ken", order=1, hours=(8 * HOUR, 17 * HOUR))
    house = with_rota(HOUSE, ROTA[0], days)
    assert roster.chain(house, "maintenance", moment("2026-02-01T10:00"))[0].person == "ken"
    assert roster.chain(house, "maintenance", moment("2026-02-01T22:00"))[0].person == "aki"


def test_with_nobody_on_duty_at_all_the_role_is_rung_at_home() -> None:
    away = (8 * HOUR, 17 * HOUR)
    house = with_rota(HOUSE, *(msgspec.structs.replace(duty, hours=away) for duty in ROTA))
    night = moment("2026-02-01T22:00")
    assert [one.person for one in roster.chain(house, "maintenance", night)] == ["ken"]
    assert [one.person for one in roster.chain(house, "cleaner", night)] == ["aki", "bun"]


def test_an_empty_rota_still_reaches_somebody() -> None:
    assert roster.chain(with_rota(HOUSE), "brewer", DUSK)[0].person == "aki"


def test_who_works_tonight_is_awake_whatever_the_role() -> None:
    house = brewery(AWAKE)
    assert roster.awake(house, moment("2026-02-01T21:59")) == []
    assert [one.person for one in roster.awake(house, moment("2026-02-02T02:00"))] == ["cho"]


def test_a_random_rota_reads_the_same_twice() -> None:
    """The line of a role, read from the rota and from its spells written out."""
    lots = random.Random(62682)
    for _ in range(300):
        rota = [
            Duty(
                role=lots.choice(["brewer", "maintenance", "crew"]),
                person=lots.choice(["aki", "bun", "cho", "dai", "ken"]),
                order=order,
                days=tuple(lots.sample(WEEK, lots.choice([0, 3, 6]))),
                hours=lots.choice([None, (22 * HOUR, 6 * HOUR), (6 * HOUR, 18 * HOUR)]),
            )
            for order in range(lots.randint(0, 6))
        ]
        lots.shuffle(rota)
        house = with_rota(HOUSE, *rota)
        at, role = DUSK + lots.random() * 8 * 86400, lots.choice(["brewer", "maintenance", "crew"])
        read = [one.person for one in roster.chain(house, role, at)]
        assert read == line_of(house, role, at, product_or_air=False)


def test_a_duty_begins_on_its_day_by_line_or_by_calendar() -> None:
    """Friday's night is Friday's duty, though most of it is Saturday; a shift likewise."""
    night = Shift(
        role="maintenance", person="ken", order=1,
        start=moment("2026-02-06T18:00"), end=moment("2026-02-07T08:00"),
    )  # fmt: skip
    house = msgspec.structs.replace(with_rota(HOUSE, FRIDAY_NIGHT), shifts=(night,))
    friday, saturday = date(2026, 2, 6), date(2026, 2, 7)
    for person, role in (("aki", "brewer"), ("ken", "maintenance")):
        assert roster.has_duty(house, person, role, friday)
        assert roster.has_duty(house, person, None, friday)
        assert not roster.has_duty(house, person, role, saturday)
        assert not roster.has_duty(house, person, "crew", friday)
