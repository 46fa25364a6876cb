"""The two words of the day: each comes once, at its hour, whatever becomes of the hour."""

from __future__ import annotations

from datetime import datetime
from zoneinfo import ZoneInfo

import msgspec
import pytest

from kuraban.core.site import Site
from kuraban.core.units import DAY, HOUR, MINUTE
from tests.core.house import Night, brewery, mashing, moment

MIDNIGHT = moment("2026-02-02T00:00")
"""Of a Monday."""


def words_of(night: Night, person: str = "aki") -> list[float]:
    """When the brewer had a word, in hours after the midnight of that Monday."""
    return [(word.at - MIDNIGHT) / HOUR for word in night.messages("notice", person)]


def set_hours(night: Night, **hours: float) -> None:
    site = msgspec.structs.replace(
        night.house.site, **{name: hour * HOUR for name, hour in hours.items()}
    )
    night.change(msgspec.structs.replace(night.house, site=site))


def test_evening_and_morning_come_every_day_at_their_hour() -> None:
    night = mashing(at=moment("2026-02-02T12:00"))
    night.run(48 * 60)
    assert words_of(night) == [20.5, 30, 44.5, 54]


def test_the_night_begins_anew_in_the_evening() -> None:
    """What was told by day is no part of the coming night."""
    night = mashing(at=moment("2026-02-02T12:00"))
    night.run(10).told["t3-mid"] = 10.7
    night.run(75)
    assert night.engine.daily_words.night
    night.told["t3-mid"] = 10.0
    night.run(24 * 60)
    began = min(event.at for event in night.engine.daily_words.night)
    assert began >= MIDNIGHT + night.house.site.evening


@pytest.mark.parametrize(
    ("changed", "evening", "told"),
    [
        (20.75, 21.0, [20.5, 45.0, 69.0]),  # it has come: not once more
        (12.0, 21.0, [21.0, 45.0, 69.0]),
        (12.0, 19.0, [19.0, 43.0, 67.0]),
        (20.0, 19.0, [20.5, 43.0, 67.0]),  # its new hour is over: once more at the old one
        (23.0, 19.0, [20.5, 43.0, 67.0]),
        (23.0, 0.5, [20.5, 48.5, 72.5]),  # of the same evening, which has had its word
    ],
)
def test_another_hour_for_the_evening_word_repeats_and_loses_none(
    changed: float, evening: float, told: list[float]
) -> None:
    night = mashing(at=MIDNIGHT + 7 * HOUR)
    night.wake(MIDNIGHT + changed * HOUR)
    set_hours(night, evening=evening)
    night.wake(MIDNIGHT + 76 * HOUR)
    assert [at for at in words_of(night) if at % 24 != 6] == told


@pytest.mark.parametrize(
    ("changed", "day_starts", "told"),
    [
        (6.5, 7.0, [6.0, 31.0, 55.0]),  # it has come: not once more
        (5.0, 7.0, [7.0, 31.0, 55.0]),
        (3.0, 5.0, [5.0, 29.0, 53.0]),
        (5.5, 5.0, [6.0, 29.0, 53.0]),  # its new hour is over: once more at the old one
    ],
)
def test_another_turn_of_the_day_repeats_and_loses_no_morning_report(
    changed: float, day_starts: float, told: list[float]
) -> None:
    night = mashing(at=MIDNIGHT + HOUR)
    night.wake(MIDNIGHT + changed * HOUR)
    set_hours(night, day_starts=day_starts)
    night.wake(MIDNIGHT + 60 * HOUR)
    assert [at for at in words_of(night) if at % 24 != 20.5] == told


def test_a_change_of_something_else_moves_no_word() -> None:
    night = mashing(at=MIDNIGHT + 12 * HOUR)
    for hour in (13, 20.5, 21, 30, 31):
        night.wake(MIDNIGHT + hour * HOUR)
        night.change(msgspec.structs.replace(night.house, rota=night.house.rota[::-1]))
    night.wake(MIDNIGHT + 48 * HOUR)
    assert words_of(night) == [20.5, 30, 44.5]


