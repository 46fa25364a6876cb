"""How urgent an alarm is in this house, and whose it is."""

from __future__ import annotations

import pytest

from kuraban.core.alarms.life_cycle import Alarm
from kuraban.core.notify.priority import climbs_quickly, role_of, urgency_of
from tests.core.house import Bell, brewery, brewing, moment

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


@pytest.mark.parametrize(
    ("subject", "condition", "role"),
    [
        ("tank-3", "warm", "brewer"),
        ("store", "warm", "maintenance"),
        ("store", "cold", "maintenance"),
        ("store", "unwatched", "brewer"),
        ("bed-1", "humid", "crew"),
        ("chiller-1", "stopped", "maintenance"),
        ("t3-mid", "silent", "maintenance"),
        ("watch", "dark", "maintenance"),
    ],
)
def test_each_alarm_is_somebodys(subject: str, condition: str, role: str) -> None:
    assert role_of(brewing(Bell(at=NIGHT)).engine.view, Alarm(subject, condition), NIGHT) == role


@pytest.mark.parametrize(
    ("condition", "evidence", "urgency"),
    [
        ("trending-warm", (), "duty"),
        ("trending-warm", ("unsure",), "log"),
        ("trending-cold", ("unsure",), "log"),
        ("warm", ("unsure",), "wake"),
        ("history-behind", (), "duty"),
    ],
)
def test_a_trend_that_may_not_come_true_is_only_listed(
    condition: str, evidence: tuple[str, ...], urgency: str
) -> None:
    alarm = Alarm("tank-3", condition)
    alarm.evidence = evidence
    assert urgency_of(Bell().engine.view, alarm, NIGHT) == urgency


@pytest.mark.parametrize(
    ("subject", "condition", "quick"),
    [
        ("tank-3", "warm", False),
        ("tank-3", "far-cold", True),
        ("moto-1", "cold", True),
        ("bed-1", "unwatched", True),
        ("store", "warm", False),
        ("heater-1", "stopped", True),
        ("chiller-1", "stopped", False),
        ("t3-mid", "silent", False),
        ("watch", "dark", False),
    ],
)
def test_koji_starters_heaters_and_what_is_past_its_limit_are_in_a_hurry(
    subject: str, condition: str, quick: bool
) -> None:
    assert climbs_quickly(brewery(), Alarm(subject, condition)) is quick
