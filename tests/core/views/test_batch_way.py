"""The way of a batch as a program reads it."""

from __future__ import annotations

from zoneinfo import ZoneInfo

from kuraban.core.views.batch_way import Heating, Joint, Stood, Way
from kuraban.trade.warmth import Held, Warmth

NOON = 1_770_087_600.0
SAID = "2026-02-03T12:00:00+09:00"


def test_times_are_of_the_house_and_what_stands_on_has_no_end() -> None:
    heating = Heating(NOON, 62.0, Held(65.2, 61.0))
    stood = Stood("First", "tank-4", NOON, None, Warmth(45.0, 3.0), (heating,))
    way = Way((Joint(NOON, "No. 9", "First", "pressed", "tank-4"),), (stood,))
    told = way.told(ZoneInfo("Asia/Tokyo"))
    assert told["joints"][0]["at"] == told["stood"][0]["start"] == SAID
    assert told["stood"][0]["end"] is None
    assert told["stood"][0]["warmth"] == {"degree_days": 45.0, "days": 3.0}
    assert told["stood"][0]["heatings"] == [
        {"at": SAID, "least": 62.0, "highest": 65.2, "minutes": 61.0}
    ]
