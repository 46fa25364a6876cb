"""A picture never changes, and answers what a page asks of it."""

from __future__ import annotations

import dataclasses

import pytest

from kuraban.core.views.snapshot import PlaceNow, PlanLine, Ring, Snapshot


def ring(state: str, subject: str = "tank-3", place: str | None = "tank-3") -> Ring:
    return Ring(
        subject=subject, condition="warm", name="Tank 3", urgency="wake", state=state, title={},
        body={}, place=place,
    )  # fmt: skip


PICTURE = Snapshot(
    at=0.0, site="Kura", day_turned=0.0, day_turns=86400.0,
    places=(PlaceNow(id="tank-3", name="Tank 3", kind="tank"),),
    rings=(ring("unacknowledged"), ring("shelved", "t5-mid", "tank-5")),
)  # fmt: skip


def test_a_picture_never_changes() -> None:
    """Whoever holds one holds that moment."""
    with pytest.raises(dataclasses.FrozenInstanceError):
        PICTURE.at = 1.0  # type: ignore[misc]


def test_places_and_rings_are_found_by_their_names() -> None:
    """A probe's ring belongs to the place where it hangs."""
    assert PICTURE.place("tank-3") is PICTURE.places[0]
    assert PICTURE.place("tank-4") is None
    assert PICTURE.ring("tank-3", "warm") is PICTURE.rings[0]
    assert PICTURE.ring("tank-3", "cold") is None
    assert [r.id for r in PICTURE.rings_of("tank-5")] == ["t5-mid/warm"]


@pytest.mark.parametrize(
    ("state", "open_", "held"),
    [
        ("unacknowledged", True, False),
        ("returned", True, False),
        ("acknowledged", False, False),
        ("shelved", False, True),
        ("suppressed", False, True),
        ("out-of-service", False, True),
    ],
)
def test_a_ring_is_open_in_hand_or_held_back(state: str, open_: bool, held: bool) -> None:
    """After the states of the life-cycle table."""
    assert (ring(state).open, ring(state).held_back) == (open_, held)


def test_a_plan_is_straight_between_its_points() -> None:
    """A step has two values at one moment, and the later one counts from there."""
    plan = PlanLine(points=((0.0, 10.0), (10.0, 12.0), (10.0, 8.0), (20.0, 8.0)))
    assert [plan.at(at) for at in (0.0, 5.0, 10.0, 15.0, 20.0)] == [10.0, 11.0, 8.0, 8.0, 8.0]
    assert plan.at(-1.0) is None and plan.at(21.0) is None
