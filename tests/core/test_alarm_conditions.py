"""Every condition, its urgency and whose work it is."""

from __future__ import annotations

import pytest

from kuraban.core.alarm_conditions import (
    AIR,
    BREWER,
    CONDITIONS,
    COOLING_FAILS,
    CREW,
    MAINTENANCE,
)

WAKES = {
    "warm", "cold", "far-warm", "far-cold", "overcooling", "unwatched", "stopped", "not-cooling",
    "not-heating", "warming", "broker-lost", "journal-failing", "pages-failing", "clock-wrong",
    "dark", "behind",
}  # fmt: skip
WAITS = {
    "trending-warm", "trending-cold", "humid", "dry", "addition-unlogged", "stage-overdue",
    "short-cycling", "freezing", "silent", "stuck", "wild", "displaced", "disagrees",
    "history-behind",
}  # fmt: skip


def test_what_cannot_wait_wakes_and_the_rest_waits() -> None:
    assert {name for name, one in CONDITIONS.items() if one.urgency == "wake"} == WAKES
    assert {name for name, one in CONDITIONS.items() if one.urgency == "duty"} == WAITS


def test_product_is_the_brewers_and_machines_are_maintenances() -> None:
    for one in CONDITIONS.values():
        if one.owner in ("cooler", "probe", "watch"):
            assert one.role == MAINTENANCE
        elif one.name in AIR | {"addition-unlogged", "stage-overdue"}:
            assert one.role == CREW
        else:
            assert one.role == BREWER


@pytest.mark.parametrize("side", ["warm", "cold"])
def test_past_the_limit_outranks_out_of_tolerance_outranks_on_its_way(side: str) -> None:
    ranks = [CONDITIONS[f"{way}{side}"].rank for way in ("trending-", "", "far-")]
    assert ranks == sorted(set(ranks))
    assert {CONDITIONS[f"{way}{side}"].side for way in ("trending-", "", "far-")} == {side}


def test_overcooling_is_the_cold_side() -> None:
    assert CONDITIONS["overcooling"].side == "cold"


def test_only_a_failing_cooler_leaves_its_tanks_without_it() -> None:
    """Short starts and ice in the water are things to see to; the tanks are still cooled."""
    assert {"stopped", "not-cooling", "not-heating", "warming"} == COOLING_FAILS
    assert all(CONDITIONS[name].owner == "cooler" for name in COOLING_FAILS)
