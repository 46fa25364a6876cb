"""Entries that would stop the watch over a running batch wait for a second person.

A batch ended before its last stage, a place with a batch taken out of service, a stage that is not
the course's next: one slip of a thumb, and nobody is woken for that tank. So they are held back and
the watch judges on under the old plan, until the brewer, or anybody but the one who made the entry,
confirms it or makes the same entry. The brewer's own entries count at once, and so do those of a
wall button that knows no name: somebody stands there. An entry that nobody confirms within a day
falls away.
"""

from __future__ import annotations

from kuraban.core import entries as e
from kuraban.core.facts import Logged
from kuraban.core.house_view import HouseView
from kuraban.core.site import House
from kuraban.core.units import DAY

WAITS = 1 * DAY


class PendingEntries:
    """The entries held back, by id."""

    def __init__(self) -> None:
        self.held: dict[str, Logged] = {}

    def waiting(self, now: float) -> list[Logged]:
        """What still waits, the first that came first."""
        return [held for held in self.held.values() if now - held.received < WAITS]

    def weigh(self, logged: Logged, view: HouseView, now: float) -> Logged | None:
        """The entry that takes effect now: this one, or the one that it confirms; None if held."""
        self.held = {i: held for i, held in self.held.items() if now - held.received < WAITS}
        entry = logged.entry
        if isinstance(entry, e.Confirm) and entry.of in self.held:
            held = self.held[entry.of]
            return self.held.pop(entry.of) if self._second(logged, held, view.house) else None
        if isinstance(entry, e.TakeBack) and entry.of in self.held:
            del self.held[entry.of]
            return None
        if not _stops_the_watch(logged, view, now) or _may_alone(logged, view.house):
            return logged
        for held in self.held.values():
            if held.subject == logged.subject and held.entry == entry and held.by != logged.by:
                del self.held[held.id]
                return held
        self.held[logged.id] = logged
        return None

    def _second(self, logged: Logged, held: Logged, house: House) -> bool:
        return _may_alone(logged, house) or logged.by != held.by


def _stops_the_watch(logged: Logged, view: HouseView, now: float) -> bool:
    if logged.subject not in view.places:
        return False
    batch = view.batch(logged.subject, now)
    if batch is None:
        return False
    standing = batch.plan.standing(now)
    match logged.entry:
        case e.OutOfService():
            return True
        case e.BatchEnd():
            return standing.span.stage < len(batch.course.stages) - 1
        case e.StageMark(stage=stage):
            index = batch.course.index(stage)
            return index is not None and index != standing.span.stage + 1
        case _:
            return False


def _may_alone(logged: Logged, house: House) -> bool:
    """The brewer, by id or name; or nobody named."""
    if logged.by is None:
        return True
    brewers = {duty.person for duty in house.rota if duty.role == "brewer"}
    return any(
        logged.by in (person.id, person.name) for person in house.people if person.id in brewers
    )
