"""Books whose entries a test tells in minutes after dusk."""

from __future__ import annotations

from typing import Any

from kuraban.core.facts import Logged
from kuraban.core.intake.entry_parser import entry_from
from kuraban.core.plan.entry_log import EntryLog
from kuraban.core.plan.subject_state import Batch
from kuraban.core.units import MINUTE
from tests.core.house import DUSK, brewery

HOUSE = brewery()
TANK, OTHER = "tank-3", "tank-4"


class SubjectStates(EntryLog):
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
        end = self.subject_state(place).masked(at(minute))
        return None if end is None else (end - DUSK) / MINUTE


def at(minute: float) -> float:
    return DUSK + minute * MINUTE


def started(stage: str = "main") -> SubjectStates:
    subject_states = SubjectStates()
    subject_states.tell(0, TANK, "batch-start", batch="12", course="mash", stage=stage)
    return subject_states


def planned(subject_states: SubjectStates, minute: float, place: str = TANK) -> float:
    return subject_states.runs(place, minute).plan.at(at(minute))
