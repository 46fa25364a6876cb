"""Entries that wait for a second person (`kuraban.core.fates.entry_authority` says which).

They are held back, and the watch judges on as if they had not been made, until the brewer, or
anybody but the one who made the entry, confirms it or makes the same entry. Whoever sees the slip
takes it back. An entry that nobody confirms within a day falls away.
"""

from __future__ import annotations

from typing import NamedTuple

import msgspec

from kuraban.core import entries as e
from kuraban.core.facts import Logged
from kuraban.core.fates.entry_authority import Touch, alone, maker_of
from kuraban.core.fates.entry_hazards import touch_of
from kuraban.core.house_view import HouseView
from kuraban.core.plan.subject_state import Refused
from kuraban.core.site import House
from kuraban.core.units import DAY

WAITS = 1 * DAY
Key = tuple[str, str]


class Held(NamedTuple):
    """An entry that waits, and what it would do."""

    logged: Logged
    touch: Touch


class PendingEntries:
    """The entries held back."""

    def __init__(self) -> None:
        self.held: dict[Key, Held] = {}
        self.decided: dict[Key, bool] = {}
        """Whether entries had to wait, of those that are taken anew after a restart: that was
        decided when they came, whatever the rules and the probes say now."""

    def touch(self, logged: Logged, view: HouseView, now: float) -> Touch:
        """What an entry would do if it counted now, as far as it matters who made it."""
        return touch_of(logged, view, now)

    def find(self, entry_id: str, subject: str) -> Logged | None:
        """The entry of that id that waits, one about `subject` before all others."""
        found = [held.logged for held in self.held.values() if held.logged.id == entry_id]
        near = [logged for logged in found if logged.subject == subject]
        return next(iter(near or found), None)

    def waits(self, logged: Logged, view: HouseView, now: float) -> bool:
        """Whether an entry has to wait; it is held from now on."""
        touch = self.touch(logged, view, now)
        free = alone(touch, maker_of(logged.by, view.house))
        waits = self.decided.pop(logged.key, not free)
        if waits:
            self.hold(logged, touch)
        return waits

    def same(self, logged: Logged, house: House) -> Logged | None:
        """What waits and says the same about the same, made by somebody else."""
        for held, _ in self.held.values():
            alike = held.subject == logged.subject and _bare(held) == _bare(logged)
            if alike and self._is_second(logged, held, house):
                return held
        return None

    def confirmed(self, logged: Logged, house: House) -> Logged:
        """What a confirmation lets count; Refused where it lets nothing count."""
        entry = logged.entry
        assert isinstance(entry, e.Confirm)
        held = self.find(entry.of, logged.subject)
        if held is None:
            raise Refused(f"no entry '{entry.of}' waits for a second person")
        if not self._is_second(logged, held, house):
            raise Refused(
                f"entry '{held.id}' waits for a second person; whoever made it cannot confirm it"
            )
        return held

    def hold(self, logged: Logged, touch: Touch) -> None:
        self.held[logged.key] = Held(logged, touch)

    def release(self, held: Logged) -> None:
        """It waits no more."""
        del self.held[held.key]

    def lapsed(self, now: float) -> list[Logged]:
        """What nobody confirmed in time; it waits no more."""
        found = [held for held, _ in self.held.values() if now >= held.received + WAITS]
        for held in found:
            self.release(held)
        return found

    def _is_second(self, logged: Logged, held: Logged, house: House) -> bool:
        """Whoever may do it alone; or somebody, named, who is not the one that made it."""
        if alone(self.held[held.key].touch, maker_of(logged.by, house)):
            return True
        return logged.by is not None and _person(logged.by, house) != _person(held.by, house)


def _person(by: str | None, house: House) -> str | None:
    """One name for who is called by id here and by name there."""
    person = house.person_called(by)
    return by if person is None else person.id


def _bare(logged: Logged) -> e.Entry:
    """What an entry says, but for the reason."""
    entry = logged.entry
    if isinstance(entry, (e.OutOfService, e.Shelve, e.TakeBack, e.Amend)):
        return msgspec.structs.replace(entry, reason=None)
    return entry
