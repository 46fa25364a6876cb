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
from kuraban.core.site import Away, Duty, House, Shift, Swap
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


# Who is away.


def at_new_year(**arrives: float) -> House:
    """The house of this evening, these people away until six, who need so many minutes."""
    return msgspec.structs.replace(
        HOUSE,
        away=tuple(
            Away(person=who, start=DUSK, end=DUSK + 12 * HOUR, arrive=minutes * MINUTE)
            for who, minutes in arrives.items()
        ),
    )


def test_who_is_away_needs_so_long_to_arrive_from_the_first_moment_and_not_at_the_last() -> None:
    house = at_new_year(aki=40)
    assert roster.arrival(house, "aki", DUSK - 1) is None
    assert roster.arrival(house, "aki", DUSK) == 40 * MINUTE
    assert roster.arrival(house, "aki", DUSK + 12 * HOUR - 1) == 40 * MINUTE
    assert roster.arrival(house, "aki", DUSK + 12 * HOUR) is None
    assert roster.arrival(house, "bun", DUSK) is None


def test_who_is_away_by_two_calendars_needs_the_longer_way() -> None:
    twice = (*at_new_year(aki=40).away, *at_new_year(aki=90).away)
    assert roster.arrival(msgspec.structs.replace(HOUSE, away=twice), "aki", DUSK) == 90 * MINUTE


def test_who_is_here_is_rung_before_who_is_away() -> None:
    line = roster.chain(at_new_year(aki=40), "brewer", DUSK)
    assert [one.person for one in line] == ["bun", "aki"]


def test_who_works_awake_but_elsewhere_is_not_counted_as_awake_here() -> None:
    up = msgspec.structs.replace(brewery(AWAKE), away=at_new_year(cho=40).away)
    night = moment("2026-02-02T02:00")
    assert roster.awake(up, night) == []
    assert [one.person for one in roster.awake(brewery(AWAKE), night)] == ["cho"]


def test_an_alarm_is_due_earlier_by_the_way_of_whoever_is_soonest_here() -> None:
    """Only while all whom it would ring are away."""
    assert roster.head_start(at_new_year(aki=40, bun=25), "brewer", DUSK) == 25 * MINUTE
    assert roster.head_start(at_new_year(aki=40), "brewer", DUSK) == 0.0
    assert roster.head_start(HOUSE, "brewer", DUSK) == 0.0
    assert roster.head_start(at_new_year(ken=60), "brewer", DUSK) == 0.0
    assert roster.head_start(at_new_year(ken=60), "maintenance", DUSK) == 60 * MINUTE


def test_all_are_away_when_nobody_of_the_line_is_here() -> None:
    assert roster.all_away(at_new_year(aki=40, bun=25), "brewer", DUSK)
    assert not roster.all_away(at_new_year(aki=40), "brewer", DUSK)
    assert not roster.all_away(HOUSE, "brewer", DUSK)
    nobody = msgspec.structs.replace(with_rota(HOUSE), people=())
    assert not roster.all_away(nobody, "brewer", DUSK)
    assert roster.head_start(msgspec.structs.replace(nobody, away=at_new_year(aki=40).away),
                             "brewer", DUSK) == 0.0  # fmt: skip


# Shifts and swaps.


def shifted(*swaps: Swap) -> House:
    """No lines; Ken's maintenance tonight is a shift of the calendar, and Dai's crew too."""
    ken = Shift(role="maintenance", person="ken", order=2, start=DUSK, end=DUSK + 12 * HOUR)
    dai = msgspec.structs.replace(ken, person="dai", order=1)
    cho = msgspec.structs.replace(ken, role="crew", person="cho", awake=True)
    return msgspec.structs.replace(with_rota(HOUSE), shifts=(ken, dai, cho), swaps=swaps)


def people(house: House, role: str, at: float) -> list[str]:
    return [one.person for one in roster.holders(house, role, at)]


def test_a_shift_is_on_duty_from_its_first_moment_and_not_at_its_last() -> None:
    for at, on in ((DUSK - 1, []), (DUSK, ["dai", "ken"]), (DUSK + 12 * HOUR - 1, ["dai", "ken"])):
        assert people(shifted(), "maintenance", at) == on
    assert people(shifted(), "maintenance", DUSK + 12 * HOUR) == []
    assert [one.person for one in roster.awake(shifted(), DUSK)] == ["cho"]


def test_all_of_a_role_are_those_of_its_lines_and_shifts_at_any_hour() -> None:
    assert [one.person for one in roster.everyone(shifted(), "maintenance")] == ["dai", "ken"]
    assert [one.person for one in roster.everyone(HOUSE, "brewer")] == ["aki", "bun"]
    assert [one.awake for one in roster.everyone(shifted(), "crew")] == [True]


def test_a_swap_is_of_its_day_and_its_role() -> None:
    """Of all roles where it names none."""
    for swap, on in (
        (Swap(first="ken", second="aki", day="2026-02-01"), ["dai", "aki"]),
        (Swap(first="aki", second="ken", day="2026-02-01", role="maintenance"), ["dai", "aki"]),
        (Swap(first="ken", second="aki", day="2026-02-01", role="crew"), ["dai", "ken"]),
        (Swap(first="ken", second="aki", day="2026-02-02"), ["dai", "ken"]),
    ):
        assert people(shifted(swap), "maintenance", DUSK) == on


def test_a_line_of_every_day_is_a_duty_of_any_day_and_one_of_fridays_is_not() -> None:
    assert roster.has_duty(HOUSE, "aki", "brewer", date(2026, 2, 1))
    assert not roster.has_duty(HOUSE, "cho", None, date(2026, 2, 1))
    assert not roster.has_duty(with_rota(HOUSE, FRIDAY_NIGHT), "aki", None, date(2026, 2, 1))
    assert not roster.has_duty(shifted(), "ken", "crew", date(2026, 2, 1))


def test_where_no_rota_is_written_nobody_is_taken_for_awake() -> None:
    line = roster.chain(with_rota(HOUSE), "brewer", DUSK)
    assert len(line) == 5 and not any(one.awake for one in line)


def test_the_turns_of_the_days_ahead_are_those_on_duty() -> None:
    """By lines across midnight, by single days, by shifts; for a day swapped; whoever is always on
    has a turn only of a day on which they stand in for somebody."""
    lines = (
        FRIDAY_NIGHT,
        Duty(role="brewer", person="sho", order=2, days=("sat",)),
        Duty(role="brewer", person="mio", order=3, hours=(8 * HOUR, 18 * HOUR)),
        Duty(role="crew", person="ken", order=1),
    )
    shift = Shift(role="crew", person="mio", order=2, start=moment("2026-02-04T20:00"),
                  end=moment("2026-02-05T02:00"))  # fmt: skip
    swap = Swap(first="ken", second="sho", day="2026-02-05")
    house = msgspec.structs.replace(with_rota(HOUSE, *lines), shifts=(shift,), swaps=(swap,))
    turns = list(roster.turns(house, date(2026, 2, 2), 7))
    always = {("crew", "ken")}
    for hour in range(24, 6 * 24):
        at = moment("2026-02-02T00:30") + hour * HOUR
        for role in ("brewer", "crew"):
            on = {(role, one.person) for one in roster.holders(house, role, at)} - always
            told = {(role, one.person) for one in turns if one.role == role
                    and one.start <= at < one.end}  # fmt: skip
            assert told == on, (hour, role)
