"""Which batch stood where, and under which plan, since the journal began.

What became of each entry stands in the journal; here those that count are folded once more. Only
entries that move a batch or its plan are taken. The fold is kept and caught up at each question,
since a season's entries take a second; a late entry or a correction makes that of the running
batches and of the last two months begin anew. Batches that were imported from before the journal
are over: they are folded by themselves, and anew when another table was imported.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import msgspec

from kuraban.core import entries as e
from kuraban.core.engine.occupancy import CARRIED, TAKEN
from kuraban.core.facts import Logged
from kuraban.core.plan.counted_entries import CountedEntries
from kuraban.core.plan.entry_corrections import Key
from kuraban.core.plan.subject_state import Batch
from kuraban.core.planned_curve import Course
from kuraban.core.site import House
from kuraban.core.timescale import pieces_of
from kuraban.core.units import DAY
from kuraban.store.history import History

FORGOTTEN_AFTER = 60 * DAY
"""Entries older than that and than every running batch are corrected no more."""


@dataclass(frozen=True, slots=True)
class Stay:
    """A batch in a place from `start` to `end`, None while nobody ended it.

    `before` is the stay from which it came here, `to` the place to which it went, `told` the time
    of the entry by which it came.
    """

    place: str
    batch: Batch
    start: float
    told: float
    end: float | None = None
    before: Stay | None = None
    to: str | None = None

    def ended(self, now: float) -> float | None:
        """When it ended, by the crew or by the clock of its course."""
        by_clock = self.batch.plan.spans[-1].end
        if self.end is not None:
            return min(self.end, max(by_clock, self.start))
        return by_clock if by_clock <= now else None


Batches = dict[str, Batch | None]
Stays = dict[str, list[Stay]]


class BatchHistory:
    """The stays of a house, by place, oldest first. Belongs to whoever locks it."""

    def __init__(self, house: House) -> None:
        self.house = house
        self._past: Stays = {}
        """Those of before the journal."""
        self._of_past = (0, 0)
        """Which file they are from, and its last link."""
        self._clear()

    def _clear(self) -> None:
        self._books = CountedEntries(self.house)
        self._link, self._forgotten = 0, 0.0
        self._over: Stays = self._past
        """Those that no entry can change any more."""
        self.stays: Stays = {place: [*stays] for place, stays in self._over.items()}
        self.best: dict[Key, Logged] = {}
        """What was marked as the house's best and counts."""

    def catch_up(self, history: History) -> None:
        """Take what has been written since; all anew where the journal was set aside, or the wall
        clock has stepped."""
        clock = pieces_of(history.clock_steps())
        if history.last_outcome() < self._link or clock != self.house.clock:
            self.house = msgspec.structs.replace(self.house, clock=clock)
            self._clear()
        if (of_past := _known(history.past)) != self._of_past:
            past = BatchHistory(self.house)
            if history.past is not None:
                past.catch_up(history.past)
            self._of_past, self._past = of_past, past.stays
            self._clear()
        for link, told in history.outcomes_after(self._link):
            self._link, logged = link, told.logged
            if isinstance(told.as_it_counts.entry, e.Best):
                self.best.pop(logged.key, None)
                self.best |= {logged.key: told.as_it_counts} if told.counts else {}
            if isinstance(logged.entry, TAKEN) and logged.subject in self.house.place:
                self._keep_course(history, told.as_it_counts)
                before = self._batches() if self._books.whole else {}
                if self._books.take(told) and told.counts:
                    self._note_all(before, told.as_it_counts)
        if not self._books.whole:
            self._anew()
        self._forget(history.now() or 0.0)

    def is_best(self, stay: Stay) -> bool:
        """Whether somebody marked it as one of the best."""
        return any(self._named(logged) is stay for logged in self.best.values())

    def _named(self, logged: Logged) -> Stay | None:
        """The stay that a mark names."""
        entry = logged.entry
        assert isinstance(entry, e.Best)
        for stay in reversed(self.stays.get(logged.subject, [])):
            meant = entry.since is None or int(stay.start) == int(entry.since)
            if meant and stay.batch.name == entry.batch and stay.start <= logged.at:
                return stay
        return None

    def _keep_course(self, history: History, logged: Logged) -> None:
        """The batch's own course: that of its beginning, though its file may have changed."""
        entry = logged.entry
        if not isinstance(entry, e.BatchStart):
            return
        for kept in history.courses(entry.batch):
            if kept.place == logged.subject and kept.at >= logged.received - 1.0:
                course = msgspec.json.decode(kept.course_json, type=Course)
                if course.id == entry.course:
                    self._books.courses[logged.key] = course
                    return

    def _batches(self) -> Batches:
        return {place: state.batch for place, state in self._books.subject_states.items()}

    def _anew(self) -> None:
        """The stays by the books folded anew."""
        self.stays = {place: list(stays) for place, stays in self._over.items()}
        before: Batches = {}

        def applied(logged: Logged) -> None:
            nonlocal before
            self._note_all(before, logged)
            before = self._batches()

        self._books.refold(applied)

    def _forget(self, now: float) -> None:
        """What is long over is looked at no more, once a day."""
        if now // DAY == self._forgotten:
            return
        self._forgotten = now // DAY
        kept = self._books.forget(now - FORGOTTEN_AFTER)
        self._over = {
            place: [stay for stay in stays if stay.told < kept]
            for place, stays in self.stays.items()
        }

    def _note_all(self, before: Batches, logged: Logged) -> None:
        for place in {logged.subject, *e.goals_of(logged.entry)}:
            self._note(place, before.get(place), logged)

    def _note(self, place: str, was: Batch | None, logged: Logged) -> None:
        """Begin or end a stay in a place after an entry."""
        batch, stays = self._books.subject_state(place).batch, self.stays.setdefault(place, [])
        if batch is was:
            return
        if stays and stays[-1].end is None:
            stays[-1] = self._closed(stays[-1], logged)
        if batch is not None:
            stays.append(self._begun(place, batch, logged))

    def _closed(self, last: Stay, logged: Logged) -> Stay:
        """The crew ended it or carried it away, or its course's clock did; a batch that was split
        and stays goes on as another from then on."""
        ended = self._books.subject_state(last.place).ended
        if ended is not None and ended[1] >= last.start:
            return replace(last, end=ended[1], to=_to(logged, last.place))
        by_clock = last.batch.plan.spans[-1].end
        return replace(last, end=min(by_clock, max(logged.at, last.start)))

    def _begun(self, place: str, batch: Batch, logged: Logged) -> Stay:
        if not isinstance(logged.entry, CARRIED):
            return Stay(place, batch, batch.since, logged.at)
        source = self.stays.get(logged.subject, [])
        before = source[-1] if source else None
        return Stay(place, batch, logged.at, logged.at, before=before)


def _known(past: History | None) -> tuple[int, int]:
    return (0, 0) if past is None else (past.path.stat().st_ino, past.last_outcome())


def _to(logged: Logged, place: str) -> str | None:
    if logged.subject != place:
        return None
    match logged.entry:
        case e.Move(to=to) | e.Merge(into=to):
            return to
        case e.Split(to=goals) | e.Press(to=goals, rest=False):
            return goals[0]
        case _:
            return None
