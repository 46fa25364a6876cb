"""Ladders, calendars and absences in the site file."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from pathlib import Path

import pytest

from kuraban.core import rota
from kuraban.core.site import from_document, to_document
from kuraban.core.units import MINUTE
from kuraban.errors import Fault
from kuraban.settings import load

NOW = datetime.fromisoformat("2026-02-04T12:00:00+09:00").timestamp()
ICS = """BEGIN:VCALENDAR\r
VERSION:2.0\r
PRODID:-//Nowhere//rota//EN\r
BEGIN:VEVENT\r
UID:1\r
SUMMARY:{who}\r
DTSTART:20260205T180000\r
DTEND:20260206T060000\r
END:VEVENT\r
END:VCALENDAR\r
"""
CALENDAR = '\n[[calendar]]\nrole = "brewer"\nfile = "duty.ics"\n'
AWAY = '\n[[away]]\nperson = "aki"\nfrom = {}\nto = {}\nminutes = 40\n'


def test_the_rungs_of_both_ladders_can_be_set(small: Callable[..., Path]) -> None:
    site = small(("[site]\n", '[site]\nladder = ["0m", "15m"]\nquick_ladder = ["0s", "90s"]\n'))
    found = load(site, {}).house.site
    assert (found.ladder, found.quick_ladder) == ((0.0, 900.0), (0.0, 90.0))


@pytest.mark.parametrize(
    ("written", "right"),
    [
        ('["5m", "10m"]', "told at once"),
        ('["0m", "20m", "10m"]', "ascending order"),
        ('["0m", "0m"]', "ascending order"),
        ("[]", "1 to 12 durations"),
        ('"10m"', "1 to 12 durations"),
        ('["0m", "soon"]', "duration such as"),
    ],
)
def test_a_ladder_begins_at_once_and_only_climbs(
    small: Callable[..., Path], faults: Callable[..., dict[str, Fault]], written: str, right: str
) -> None:
    found = faults(small(("[site]\n", f"[site]\nladder = {written}\n")))
    assert right in found["site.ladder"].right


def test_a_calendar_becomes_shifts_of_the_house(small: Callable[..., Path], tmp_path: Path) -> None:
    """And stands in the journal's copy of it."""
    (tmp_path / "duty.ics").write_text(ICS.format(who="Aki"), "utf-8")
    house = load(small(more=CALENDAR), {}, NOW).house
    (shift,) = house.shifts
    assert (shift.person, shift.role, shift.order) == ("aki", "brewer", 1)
    assert from_document(to_document(house)) == house
    assert load(small(more=CALENDAR), {}).house.shifts == ()


def test_a_calendar_that_names_nobody_is_told(small: Callable[..., Path], tmp_path: Path) -> None:
    (tmp_path / "duty.ics").write_text(ICS.format(who="night"), "utf-8")
    told = [str(warning) for warning in load(small(more=CALENDAR), {}, NOW).warnings]
    assert any("name nobody" in word and '"night"' in word for word in told)
    assert any("no duty in the next" in word for word in told)


def test_a_calendar_that_is_not_there_or_is_none_is_a_fault(
    small: Callable[..., Path], faults: Callable[..., dict[str, Fault]], tmp_path: Path
) -> None:
    site = small(more=CALENDAR + 'person = "nobody"\n')
    found = faults(site)
    assert "No such file" in found["calendar[#1].file"].wrong
    assert "no person" in found["calendar[#1].person"].wrong
    (tmp_path / "duty.ics").write_text("aki on mondays", "utf-8")
    assert "calendar" in faults(site)["calendar[#1].file"].wrong


@pytest.mark.parametrize(
    ("start", "end", "first", "last"),
    [
        ("2026-12-31", '"2027-01-03"', "2026-12-31T00:00:00", "2027-01-03T23:59:59"),
        ('"2026-12-31 18:00"', '"2027-01-03 08:00"', "2026-12-31T18:00:00", "2027-01-03T07:59:59"),
    ],
)
def test_days_alone_count_whole(
    small: Callable[..., Path], start: str, end: str, first: str, last: str
) -> None:
    """Written as TOML's own dates or as text."""
    house = load(small(more=AWAY.format(start, end)), {}).house

    def arrival(text: str, later: float = 0.0) -> float | None:
        at = datetime.fromisoformat(text).replace(tzinfo=house.zone).timestamp()
        return rota.arrival(house, "aki", at + later)

    assert arrival(first) == arrival(last) == 40 * MINUTE
    assert arrival(first, -1.0) is None and arrival(last, 1.0) is None


def test_an_absence_ends_after_it_begins_and_is_somebodys(
    small: Callable[..., Path], faults: Callable[..., dict[str, Fault]]
) -> None:
    wrong = AWAY.format('"2026-12-31"', '"2026-12-30"').replace('"aki"', '"akki"')
    found = faults(small(more=wrong))
    assert "after from" in found["away[#1].to"].right
    assert '"aki"' in found["away[#1].person"].right
    assert "no day" in faults(small(more=AWAY.format('"soon"', '"later"')))["away[#1].from"].wrong
