"""Calendar files as calendar programs really write them (RFC 5545)."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from kuraban.core.site import Person
from kuraban.settings.checks.calendars import manned
from kuraban.settings.files.calendar_child import AHEAD, Read
from kuraban.settings.files.calendars import read_calendar, titles, write_out
from kuraban.settings.files.tables import CalendarTable

TOKYO = ZoneInfo("Asia/Tokyo")
PEOPLE = (
    Person(id="aki", name="Aki", language="ja"),
    Person(id="bun", name="文", language="ja"),
    Person(id="dai", name="Dai Mori", language="en"),
)
NOW = datetime(2026, 2, 4, 12, tzinfo=TOKYO).timestamp()
"""A Wednesday."""


def written(
    tmp_path: Path, *events: str, zone: ZoneInfo = TOKYO, now: float = NOW, **table: object
) -> list[tuple[str, str, str]]:
    """Person, start and end of each shift by the wall clock; `events` are lines between BEGIN and
    END."""
    shifts, _ = both(tmp_path, *events, zone=zone, now=now, **table)
    return shifts


def both(
    tmp_path: Path, *events: str, zone: ZoneInfo = TOKYO, now: float = NOW, **table: object
) -> tuple[list[tuple[str, str, str]], list[str]]:
    lines = ["BEGIN:VCALENDAR", "VERSION:2.0", "PRODID:-//Nowhere//rota//EN"]
    for number, event in enumerate(events):
        uid = "" if "UID:" in event else f"UID:e{number}\n"
        lines += ["BEGIN:VEVENT", *(uid + event).splitlines(), "END:VEVENT"]
    path = tmp_path / "duty.ics"
    path.write_text("\r\n".join([*lines, "END:VCALENDAR", ""]), "utf-8")
    row = CalendarTable.model_validate({"role": "brewer", "file": path.name, **table})
    calendar = read_calendar(path)
    found = manned(Read(titles(calendar), write_out(calendar, zone, now)), row, PEOPLE)

    def wall(at: float) -> str:
        return f"{datetime.fromtimestamp(at, zone):%m-%d %H:%M}"

    return [(s.person, wall(s.start), wall(s.end)) for s in found.shifts], found.nobody


def test_one_night_with_an_offset_a_zone_or_none(tmp_path: Path) -> None:
    """A time without a zone is the brewery's own."""
    night = ("aki", "02-05 18:00", "02-06 06:00")
    for start, end in (
        ("DTSTART:20260205T180000", "DTEND:20260206T060000"),
        ("DTSTART:20260205T090000Z", "DTEND:20260205T210000Z"),
        ("DTSTART;TZID=Asia/Tokyo:20260205T180000", "DURATION:PT12H"),
    ):
        assert written(tmp_path, f"SUMMARY:Aki\n{start}\n{end}") == [night]


def test_an_all_day_event_is_a_day_by_the_brewerys_clock(tmp_path: Path) -> None:
    assert written(tmp_path, "SUMMARY:aki\nDTSTART;VALUE=DATE:20260207") == [
        ("aki", "02-07 00:00", "02-08 00:00")
    ]
    assert written(
        tmp_path, "SUMMARY:aki\nDTSTART;VALUE=DATE:20260207\nDTEND;VALUE=DATE:20260210"
    ) == [("aki", "02-07 00:00", "02-10 00:00")]


@pytest.mark.parametrize(
    ("title", "person"),
    [
        ("aki", "aki"), ("AKI ", "aki"), ("夜番 文", "bun"), ("night: Aki", "aki"),
        ("Dai Mori", "dai"), ("dai (cellar)", "dai"), ("夜番(文)", "bun"),
    ],
)  # fmt: skip
def test_the_title_names_the_person(tmp_path: Path, title: str, person: str) -> None:
    """By id or name, alone or as a word in it."""
    event = f"SUMMARY:{title}\nDTSTART:20260205T180000\nDURATION:PT12H"
    assert [name for name, _, _ in written(tmp_path, event)] == [person]


@pytest.mark.parametrize("title", ["night", "akiko", "aki or 文 aki, 文"])
def test_a_title_that_names_nobody_or_several_is_told_and_counts_for_nothing(
    tmp_path: Path, title: str
) -> None:
    event = f"SUMMARY:{title}\nDTSTART:20260205T180000\nDURATION:PT12H"
    assert both(tmp_path, event) == ([], [title])


def test_a_calendar_of_ones_own_needs_no_names(tmp_path: Path) -> None:
    event = "SUMMARY:night\nDTSTART:20260205T180000\nDURATION:PT12H"
    assert written(tmp_path, event, person="dai") == [("dai", "02-05 18:00", "02-06 06:00")]


