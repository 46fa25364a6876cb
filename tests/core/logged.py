"""Books whose entries a test tells in minutes after dusk."""

from __future__ import annotations

from typing import Any

from kuraban.core.books import Batch
from kuraban.core.door import entry_from
from kuraban.core.facts import Logged
from kuraban.core.ledger import Ledger
from kuraban.core.units import MINUTE
from tests.core.house import DUSK, brewery

HOUSE = brewery()
TANK, OTHER = "tank-3", "tank-4"


class Books(Ledger):
    """A ledger whose entries are given in minutes after dusk."""

    def __init__(self) -> None:
        super().__init__(HOUSE)
        self.serial = 0

    def tell(self, minute: float, subject: str, entry: str, **fields: Any) -> str:
        self.serial += 1
        members = {"id": f"e{self.serial}", **fields, "at": at(minute), "entry": entry}
        if "for_" in members:
            members["for"] = members.pop("for_")
        logged = entry_from(members, subject, HOUSE, at(10_000), "page")
        assert isinstance(logged, Logged), logged
        self.add(logged)
        return logged.id

    def runs(self, place: str, minute: float) -> Batch:
        batch = self.batch(place, at(minute))
        assert batch is not None, f"nothing runs in {place}"
        return batch

    def masked_until(self, minute: float, place: str = TANK) -> float | None:
        """Minutes until the masks over a moment end."""
        end = self.book(place).masked(at(minute))
        return None if end is None else (end - DUSK) / MINUTE


def at(minute: float) -> float:
    return DUSK + minute * MINUTE


def started(stage: str = "main") -> Books:
    books = Books()
    books.tell(0, TANK, "batch-start", batch="12", course="mash", stage=stage)
    return books


def planned(books: Books, minute: float, place: str = TANK) -> float:
    return books.runs(place, minute).plan.at(at(minute))
