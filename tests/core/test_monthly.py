"""What the watch says once a week and once a month, and of probes long out of ice water."""

from __future__ import annotations

import msgspec
import pytest

from kuraban.core.engine.engine import Engine
from kuraban.core.facts import HouseChanged
from kuraban.core.house_view import HouseView
from kuraban.core.notify import reports
from kuraban.core.site import to_document
from kuraban.core.texts import messages as wording
from tests.core.house import DUSK, TOKYO, brewery, mashing, moment, words


def idle(at: float) -> HouseView:
    """The house in summer: no batch, and the store switched off."""
    house = brewery()
    house = msgspec.structs.replace(house, places=house.places[:-1], probes=house.probes[:-1])
    engine = Engine(words())
    engine.take(HouseChanged(at, to_document(house)))
    return engine.view


@pytest.mark.parametrize(("day", "due"), [("2026-07-05", True), ("2026-07-06", False),
                                          ("2026-07-11", False), ("2026-07-12", True)])  # fmt: skip
def test_when_nothing_brews_the_evening_word_comes_on_sundays(day: str, due: bool) -> None:
    now = moment(f"{day}T20:30")
    assert reports.evening_due(idle(now), now) is due


def test_while_something_brews_every_evening_has_its_word() -> None:
    night = mashing(at=moment("2026-02-03T20:30"))
    assert reports.evening_due(night.engine.view, night.now)


def test_the_first_evening_of_a_month_asks_for_a_trial() -> None:
    house = brewery()
    assert reports.month_begins(house, DUSK)  # the first of February
    assert not reports.month_begins(house, moment("2026-02-02T20:30"))
    assert not reports.month_begins(house, moment("2026-01-31T23:59"))


def test_an_ice_point_is_old_after_a_year() -> None:
    house = brewery()
    days = ("2025-01-31", "2025-02-02", None, "2024-10-01 09:00", "2025-10-01")
    probes = tuple(
        msgspec.structs.replace(probe, calibrated=day)
        for probe, day in zip(house.probes, days, strict=True)
    )
    house = msgspec.structs.replace(house, probes=probes)
    assert reports.old_ice_points(house, DUSK) == ("Tank 3 (t3-mid)", "Koji bed 1 (b1-mid)")


def test_the_monthly_word_names_them_in_both_languages() -> None:
    told = wording.monthly(DUSK, ("Tank 3 (t3-mid)",), "en", words(), TOKYO)
    assert "page-test --all" in told.body and told.body.endswith("Tank 3 (t3-mid)")
    assert "氷点" in wording.monthly(DUSK, ("t3",), "ja", words(), TOKYO).body
    assert "Ice" not in wording.monthly(DUSK, (), "en", words(), TOKYO).body


def test_the_latest_note_about_the_house_is_handed_over() -> None:
    night = mashing()
    for text in ("old filter out", "cooling water off 04:00"):
        night.run(5)
        night.log("watch", "note", text=text)
    view = night.engine.view
    report = reports.morning_report(view, night.engine.alarm_manager, [], [], night.now)
    assert report.note == "cooling water off 04:00"
