"""Where an addition should land, and a word to the crew if it landed elsewhere.

An addition logged with its figures (kilograms or litres, and °C) gives a range in which the whole
comes to rest (`kuraban.core.plan.addition_temperature`). Once the mixture has settled, a product
outside the range by more than the probe's own doubt is told (`landing-above`, `landing-below`:
notices and no alarms). Times and doubts are common practice.
"""

from __future__ import annotations

from typing import NamedTuple

from kuraban.core import entries as e
from kuraban.core.detectors.base import Detector, Remark, Tell
from kuraban.core.facts import Logged
from kuraban.core.house_view import HouseView
from kuraban.core.plan.addition_temperature import Mash, expected
from kuraban.core.plan.fill_level import TRACES, litres_in
from kuraban.core.planned_curve import FAR_FUTURE
from kuraban.core.units import HOUR, MINUTE
from kuraban.trade.robust import median

SETTLES = {"rice": 90 * MINUTE, "ice": 90 * MINUTE, "yodan": 60 * MINUTE}
SETTLES_ELSE = 40 * MINUTE
LOOK_BACK = 20 * MINUTE
LOGGED_LATE = 20 * MINUTE
DOUBT = 0.3
"""K of the probe and of layers that a stir leaves."""
FILLED = (0.6, 1.0)
"""Share of its size to which a tank in its last stage is filled, where nobody logged it."""
FULL = 0.05
"""Share by which litres reckoned from additions may be off."""


class _Pour(NamedTuple):
    """What goes in just now: what was there before it, and when it has settled."""

    before: Mash
    additions: tuple[e.Addition, ...]
    due: float


class Landing(Detector):
    __slots__ = ("pour", "seen")

    def __init__(self, view: HouseView, tell: Tell, subject: str) -> None:
        super().__init__(view, tell, subject)
        self.seen: dict[str, float] = {}
        """Additions taken into account, by their ids, and when they were."""
        self.pour: _Pour | None = None

    def look(self, now: float) -> float:
        view = self.view
        if view.batch(self.subject, now) is None or not view.in_service(self.subject):
            self.pour = None
            return FAR_FUTURE
        if self.pour is not None and now >= self.pour.due:
            self._landed(self.pour, now)
            self.pour = None
        for logged, addition in self._new(now):
            self.seen[logged.id] = logged.at
            self._goes_in(addition, logged.at, now)
        return FAR_FUTURE if self.pour is None else self.pour.due

    def _new(self, now: float) -> list[tuple[Logged, e.Addition]]:
        """Additions that came since the last look and are no older than their settling."""
        self.seen = {known: at for known, at in self.seen.items() if now - at < 6 * HOUR}
        return [
            (logged, logged.entry)
            for logged in self.view.entry_log.about(self.subject)
            if isinstance(logged.entry, e.Addition)
            and logged.entry.what not in TRACES
            and now - LOGGED_LATE <= logged.at <= now
            and logged.id not in self.seen
        ]

    def _goes_in(self, addition: e.Addition, at: float, now: float) -> None:
        pour, due = self.pour, at + SETTLES.get(addition.what, SETTLES_ELSE)
        if pour is not None:
            self.pour = pour._replace(additions=(*pour.additions, addition), due=max(pour.due, due))
            return
        before, litres = self._product(at, now), self._litres(at)
        if before is not None and litres is not None:
            self.pour = _Pour(Mash(before, litres), (addition,), due)

    def _product(self, until: float, now: float) -> float | None:
        """The product of the last minutes before a moment, None where it is not believed."""
        if self.view.product(self.subject, now) is None:
            return None
        _, values = self.view.places[self.subject].series.since(until - LOOK_BACK, until)
        return median(values) if len(values) >= 3 else None

    def _litres(self, at: float) -> tuple[float, float] | None:
        """What was in the tank before that moment."""
        logged = litres_in(self.view.entry_log, self.subject, at - 1.0)
        if logged is not None:
            return (1 - FULL) * logged, (1 + FULL) * logged
        size = self.view.house.place[self.subject].litres
        batch = self.view.batch(self.subject, at)
        if batch is None or size is None:
            return None
        last = batch.plan.standing(at).span.stage == len(batch.course.stages) - 1
        return (FILLED[0] * size, FILLED[1] * size) if last else None

    def _landed(self, pour: _Pour, now: float) -> None:
        """Nothing is told where spirit went in: it warms by its strength, which nobody logs."""
        spirit = any(addition.what == "alcohol" for addition in pour.additions)
        found = self._product(now, now)
        goal = None if spirit else expected(pour.before, list(pour.additions))
        if found is None or goal is None:
            return
        if found > goal.most + DOUBT:
            self.tell(Remark(self.subject, "landing-above", found - goal.likely, now))
        elif found < goal.least - DOUBT:
            self.tell(Remark(self.subject, "landing-below", goal.likely - found, now))
