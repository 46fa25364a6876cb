"""A page that no service took: the next person hears it at once, and nobody hears it twice."""

from __future__ import annotations

from tests.core.house import Bell, moment

NIGHT = moment("2026-02-02T01:00")


def failed(bell: Bell, number: int = -1) -> None:
    """The courier says that a page reached nobody."""
    bell.engine.notifier.unreached(bell.pages()[number].id, bell.now)
    bell._drained()


def test_the_next_person_is_told_at_once() -> None:
    bell = Bell(at=NIGHT)
    bell.find("tank-3", "warm")
    bell.on(2)
    failed(bell)
    assert bell.rings(NIGHT) == [(0, "aki"), (2, "bun")]


def test_one_page_that_failed_is_passed_on_once() -> None:
    """And when everybody was told there is nobody left."""
    bell = Bell(at=NIGHT)
    bell.find("tank-3", "warm")
    for _ in range(3):
        failed(bell, 0)
    failed(bell)
    failed(bell)
    assert bell.rings(NIGHT) == [(0, "aki"), (0, "bun")]


def test_the_ladder_goes_on_as_it_would() -> None:
    bell = Bell(at=NIGHT)
    bell.find("tank-3", "warm")
    bell.on(2)
    failed(bell)
    bell.on(58)
    assert bell.rings(NIGHT)[:4] == [(0, "aki"), (2, "bun"), (10, "aki"), (30, "bun")]


def test_after_an_answer_nobody_further_is_told() -> None:
    bell = Bell(at=NIGHT)
    bell.find("tank-3", "warm")
    bell.log("tank-3", "acknowledge", by="dai")
    failed(bell)
    assert bell.rings(NIGHT) == [(0, "aki")]


def test_maintenance_that_cannot_be_reached_passes_to_the_brewer() -> None:
    bell = Bell(at=NIGHT)
    bell.find("chiller-1", "stopped")
    failed(bell)
    assert bell.rings(NIGHT) == [(0, "ken"), (0, "aki")]


def test_a_message_that_is_unknown_is_nothing() -> None:
    bell = Bell(at=NIGHT)
    bell.engine.notifier.unreached("nobody's", NIGHT)
    bell._drained()
    assert not bell.pages()
