"""The books of a house: what runs where, and what people did there that still counts.

One book for each place, cooler and probe, as its entries leave it. What a person does disturbs the
product for a while: a mask is such a stretch, and every mask ends by itself.
"""

from __future__ import annotations

from typing import NamedTuple

import msgspec

from kuraban.core import entries as e
from kuraban.core.planned_curve import Course, Mark, Planned, Redraw, Standing
from kuraban.core.site import House, Swap
from kuraban.core.units import MINUTE

MASKS_KEPT = 40
STIR_SEEN = "stir-seen"
"""The mask of a stir that nobody logged."""
STIRS = frozenset({"stir", STIR_SEEN})
PROBE_OUT_LONGEST = 60 * MINUTE
"""A probe that nobody puts back counts again, or is displaced (common practice)."""


class Mask(NamedTuple):
    """A stretch in which the product is disturbed by `why`; [start, end)."""

    why: str
    start: float
    end: float


class LetRun(NamedTuple):
    """Until `until` the product is judged against `base` ± `more`."""

    start: float
    until: float
    base: float
    more: float


class Batch:
    """One batch in one place. `plan` is the plan in force; it is laid anew at every change."""

    def __init__(self, name: str, course: Course, start: e.BatchStart, at: float) -> None:
        self.name = name
        self.course = course
        self.title = start.title
        self.rice_kg = start.rice_kg
        self.since = at
        self.marks: list[Mark] = []
        self.redraws: list[Redraw] = []
        self.rice_in: float | None = None
        """The latest rice of the present stage, from which it settles."""

    def lay(self, house: House) -> None:
        self.plan = Planned(
            self.course,
            tuple(self.marks),
            tuple(self.redraws),
            house.site.day_starts,
            house.zone,
        )

    def copy(self) -> Batch:
        twin = Batch.__new__(Batch)
        twin.__dict__.update(self.__dict__)
        twin.marks, twin.redraws = list(self.marks), list(self.redraws)
        return twin

    @property
    def begun(self) -> tuple[float, bool]:
        """When its course began, counted back by its stages where it was taken over in the middle;
        and whether it was not, so that this is sure."""
        first = self.plan.spans[0]
        skipped = sum(stage.length for stage in self.course.stages[: first.stage])
        return first.start - skipped, not skipped

    def settled_at(self, standing: Standing) -> float:
        """When the present stage begins to be judged after its mark or its last rice."""
        start = standing.span.start
        if self.rice_in is not None and self.rice_in >= start:
            start = self.rice_in
        return start + standing.stage.settle


class SubjectState:
    """One place, cooler or probe as its entries leave it."""

    __slots__ = (
        "batch", "check", "ended", "hands", "last_stir", "last_work", "let_run", "masks",
        "out_of_service", "probe_out", "served_by",
    )  # fmt: skip

    def __init__(self) -> None:
        self.batch: Batch | None = None
        self.ended: tuple[str, float] | None = None
        """The batch that ran here last, and when it ended."""
        self.masks: list[Mask] = []
        self.let_run: LetRun | None = None
        self.last_stir: float | None = None
        self.last_work: tuple[str, float] | None = None
        """The latest other work: an entry's name or what went in, and when."""
        self.hands: list[tuple[float, str]] = []
        """Who worked here, and when; the latest few."""
        self.check: tuple[float, float] | None = None
        """Time and degrees of the last reading by hand thermometer."""
        self.out_of_service: float | None = None
        self.probe_out: float | None = None
        self.served_by: str | None = None

    def masked(self, at: float) -> float | None:
        """The end of the stretch of masks that covers `at`, None if nothing masks it."""
        end = None
        for mask in sorted(self.masks, key=lambda mask: mask.start):
            if mask.start <= (at if end is None else end) and mask.end > (end or at):
                end = mask.end
        return end

    def mask(self, why: str, start: float, end: float) -> None:
        self.masks.append(Mask(why, start, end))
        del self.masks[:-MASKS_KEPT]

    def cut(self, why: str, at: float) -> bool:
        """End the open masks of one kind at a moment; whether there was one."""
        found = False
        for number, mask in enumerate(self.masks):
            if mask.why == why and mask.start <= at < mask.end:
                self.masks[number] = mask._replace(end=at)
                found = True
        return found


class Refused(Exception):
    """An entry that does not fit what runs; the message says what would be right."""


class SubjectStates:
    """All books of a house. `kuraban.core.plan.entry_reducer` writes them, the rest answers."""

    def __init__(self, house: House) -> None:
        self.house = house
        self.subject_states: dict[str, SubjectState] = {}
        self.out: set[str] = set()
        """What is out of service."""
        self.swaps: list[Swap] = []
        """Duties exchanged, in the order in which they were entered."""
        self.courses: dict[tuple[str, str], Course] = {}
        """The course of each batch as it was when the batch began, by that entry."""

    def of(self, subject: str) -> SubjectState:
        """A subject as its entries leave it, to be read: a blank one where there are none."""
        return self.subject_states.get(subject) or SubjectState()

    def subject_state(self, subject: str) -> SubjectState:
        """The same to be written, which is kept from now on."""
        found = self.subject_states.get(subject)
        if found is None:
            found = self.subject_states[subject] = SubjectState()
        return found

    @property
    def manned(self) -> House:
        """The house with its rota as people have swapped it: for whoever asks who is on duty."""
        if not self.swaps:
            return self.house
        return msgspec.structs.replace(self.house, swaps=(*self.house.swaps, *self.swaps))

    def batch(self, place: str, at: float) -> Batch | None:
        """The batch that runs in a place at a moment not before its last entry."""
        subject_state = self.subject_states.get(place)
        if (
            subject_state is None
            or subject_state.batch is None
            or subject_state.batch.plan.ended(at)
        ):
            return None
        return subject_state.batch

    def cooler_of(self, place: str) -> str | None:
        """The cooler or heater that serves a place now."""
        subject_state = self.subject_states.get(place)
        if subject_state is not None and subject_state.served_by is not None:
            return subject_state.served_by
        entry = self.house.place[place]
        room = self.house.place.get(entry.room) if entry.room is not None else None
        behind = None if room is None else room.cooler or room.heater
        return entry.cooler or entry.heater or behind

    def serving(self, place: str) -> set[str]:
        """The coolers and heaters that serve a place now, or the room in which it stands."""
        room = self.house.place[place].room
        behind = self._keeping(room) if room is not None and room in self.house.place else set()
        return self._keeping(place) | behind

    def _keeping(self, place: str) -> set[str]:
        subject_state, entry = self.subject_states.get(place), self.house.place[place]
        keeping = {entry.cooler, entry.heater}
        if subject_state is not None and subject_state.served_by is not None:
            takes_over = self.house.cooler[subject_state.served_by].heats
            keeping = {subject_state.served_by, entry.cooler if takes_over else entry.heater}
        return {cooler for cooler in keeping if cooler is not None}
