"""How urgent an alarm is in this house, and whose it is."""

from __future__ import annotations

from tests.core.house import Bell, brewery, moment

NIGHT = moment("2026-02-02T02:00")


def test_a_store_outside_its_band_is_maintenances() -> None:
    bell = Bell(at=NIGHT)
    bell.find("store", "warm")
    assert [(page.person, page.role) for page in bell.pages()] == [("ken", "maintenance")]


def test_a_part_of_the_watch_wakes_only_while_something_is_watched() -> None:
    resting = brewery()
    idle = type(resting)(site=resting.site, people=resting.people, rota=resting.rota)
    for house, rings in ((resting, [(0, "ken")]), (idle, [])):
        bell = Bell(house, at=NIGHT)
        bell.find("watch", "journal-failing")
        assert bell.rings(NIGHT) == rings
