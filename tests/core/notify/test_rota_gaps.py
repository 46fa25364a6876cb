"""Gaps of the rota are found before they come, and only where something will be judged."""

from __future__ import annotations

from datetime import datetime, timedelta

import msgspec
import pytest

from kuraban.core.notify.rota_gaps import Gap, gaps
from kuraban.core.rota import holders
from kuraban.core.site import Duty, House, Shift
from kuraban.core.units import DAY, HOUR, MINUTE
from tests.core.house import ROTA, brewery, moment

NOW = moment("2026-02-02T10:00")
"""A Monday."""
NIGHT = (18 * HOUR, 6 * HOUR)


def brewers(*lines: Duty, **more: object) -> House:
    house = brewery(rota=(*lines, *ROTA[2:]))
    return msgspec.structs.replace(house, **more)


def test_a_rota_without_days_and_hours_has_none() -> None:
    assert gaps(brewery(), NOW) == []


def test_the_days_between_the_nights_are_gaps() -> None:
    found = gaps(brewers(Duty(role="brewer", person="aki", order=1, hours=NIGHT)), NOW)
    assert found[0] == Gap("brewer", NOW, moment("2026-02-02T18:00"), ("aki",))
    assert found[1][1:3] == (moment("2026-02-03T06:00"), moment("2026-02-03T18:00"))
    assert len(found) == 28 and found[-1].end == moment("2026-03-01T18:00")


def test_a_night_that_one_weekday_lacks() -> None:
    """The night of Friday ends on Saturday; so does its gap."""
    days = ("mon", "tue", "wed", "thu", "sat", "sun")
    night = Duty(role="brewer", person="aki", order=1, days=days, hours=NIGHT)
    day = Duty(role="brewer", person="bun", order=1, hours=NIGHT[::-1])
    found = gaps(brewers(night, day), NOW)
    starts = [moment("2026-02-06T18:00") + week * 7 * DAY for week in range(4)]
    assert [gap.start for gap in found] == starts
    assert {gap.end - gap.start for gap in found} == {12 * HOUR}
    assert found[0].instead == ("aki", "bun")


def test_a_calendar_fills_what_the_rota_leaves() -> None:
    day = Duty(role="brewer", person="bun", order=1, hours=NIGHT[::-1])
    shift = Shift(role="brewer", person="aki", order=1, start=NOW, end=NOW + 14 * DAY + 30 * MINUTE)
    found = gaps(brewers(day, shifts=(shift,)), NOW)
    assert found[0].start == moment("2026-02-16T18:00")
    assert len(found) == 14


def test_maintenance_that_only_works_by_day_leaves_its_nights_to_the_brewer() -> None:
    rota = (*ROTA[:2], Duty(role="maintenance", person="ken", order=1, hours=NIGHT[::-1]))
    found = gaps(brewery(rota=rota), NOW)
    assert {gap.role for gap in found} == {"maintenance"}
    assert found[0].instead == ("aki", "bun")


def test_a_role_that_the_rota_never_names_is_the_brewers() -> None:
    assert gaps(brewery(rota=ROTA[:2]), NOW) == []


def test_where_nothing_is_judged_nobody_needs_to_be_there() -> None:
    house = brewers(Duty(role="brewer", person="aki", order=1, hours=NIGHT))
    room = [msgspec.structs.replace(house.places[-1], band=None)]
    assert gaps(msgspec.structs.replace(house, places=tuple(room)), NOW) == []


def test_a_store_with_a_band_alone_needs_maintenance() -> None:
    rota = (Duty(role="maintenance", person="ken", order=1, hours=NIGHT),)
    house = msgspec.structs.replace(brewery(rota=rota), places=brewery().places[-1:])
    assert {gap.role for gap in gaps(house, NOW)} == {"maintenance"}


def test_every_gap_is_one_at_each_of_its_moments() -> None:
    """Looked at every quarter of an hour, as somebody with a calendar would."""
    night = Duty(role="brewer", person="aki", order=1, days=("mon", "sat"), hours=NIGHT)
    house = brewers(night, Duty(role="brewer", person="bun", order=2, days=("tue", "sat")))
    found = [gap for gap in gaps(house, NOW, days=14) if gap.role == "brewer"]
    for quarter in range(int(timedelta(days=13).total_seconds() / 900)):
        at = NOW + quarter * 900
        assert any(g.start <= at < g.end for g in found) is (not holders(house, "brewer", at))


@pytest.mark.parametrize("day", ["2026-03-28T12:00", "2026-10-24T12:00"])
def test_where_clocks_change_a_gap_is_one_at_each_of_its_moments(day: str) -> None:
    """Half past two is missing that night, or comes twice; the gap begins when he goes home."""
    site = msgspec.structs.replace(brewery().site, timezone="Europe/Berlin")
    house = brewers(Duty(role="brewer", person="aki", order=1, hours=(6 * HOUR, 2.5 * HOUR)))
    house = msgspec.structs.replace(house, site=site)
    noon = datetime.fromisoformat(day).replace(tzinfo=house.zone).timestamp()
    found = [gap for gap in gaps(house, noon, days=2) if gap.role == "brewer"]
    for minute in range(24 * 60):
        at = noon + minute * MINUTE
        assert any(g.start <= at < g.end for g in found) is (not holders(house, "brewer", at))
