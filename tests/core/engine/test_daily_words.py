"""The two words of the day."""

from __future__ import annotations

from datetime import datetime

from kuraban.core.units import DAY, HOUR
from tests.core.house import Night, mashing, moment


def test_evening_and_morning_come_every_day_at_their_hour() -> None:
    night = mashing(at=moment("2026-02-02T12:00"))
    night.run(48 * 60)
    notices = [m for m in night.messages("notice") if m.person == "aki"]
    hours = [(m.at - moment("2026-02-02T00:00")) / HOUR % 24 for m in notices]
    site = night.house.site
    assert hours == [site.evening / HOUR, site.day_starts / HOUR] * 2


def test_the_night_begins_anew_in_the_evening() -> None:
    """What was told by day is no part of the coming night."""
    night = mashing(at=moment("2026-02-02T12:00"))
    night.run(10).told["t3-mid"] = 10.7
    night.run(75)
    assert night.engine.daily_words.night
    night.told["t3-mid"] = 10.0
    night.run(24 * 60)
    began = min(event.at for event in night.engine.daily_words.night)
    assert began >= moment("2026-02-02T00:00") + night.house.site.evening


def words_of(night: Night, start: str) -> list[tuple[str, str]]:
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
    assert [at for at, _ in words_of(night, "2026-02-02T19:00")] == ["21:10"]
    night.run(9 * 60)
    assert [at for at, _ in words_of(night, "2026-02-02T19:00")] == ["21:10", "06:00"]


def test_what_was_said_just_now_is_not_said_when_its_hour_comes_again() -> None:
    night = mashing(at=moment("2026-02-02T20:00"))
    night.run(60).put_forward(-HOUR).run(60)
    assert len(words_of(night, "2026-02-02T20:00")) == 1
    night.put_forward(HOUR).run(24 * 60)
    assert [at for at, _ in words_of(night, "2026-02-02T21:05")] == ["06:00", "20:30"]


def test_what_was_said_nine_hours_too_early_is_said_at_its_hour() -> None:
    """A machine that took its hardware clock's local time for the world's."""
    night = mashing(at=moment("2026-02-02T20:00"))
    night.run(60).put_forward(-9 * HOUR).run(10 * 60)
    assert [at for at, _ in words_of(night, "2026-02-02T21:05")] == ["20:30"]


def test_three_days_forward_are_one_good_morning() -> None:
    night = mashing(at=moment("2026-02-02T23:00"))
    night.run(10).put_forward(3 * DAY).run(60)
    assert len(words_of(night, "2026-02-02T23:00")) == 2, "one of each"
