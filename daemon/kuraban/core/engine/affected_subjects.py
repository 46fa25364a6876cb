"""Which subjects an entry can touch, so that only what looks at them looks at once.

A batch has one place; beside it an entry can change what is judged of that place's room, of what
stands in the same room, of the coolers that serve it and of what else those serve, and of the
probes of all these. Everything else looks when its own reading or its own time comes.
"""

from __future__ import annotations

from collections.abc import Iterator

from kuraban.core import entries as e
from kuraban.core.facts import Logged
from kuraban.core.house_view import HouseView
from kuraban.core.plan.entry_log import CONTROL
from kuraban.core.site import WATCH

EVERYWHERE = (e.TakeBack, e.Amend, e.DutySwap)
"""What is folded anew, and who is on duty, may concern every place."""
CARRYING = (e.BatchStart, e.BatchEnd, e.Press, e.Move, e.Split, e.Merge)
"""Of these, one that comes late may let others fit, or fit no more."""
OF_ALARMS = (e.Acknowledge, e.Shelve, e.Unshelve, e.Verdict)


def touched(view: HouseView, logged: Logged) -> set[str] | None:
    """The subjects that may be judged otherwise by an entry, None for all of them.

    Asked before the entry is in the books and after, the two together are all.
    """
    entry = logged.entry
    late = logged.at < view.entry_log.newest
    if isinstance(entry, EVERYWHERE) or (late and isinstance(entry, CARRYING)):
        return None
    if isinstance(entry, CONTROL) and not isinstance(entry, OF_ALARMS):
        return set()
    return near(view, {logged.subject, *e.goals_of(entry)})


def near(view: HouseView, subjects: set[str]) -> set[str]:
    """The subjects themselves, what shares a cooler or a room with them, and all their probes."""
    house = view.house
    known = {s for s in subjects if s in house.place or s in house.cooler}
    known |= {house.probe[s].of for s in subjects if s in house.probe}
    known |= {place for s in known for place in _neighbours(view, s)}
    known |= {c for s in known if s in house.place for c in view.entry_log.serving(s)}
    known |= {place for s in known if s in house.cooler for place in view.served(s)}
    probes = {probe.id for s in known for probe in house.probes_of(s)}
    return {WATCH, *subjects, *known, *probes}


def _neighbours(view: HouseView, subject: str) -> Iterator[str]:
    """The room of a place and what stands in it."""
    place = view.house.place.get(subject)
    room = subject if place is None or place.room is None else place.room
    yield from (room, *view.standing_in(room)) if room in view.house.place else ()
