"""One cooler or heater as its probes and its places tell it: called for, running, what comes out.

A chiller that rests for hours in a cold January cellar while its standing water warms is healthy.
So nothing is said of a cooler that nobody calls for. It is called for when its demand says so, when
a served place's valve is open, or when a served place needs it and its supply is out of band.
Whether it should run by now is told from what it keeps, against its own habit (`cooler_habit`).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from kuraban.core.equipment.cooler_habit import HabitView, Ran
from kuraban.core.house_view import HouseView
from kuraban.core.probes.probe_view import ProbeView
from kuraban.core.site import Cooler
from kuraban.core.units import MINUTE

NEEDS_SHARE = 0.8
"""Share of the notice band beyond which a place needs cooling or heating (common practice)."""
RUNS_SHARE = 0.05
"""Share of the rated draw from which a pump, compressor or heater runs."""
RUNS_WATTS = 60.0
"""The same where no rated draw is known, W."""
NOTHING_WATTS = 5.0
LOOKED_BACK = 20 * MINUTE


def unbroken(
    probe_states: Sequence[ProbeView], edge: float, now: float, *, above: bool = False
) -> float:
    """Since when all that these probes said lies below (above) an edge; `now` if it does not."""
    since = now
    for probe_state in probe_states:
        times, values = probe_state.series.since(now - LOOKED_BACK, now)
        for at, value in zip(reversed(times), reversed(values), strict=True):
            if (value > edge) is not above:
                break
            since = min(since, at)
    return since


class CoolerView:
    """One cooler or heater to whoever reads it; nothing here can be written."""

    __slots__ = ("entry", "id", "view")

    def __init__(self, view: HouseView, cooler: str) -> None:
        self.view, self.id = view, cooler
        self.entry: Final[Cooler] = view.house.cooler[cooler]

    def judged(self, now: float) -> bool:
        """It is in service and something that it serves is judged."""
        return self.view.cooler_judged(self.id, now)

    def makes(self, now: float) -> float | None:
        """Temperature of what it delivers: its supply, else its air."""
        return self.view.measured(self.id, now, "supply", "air")

    def keeps(self, now: float) -> float | None:
        """What it keeps, the wrong way up: what it delivers, else the room or store it serves."""
        value = self.makes(now)
        for place in () if value is not None else self._kept():
            value = self.view.measured(place, now, "air", "supply", "product")
            if value is not None:
                break
        if value is None:
            return None
        return -value if self.entry.heats else value

    def _kept(self) -> list[str]:
        """The rooms and stores that it serves itself."""
        places = ((place, self.view.house.place[place]) for place in self.view.served(self.id))
        return [
            place
            for place, entry in places
            if self.id in (entry.cooler, entry.heater) and not entry.brews
        ]

    def keeps_rise(self, now: float, span: float) -> float | None:
        """K by which what it keeps went the wrong way over the last `span` seconds."""
        rise = self.rise(self.id, now, span, "supply", "air")
        for place in () if rise is not None else self._kept():
            rise = self.rise(place, now, span, "air", "supply", "product")
            if rise is not None:
                break
        return -rise if rise is not None and self.entry.heats else rise

    @property
    def habit(self) -> HabitView | None:
        """How it is used to run, as far as that is known."""
        return self.view.habits.get(self.id)

    def valve_open(self, now: float) -> bool | None:
        """Whether any valve that it serves is open; None where none is known."""
        view, known = self.view, None
        for valves in view.valves(self.id):
            valve = view.signalled(valves, now)
            if valve:
                return True
            known = valve if known is None else known
        return known

    def stands(self, now: float) -> Ran:
        """How it stands at this moment, for whoever learns its habit."""
        pipe = self.entry.kind == "chilled-water"
        return Ran(self.id, now, self.runs(now), self.keeps(now), self.valve_open(now), pipe)

    def keeps_truly(self, ran: Ran) -> float | None:
        """What it keeps, but for water that stands in a pipe and tells of the pipe alone."""
        habit = self.habit
        if habit is None or (ran.pipe and not habit.flows(ran.at, ran.valve)):
            return None
        return ran.keeps

    def off_band(self, now: float) -> bool | None:
        """Whether what it delivers is too warm (heater: too cold); None where nobody knows."""
        value, entry = self.makes(now), self.entry
        if value is None or entry.band is None:
            return None
        return value < entry.band[0] if entry.heats else value > entry.band[1]

    def runs(self, now: float) -> bool | None:
        """Whether it runs, by its own word or its draw; None where nobody knows."""
        running = self.view.signal(self.id, now, "running")
        if running is False:
            return False
        power = self.view.measured(self.id, now, "power")
        if running:
            return power is None or power > NOTHING_WATTS
        if power is None:
            return None
        return power >= self.least_draw()

    def least_draw(self) -> float:
        """W from which it runs."""
        rated = self.entry.rated_watts
        return RUNS_WATTS if rated is None else RUNS_SHARE * rated

    def called_by(self, now: float) -> str | None:
        """Why it is called for, as a word of evidence; None if it is not."""
        view = self.view
        demand = view.signal(self.id, now, "demand")
        if demand:
            return "called_demand"
        needing = False
        for place, batch, valves in view.calling(self.id, now):
            valve = view.signalled(valves, now)
            if valve:
                return "called_valve"
            if not needing and (valve is not False or batch is None):
                needing = self.needs(place, valve, now)
        if needing and demand is None and self.off_band(now) is not False:
            return "called_warm"
        return None

    def needs(self, place: str, valve: bool | None, now: float) -> bool:
        """Whether a served place is warmer (heater: colder) than it should be.

        Where its valve is known to be shut its controller asks for nothing; a bed that is worked
        by hand is meant to lose its heat.
        """
        view, heats, entry = self.view, self.entry.heats, self.view.house.place[place]
        sign = -1.0 if heats else 1.0
        batch = view.batch(place, now)
        if batch is not None:
            known = None if valve is False else view.product(place, now)
            if known is None or (heats and view.masked(place, now) is not None):
                return False
            notice = batch.plan.standing(now).stage.notice
            share = NEEDS_SHARE * (notice.below if heats else notice.above)
            return sign * (known[0] - batch.plan.at(known[1])) > share
        if entry.band is None:
            return False
        value = view.measured(place, now, "product", "air", "supply")
        if value is None:
            return False
        return value < entry.band[0] if heats else value > entry.band[1]

    def rise(self, probe_of: str, now: float, span: float, *measures: str) -> float | None:
        """K by which a temperature rose over the last `span` seconds, ends by medians."""
        probe_states = (
            probe_state for m in measures for probe_state in self.view.hanging(probe_of, m)
        )
        for probe_state in probe_states:
            if not probe_state.good(now):
                continue
            times, values = probe_state.series.since(now - span, now)
            if len(times) < 4 or times[-1] - times[0] < 0.7 * span:
                return None
            part = max(len(times) // 5, 1)
            early, late = sorted(values[:part]), sorted(values[-part:])
            return late[len(late) // 2] - early[len(early) // 2]
        return None
