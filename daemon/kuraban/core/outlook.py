"""How long what a cooler serves has before it leaves its tolerance, if cooling stopped now."""

from __future__ import annotations

from kuraban.core.world import World


def hours_in_hand(world: World, cooler: str, now: float) -> float | None:
    """The fewest hours of every served place, pessimistic; None where one is unknown."""
    return None