def test_every_week_with_one_left_out_and_one_moved(tmp_path: Path) -> None:
    """RRULE, EXDATE, RDATE and RECURRENCE-ID (RFC 5545, 3.8.5 and 3.8.4.4)."""
    series = (
        "UID:night\nSUMMARY:aki\nDTSTART;TZID=Asia/Tokyo:20260105T180000\nDURATION:PT12H\n"
        "RRULE:FREQ=WEEKLY;COUNT=8\nEXDATE;TZID=Asia/Tokyo:20260209T180000\n"
        "RDATE;TZID=Asia/Tokyo:20260213T180000"
    )
    moved = (
        "UID:night\nSUMMARY:文\nRECURRENCE-ID;TZID=Asia/Tokyo:20260216T180000\n"
        "DTSTART;TZID=Asia/Tokyo:20260217T200000\nDURATION:PT10H"
    )
    assert written(tmp_path, series, moved) == [
        ("aki", "02-02 18:00", "02-03 06:00"),
        ("aki", "02-13 18:00", "02-14 06:00"),
        ("bun", "02-17 20:00", "02-18 06:00"),
        ("aki", "02-23 18:00", "02-24 06:00"),
    ]


@pytest.mark.parametrize(
    ("until", "last"),
    [("20260218", "02-18 18:00"), ("20260218T090000Z", "02-18 18:00"),
     ("20260218T085959Z", "02-11 18:00")],
)  # fmt: skip
def test_a_series_ends_where_it_says(tmp_path: Path, until: str, last: str) -> None:
    event = (
        "SUMMARY:aki\nDTSTART;TZID=Asia/Tokyo:20260204T180000\nDURATION:PT12H\n"
        f"RRULE:FREQ=WEEKLY;UNTIL={until}"
    )
    assert written(tmp_path, event)[-1][1] == last


def test_a_night_begins_at_the_same_hour_all_year(tmp_path: Path) -> None:
    """Where clocks change, the wall clock counts."""
    vienna = ZoneInfo("Europe/Vienna")
    event = (
        "SUMMARY:aki\nDTSTART;TZID=Europe/Vienna:20260201T180000\nDURATION:PT14H\nRRULE:FREQ=DAILY"
    )
    nights = written(tmp_path, event, zone=vienna)
    assert {start[6:] for _, start, _ in nights} == {"18:00"}
    assert {end[6:] for _, _, end in nights} == {"08:00"}


def test_cancelled_and_free_events_are_no_duty(tmp_path: Path) -> None:
    event = "SUMMARY:aki\nDTSTART:20260205T180000\nDURATION:PT12H\n"
    assert written(tmp_path, event + "STATUS:CANCELLED", event + "TRANSP:TRANSPARENT") == []


def test_a_series_without_end_is_written_out_for_a_season(tmp_path: Path) -> None:
    """From this week's Monday, so that two starts within one week read the same house."""
    event = "SUMMARY:aki\nDTSTART:20200101T180000\nDURATION:PT12H\nRRULE:FREQ=DAILY"
    nights = written(tmp_path, event)
    assert nights == written(tmp_path, event, now=NOW - 2 * 86400) and len(nights) == 183
    assert nights[0] == ("aki", "02-01 18:00", "02-02 06:00")  # still on as the week begins
    assert AHEAD == 182 * 86400


@pytest.mark.parametrize(
    "text",
    [b"", b"Aki: Monday, Bun: Tuesday", b"BEGIN:VCALENDAR\r\nBEGIN:VEVENT\r\nEND:VCALENDAR\r\n",
     b"BEGIN:VCALENDAR\r\nBEGIN:VEVENT\r\nSUMMARY:aki\r\nEND:VEVENT\r\nEND:VCALENDAR\r\n",
     b"\xff\xfe\x00B"],
)  # fmt: skip
def test_what_is_no_calendar_is_told(tmp_path: Path, text: bytes) -> None:
    path = tmp_path / "duty.ics"
    path.write_bytes(text)
    with pytest.raises(ValueError, match=r"calendar|VCALENDAR"):
        read_calendar(path)


@pytest.mark.parametrize(
    ("event", "told"),
    [
        ("DTSTART:20260205T180000\nDTEND;VALUE=DATE:20260206", "give both alike"),
        ("DTSTART:20260205T180000\nDURATION:P99999D", "half a year"),
        ("DTSTART:20260205T180000\nRRULE:FREQ=SECONDLY", "more than once a day"),
        ("DTSTART:20260205T180000\nRRULE:FREQ=DAILY;BYSECOND=1,2,3", "within a day"),
        ("DTSTART:20260205T180000\nRRULE:FREQ=NEVERLY", "NEVERLY"),
        ("DTSTART:00010101T000000\nRRULE:FREQ=DAILY", "2000 to 2099"),
        ("SUMMARY:no start at all", "has no start"),
    ],
)
def test_an_event_that_cannot_be_a_duty_is_named(tmp_path: Path, event: str, told: str) -> None:
    """One wrong event is a fault with its title, never the end of `check` or `run`."""
    with pytest.raises(ValueError, match=told) as refused:
        both(tmp_path, f"{event}" if "SUMMARY" in event else f"SUMMARY:night of Aki\n{event}")
    assert "the event '" in str(refused.value)


def test_a_calendar_gone_wild_is_refused_before_it_costs_anything(tmp_path: Path) -> None:
    """Twenty thousand events are no rota."""
    night = "SUMMARY:Aki\nDTSTART:20260205T180000\nDTEND:20260206T060000"
    with pytest.raises(ValueError, match="20000 events"):
        both(tmp_path, *[night] * 20_000)