def test_hours_changed_to_and_fro_leave_one_word_a_day() -> None:
    night = mashing(at=MIDNIGHT + 7 * HOUR)
    for step in range(100):
        night.wake(MIDNIGHT + (8 + step * 0.65) * HOUR)
        set_hours(night, evening=18 + step * 7 % 24 / 4, day_starts=4 + step * 5 % 16 / 4)
    days = [int((at - 4) // 24) for at in words_of(night)]
    assert days == [0, 1, 1, 2, 2]


@pytest.mark.parametrize("midnight", ["2026-03-29", "2026-10-25"])
@pytest.mark.parametrize("clock", [2.0, 2.5, 3.0])
def test_where_clocks_change_each_word_of_the_day_comes_once(midnight: str, clock: float) -> None:
    """Half past two in Berlin: missing in the one night, there twice in the other."""
    zone = ZoneInfo("Europe/Berlin")
    site = Site(
        name="Nowhere demo brewery", timezone=zone.key, evening=clock * HOUR, day_starts=6 * HOUR
    )
    start = datetime.fromisoformat(midnight).replace(tzinfo=zone).timestamp() - 10 * HOUR
    night = mashing(brewery(site=site), at=start)
    for minute in range(0, 48 * 60, 20):  # a loop that looks up in between
        night.wake(start + minute * MINUTE)
    told = [datetime.fromtimestamp(word.at, zone) for word in night.messages("notice", "aki")]
    assert [(at.day, at.hour) for at in told if at.hour == 6] == [
        (int(midnight[-2:]), 6), (int(midnight[-2:]) + 1, 6),
    ]  # fmt: skip
    evenings = [at.day for at in told if at.hour != 6]
    assert evenings == [int(midnight[-2:]), int(midnight[-2:]) + 1]
    assert all(abs(at.timestamp() - start) < 2 * DAY for at in told)


def words_since(night: Night, start: str) -> list[tuple[str, str]]:
    """Hour by the wall clock as it stands at the end, and the first word, of every notice."""
    zone = night.house.zone
    return [
        (f"{datetime.fromtimestamp(m.at, zone):%H:%M}", m.title.split(":")[0].split()[0])
        for m in night.messages("notice")
        if m.person == "aki" and m.at >= moment(start)
    ]


def test_an_hour_that_the_clock_was_put_over_has_its_word_at_once() -> None:
    """A board that wakes up at seven by its clock says good evening when it hears that it is 21."""
    night = mashing(at=moment("2026-02-02T19:00"))
    night.run(10).put_forward(2 * HOUR).run(10)
    assert [at for at, _ in words_since(night, "2026-02-02T19:00")] == ["21:10"]
    night.run(9 * 60)
    assert [at for at, _ in words_since(night, "2026-02-02T19:00")] == ["21:10", "06:00"]


def test_what_was_said_just_now_is_not_said_when_its_hour_comes_again() -> None:
    night = mashing(at=moment("2026-02-02T20:00"))
    night.run(60).put_forward(-HOUR).run(60)
    assert len(words_since(night, "2026-02-02T20:00")) == 1
    night.put_forward(HOUR).run(24 * 60)
    assert [at for at, _ in words_since(night, "2026-02-02T21:05")] == ["06:00", "20:30"]


def test_what_was_said_nine_hours_too_early_is_said_at_its_hour() -> None:
    """A machine that took its hardware clock's local time for the world's."""
    night = mashing(at=moment("2026-02-02T20:00"))
    night.run(60).put_forward(-9 * HOUR).run(10 * 60)
    assert [at for at, _ in words_since(night, "2026-02-02T21:05")] == ["20:30"]


def test_three_days_forward_are_one_good_morning() -> None:
    night = mashing(at=moment("2026-02-02T23:00"))
    night.run(10).put_forward(3 * DAY).run(60)
    assert len(words_since(night, "2026-02-02T23:00")) == 2, "one of each"


@pytest.mark.parametrize(
    ("gone", "back", "said"),
    [
        (20, 23, [23.0]),  # the evening's word is late, and still good for the night
        (21, 61, []),  # three words are over
        (21, 79, [79.0]),  # of three mornings the report of the last
    ],
)
def test_of_the_words_that_nobody_could_say_todays_comes_when_the_watch_is_back(
    gone: int, back: int, said: list[float]
) -> None:
    night = mashing(at=moment("2026-02-02T12:00"))
    night.run((gone - 12) * 60)
    before = words_of(night)
    night.unwatched(MIDNIGHT + back * HOUR).run(3)
    assert words_of(night)[len(before) :] == said
    night.run(24 * 60)
    assert len(words_of(night)) == len(before) + len(said) + 3, "that it is back, and two a day"
