"""The two words of the day."""

from __future__ import annotations

from kuraban.core.units import HOUR
from tests.core.house import mashing, moment


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
