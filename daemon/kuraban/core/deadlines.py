"""What is to happen at a stated time, in the order of the times; ties as they were entered.

A deadline names what falls due and for whom, and so much of how things stood when it was set that
whoever takes it can tell whether it still is to be done. The union is closed: the engine's `match`
over it leaves none out, which the type checker holds.
"""

from __future__ import annotations

import heapq
from typing import NamedTuple

import msgspec

from kuraban.core.facts import Logged
from kuraban.core.planned_curve import FAR_FUTURE


class _Due(msgspec.Struct, frozen=True, gc=False, tag=True):
    """Tagged, so that any one of them can be written down and read again."""


class ClimbLadder(_Due, frozen=True):
    """The next rung of the ring that an incident began at `began`."""

    incident: tuple[str, str]
    began: float
    rung: int


class HoursInHand(_Due, frozen=True):
    """A soundless incident: have the places that it touches still hours enough?"""

    incident: tuple[str, str]


class Gathered(_Due, frozen=True):
    """What came thick or together for a person goes out in one message."""

    person: str


class PromiseDue(_Due, frozen=True):
    """By `until` an alarm in hand should have turned."""

    subject: str
    condition: str
    until: float


class ShelfEnds(_Due, frozen=True):
    """To `until` an alarm was shelved."""

    subject: str
    condition: str
    until: float


class EntryCounts(_Due, frozen=True):
    """An entry that came ahead of its time takes effect."""

    logged: Logged


class EntryLapses(_Due, frozen=True):
    """An entry that waits for a second person falls away."""

    subject: str
    id: str


class BatchEnded(_Due, frozen=True):
    """The batch of a place ends by the clock."""

    place: str


class PartFailing(_Due, frozen=True):
    """A part of the watch has failed since `since`, for long enough to be told."""

    condition: str
    since: float


class PartMended(_Due, frozen=True):
    """A part of the watch has been well since `since`, for long enough to be believed."""

    condition: str
    since: float


class WatchBack(_Due, frozen=True):
    """Nobody watched from `since` to `until`, and the probes have been heard again."""

    since: float
    until: float


class Evening(_Due, frozen=True):
    """The evening word, planned for `at`."""

    at: float


class Morning(_Due, frozen=True):
    """The morning report, planned for `at`."""

    at: float


Deadline = (
    ClimbLadder | HoursInHand | Gathered | PromiseDue | ShelfEnds | EntryCounts | EntryLapses
    | BatchEnded | PartFailing | PartMended | WatchBack | Evening | Morning
)  # fmt: skip

Telling = ClimbLadder | Gathered | Evening | Morning
"""What does nothing but tell people: while nobody watches nothing goes out, and one word is enough
once somebody does."""


class Item(NamedTuple):
    """A deadline in its place; `number` tells which of one moment was entered first."""

    at: float
    number: int
    deadline: Deadline


class Deadlines:
    """What falls due, the soonest first."""

    def __init__(self) -> None:
        self.items: list[Item] = []
        """A heap."""
        self.count = 0
        self.soonest = FAR_FUTURE
        """No item is due before."""

    def add(self, at: float, deadline: Deadline) -> None:
        self.count += 1
        heapq.heappush(self.items, Item(at, self.count, deadline))
        self.soonest = min(self.soonest, at)

    def next(self) -> float:
        self.soonest = self.items[0].at if self.items else FAR_FUTURE
        return self.soonest

    def put_off(self, deadline: Telling) -> None:
        """Keep it until `resume`."""
        self.add(FAR_FUTURE, deadline)

    def resume(self, at: float) -> None:
        """What was put off is due at `at`, in its old order."""
        for index, item in enumerate(self.items):
            if item.at == FAR_FUTURE and isinstance(item.deadline, Telling):
                self.items[index] = item._replace(at=at)
        heapq.heapify(self.items)
        self.next()

    def pop(self) -> Deadline:
        """The deadline that is due next; to be asked after `next`."""
        return heapq.heappop(self.items).deadline
