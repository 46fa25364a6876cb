"""`short-cycling`: more than twelve starts an hour, which wears a compressor out.

Twelve starts an hour is a scroll manufacturer's guideline; from memory of its handbook.
"""

from __future__ import annotations

from collections import deque

from kuraban.core.detectors.base import CoolerDetector, Tell
from kuraban.core.house_view import HouseView
from kuraban.core.site import Probe
from kuraban.core.units import HOUR, MINUTE
from kuraban.core.views.explanation import Account, Because

MOST_STARTS = 12


class ShortCycling(CoolerDetector):
    __slots__ = ("oftenest", "ran", "starts")

    conditions = ("short-cycling",)

    def __init__(self, view: HouseView, tell: Tell, subject: str) -> None:
        super().__init__(view, tell, subject)
        self.starts: deque[float] = deque()
        self.oftenest: list[Probe] = []
        """What tells of its runs in this house, that which speaks oftenest first."""
        self.ran: bool | None = None

    def settle(self) -> None:
        super().settle()
        probes = self.view.house.probes_of(self.subject, "running", "power")
        self.oftenest = sorted(probes, key=lambda probe: probe.every)

    def listens(self) -> tuple[str, ...]:
        probes = self.view.house.probes_of(self.subject, "power", "running")
        return tuple(probe.id for probe in probes)

    def look(self, now: float) -> float:
        if not self.cooler.judged(now):
            self.starts.clear()
            self.clear(now)
            return now + 10 * MINUTE
        runs = self._raw_runs(now)
        if runs and self.ran is False:
            self.starts.append(now)
        if runs is not None:
            self.ran = runs
        while self.starts and self.starts[0] <= now - HOUR:
            self.starts.popleft()
        count = len(self.starts)
        if count > MOST_STARTS:
            self.found("short-cycling", True, now, value=float(count), since=self.starts[0],
                       evidence=(f"starts={count}",))  # fmt: skip
        elif count <= MOST_STARTS // 2:
            self.found("short-cycling", False, now)
        return now + 5 * MINUTE

    def _raw_runs(self, now: float) -> bool | None:
        """As the probe that speaks oftenest says it, unfiltered: a run may last two minutes."""
        for probe in self.oftenest:
            probe_state = self.view.probe_states[probe.id]
            if probe_state.raw is None or not probe_state.fresh(now):
                continue
            if probe.measures == "running":
                return probe_state.raw > 0.5
            rated = self.cooler.entry.rated_watts
            return probe_state.raw >= (60.0 if rated is None else 0.15 * rated)
        return None

    def explain(self, now: float) -> tuple[Account, ...]:
        if not self.cooler.judged(now):
            return ()
        count = sum(at > now - HOUR for at in self.starts)
        why = None if count > MOST_STARTS else Because("few-starts", count, MOST_STARTS, "")
        over = Because("over-starts", count, MOST_STARTS // 2, "")
        return (self.account("short-cycling", lacks=(why,), ends=(over,)),)
