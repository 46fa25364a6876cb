"""The alarms that can be in a random night, as the house rules have them."""

from __future__ import annotations

from typing import NamedTuple

from kuraban.core.units import HOUR


class Kind(NamedTuple):
    """One alarm that can be in a random night, as the house rules have it."""

    subject: str
    condition: str
    group: str
    rank: int
    wakes: bool
    role: str
    quick: bool
    product_or_air: bool
    turns_within: float | None
    of_a_probe: bool = False
    """Told two minutes later, together with its neighbours that have the same cause."""

    @property
    def id(self) -> str:
        return f"{self.subject}/{self.condition}"


KINDS = (
    Kind("tank-3", "trending-warm", "warm", 0, False, "brewer", False, True, 3 * HOUR),
    Kind("tank-3", "warm", "warm", 1, True, "brewer", False, True, 3 * HOUR),
    Kind("tank-3", "far-warm", "warm", 2, True, "brewer", True, True, 3 * HOUR),
    Kind("tank-3", "cold", "cold", 1, True, "brewer", False, True, 3 * HOUR),
    Kind("tank-3", "overcooling", "cold", 1, True, "brewer", False, True, 3 * HOUR),
    Kind("tank-3", "unwatched", "unwatched", 0, True, "brewer", False, True, None),
    Kind("moto-1", "cold", "cold", 1, True, "brewer", True, True, HOUR),
    Kind("bed-1", "warm", "warm", 1, True, "brewer", True, True, HOUR / 2),
    Kind("bed-1", "far-warm", "warm", 2, True, "brewer", True, True, HOUR / 2),
    Kind("bed-1", "humid", "humid", 0, False, "crew", True, True, None),
    Kind("store", "warm", "warm", 1, True, "maintenance", False, True, 3 * HOUR),
    Kind("chiller-2", "stopped", "cooling", 0, True, "maintenance", False, False, HOUR),
    Kind("chiller-2", "warming", "cooling", 0, True, "maintenance", False, False, HOUR),
    Kind("heater-1", "not-heating", "cooling", 0, True, "maintenance", True, False, HOUR),
    Kind("t4-mid", "silent", "silent", 0, False, "maintenance", False, False, None, True),
    Kind("t3-mid", "wild", "wild", 0, False, "maintenance", False, False, None, True),
)
OF = {(kind.subject, kind.condition): kind for kind in KINDS}


def ranked(subject: str, names: set[str]) -> list[Kind]:
    """The gravest first, among equals the first by name."""
    kinds = [OF[subject, name] for name in sorted(names)]
    return sorted(kinds, key=lambda kind: -kind.rank)
