"""Unlogged stirring: the reading of a tank jumps as no mash can, and nobody logged a stir.

A pole brings the probe mash of another layer: 0.15 to 0.8 K within a minute, either way, which a
jacket at full or hot water needs five minutes and more for; then it shakes for a while and comes
back within the hour, as the layers even out (common practice). A probe that leaves its mash goes on
moving; one that merely moved stays within a quarter of a degree of where the step took it.

The product is held as if the stir had been logged at the step, and the crew is asked without a
sound, once in some hours for each tank. While somebody lets it run they look for themselves.
"""

from __future__ import annotations

from bisect import bisect_left

from kuraban.core.detectors.base import Detector, Disturbed, Remark, Tell
from kuraban.core.house_view import HouseView
from kuraban.core.plan.entry_reducer import STIR
from kuraban.core.plan.subject_state import STIR_SEEN
from kuraban.core.planned_curve import FAR_FUTURE
from kuraban.core.probes.probe_view import ProbeView
from kuraban.core.units import HOUR, MINUTE
from kuraban.trade.robust import mean, median

NOTICED = 0.12
"""K between a reading and the filtered value from which anything is looked at closely."""
LEAST, MOST = 0.15, 0.8
"""K of a step; beyond, the probe is in doubt first (`displaced`)."""
BEFORE = 15 * MINUTE
AFTER = 2 * MINUTE
"""So long a step has stood before it is one."""
LONGEST_GAP = 6 * MINUTE
"""Between two readings; over a longer one anything may have moved."""
STAYS = 0.25
"""K within which the reading shakes after a stir."""
RESTS = 0.07
"""K by which it may still go on the way of the step, where three tenths of that are less."""
LATEST = 4
"""So many readings before a step tell where it began."""
AT_ONCE = 0.7
"""Share of a step that the first two readings after it have gone."""
NOISES = 4.0
"""Times its own noise that a step must be."""
AGAIN = 5 * MINUTE
ASKED_AGAIN = 6 * HOUR


class StirUnlogged(Detector):
    __slots__ = ("asked", "probe_state", "seen")

    def __init__(self, view: HouseView, tell: Tell, subject: str) -> None:
        super().__init__(view, tell, subject)
        self.seen = 0.0
        """When the latest step was."""
        self.asked = 0.0
        self.probe_state: ProbeView = view.places[subject].products[0]

    def settle(self) -> None:
        self.probe_state = self.view.places[self.subject].products[0]

    def listens(self) -> tuple[str, ...]:
        return (self.probe_state.probe.id,)

    def look(self, now: float) -> float:
        raw, value = self.probe_state.raw, self.probe_state.value
        if raw is not None and value is not None and not -NOTICED < raw - value < NOTICED:
            self._look(now)
        return FAR_FUTURE

    def _look(self, now: float) -> None:
        view = self.view
        masks = view.entry_log.of(self.subject).masks
        held = any(m.start <= now < m.end and m.why != STIR_SEEN for m in masks)
        run = view.entry_log.of(self.subject).let_run
        held = held or (run is not None and now < run.until)
        if held or now - self.seen < AGAIN or not view.place_judged(self.subject, now):
            return
        found = self._step(now)
        if found is None:
            return
        self.seen, step = found
        self.tell(Disturbed(self.subject, STIR_SEEN, self.seen, self.seen + STIR))
        if now - self.asked >= ASKED_AGAIN:
            self.asked = now
            self.tell(Remark(self.subject, "stir-unlogged", abs(step), now))

    def _step(self, now: float) -> tuple[float, float] | None:
        """When the latest step of these minutes was, and its K."""
        times, values = self.probe_state.series.since(now - BEFORE - 2 * LONGEST_GAP, now)
        for after in range(2, len(times) - 3):
            start = len(times) - after
            if times[-1] - times[start] < AFTER:
                continue
            if times[-1] - times[start] > 2 * LONGEST_GAP:
                return None
            if times[start] - times[start - 1] > LONGEST_GAP:
                continue
            low = max(bisect_left(times, max(times[start] - BEFORE, self.seen + AGAIN)), 0)
            step = _between(values[low:start].tolist(), values[start:].tolist())
            if step is not None:
                return times[start], step
        return None


def _between(before: list[float], after: list[float]) -> float | None:
    """K of a step between readings that stood before it and stand after it, None for none."""
    if len(before) < 2 * LATEST:
        return None
    level, now = mean(before[-LATEST:]), median(after)
    step, noise = now - level, median([abs(value - level) for value in before]) / 0.67
    size, half = abs(step), len(after) // 2
    if not max(LEAST, NOISES * noise) <= size <= MOST:
        return None
    moved = [value - level if step > 0 else level - value for value in after]
    goes_on = mean(moved[-half:]) - mean(moved[:half])
    stood = abs(level - mean(before[:LATEST])) <= size / 2
    at_once = mean(moved[:2]) >= size * AT_ONCE and min(moved) > size / 3
    stays = max(after) - min(after) <= max(STAYS, size / 2) and goes_on <= max(RESTS, size * 0.3)
    return step if stood and at_once and stays else None
