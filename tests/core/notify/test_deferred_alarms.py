"""What can wait for duty hours, and a probe displaced."""

from __future__ import annotations

import msgspec
import pytest

from kuraban.core.site import Away
from kuraban.core.units import HOUR, MINUTE
from tests.core.house import AWAKE, DUSK, Bell, brewery, brewing, moment

NIGHT = moment("2026-02-02T02:00")


def test_what_can_wait_waits_at_night_for_the_morning_report() -> None:
    bell = brewing(Bell(at=NIGHT))
    bell.find("bed-1", "humid")
    bell.on(239)
    assert bell.story[-1].step == "raised" and not bell.messages("notice")
    bell.on(2)
    assert not bell.pages()
    report = bell.messages("notice")
    assert sorted(word.person for word in report) == ["aki", "dai"], "brewer, and whose work it is"
    assert all("Koji bed 1" in word.text for word in report)


def test_what_can_wait_rings_in_duty_hours_once() -> None:
    bell = Bell(at=DUSK)
    bell.find("bed-1", "humid")
    bell.on(170)
    assert bell.rings(DUSK) == [(0, "dai")]


def test_what_came_right_by_morning_is_not_in_the_report() -> None:
    """Seen, or back to normal after it was seen, it waits no longer."""
    bell = Bell(at=NIGHT)
    bell.find("bed-1", "humid")
    bell.on(10).over("bed-1", "humid")
    bell.log("bed-1", "acknowledge", by="dai")
    bell.on(235)
    assert not [word for word in bell.messages("notice") if "Koji bed 1" in word.text]


def test_what_can_wait_rings_whoever_is_awake_for_it() -> None:
    bell = Bell(brewery(AWAKE), at=NIGHT)
    bell.find("tank-3", "trending-warm")
    assert bell.rings(NIGHT) == [(0, "cho")]


@pytest.mark.parametrize("name", ["dai", "Dai"])
def test_a_displaced_probe_goes_at_any_hour_to_whoever_worked_there(name: str) -> None:
    bell = Bell(at=NIGHT)
    bell.log("tank-3", "stir", by=name)
    bell.on(59).find("t3-mid", "displaced")
    assert [(page.person, page.role, page.rung) for page in bell.pages()] == [("dai", "crew", 0)]


def test_after_an_hour_a_displaced_probe_waits_for_the_morning() -> None:
    bell = Bell(at=NIGHT)
    bell.log("tank-3", "stir", by="dai")
    bell.on(61).find("t3-mid", "displaced")
    assert not bell.pages()


def test_work_elsewhere_rings_nobody_for_a_displaced_probe() -> None:
    bell = Bell(at=NIGHT)
    bell.log("tank-4", "stir", by="dai")
    bell.find("t3-mid", "displaced")
    assert not bell.pages()


def test_by_day_a_displaced_probe_goes_to_who_worked_there_and_to_maintenance() -> None:
    bell = Bell(at=DUSK)
    bell.log("tank-3", "stir", by="dai")
    bell.find("t3-mid", "displaced")
    assert [page.person for page in bell.pages()] == ["dai", "ken"]


def test_work_an_hour_before_it_fell_out_counts_though_it_is_found_later() -> None:
    bell = Bell(at=NIGHT)
    bell.log("tank-3", "stir", by="dai")
    bell.on(75).find("t3-mid", "displaced", since=NIGHT + 55 * MINUTE)
    assert [page.person for page in bell.pages()] == ["dai"]


def waiting(bell: Bell) -> list[tuple[str, str]]:
    return bell.engine.notifier.deferred_alarms.waiting


def test_what_rang_nobody_waits_until_it_is_off_the_list() -> None:
    """In hand, or come right and not yet seen, it is still told in the morning."""
    bell = brewing(Bell(at=NIGHT))
    for subject, condition in (("bed-1", "humid"), ("t3-mid", "wild")):
        bell.find(subject, condition)
    bell.log("bed-1", "acknowledge", by="dai")
    bell.over("t3-mid", "wild")
    assert waiting(bell) == [("bed-1", "humid"), ("t3-mid", "wild")]
    bell.over("bed-1", "humid")
    assert waiting(bell) == [("t3-mid", "wild")]
    bell.log("t3-mid", "acknowledge", by="ken")
    assert waiting(bell) == []


def test_what_the_morning_told_waits_no_longer() -> None:
    bell = brewing(Bell(at=NIGHT))
    bell.find("bed-1", "humid")
    bell.on(241)
    assert waiting(bell) == []


def test_two_probes_that_fall_silent_together_are_one_message() -> None:
    bell = Bell(at=moment("2026-02-02T12:00"))
    bell.find("t3-mid", "silent")
    bell.on(1).find("t4-mid", "silent")
    bell.on(1)
    assert [page.alarms for page in bell.pages()] == [("t3-mid/silent", "t4-mid/silent")]
    bell.on(30)
    assert len(bell.pages()) == 1


def test_who_worked_there_and_is_of_maintenance_is_told_once() -> None:
    bell = Bell(at=DUSK)
    bell.log("tank-3", "stir", by="ken")
    bell.find("t3-mid", "displaced")
    assert [(page.person, page.role) for page in bell.pages()] == [("ken", "maintenance")]


def test_who_worked_there_and_is_on_no_rota_is_told_as_one_of_the_crew() -> None:
    bell = Bell(at=NIGHT)
    bell.log("tank-3", "stir", by="cho")
    bell.find("t3-mid", "displaced")
    assert [(page.person, page.role) for page in bell.pages()] == [("cho", "crew")]


def test_while_all_of_the_crew_are_away_what_is_overdue_waits_by_day_too() -> None:
    """As at New Year; what else can wait rings whoever can be called."""
    noon = moment("2026-02-02T12:00")
    away = tuple(
        Away(person=who, start=noon - HOUR, end=noon + HOUR, arrive=HOUR)
        for who in ("dai", "aki", "bun")
    )
    bell = brewing(Bell(msgspec.structs.replace(brewery(), away=away), at=noon))
    bell.find("tank-3", "stage-overdue")
    assert not bell.pages() and waiting(bell) == [("tank-3", "stage-overdue")]
    bell.find("bed-1", "humid")
    assert [page.person for page in bell.pages()] == ["dai"]
