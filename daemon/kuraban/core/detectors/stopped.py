"""`stopped`: a cooler that is called for and does nothing, or whose standing power is gone.

Called for by its own demand, or by a valve while it draws nothing at all, ten minutes are enough.
Called for by a valve while it draws its standing power, it may simply rest with cold water in hand:
then its supply must be above its band, and it must have rested longer than it is used to rest;
unless it was seen always to run while a valve is open, as one does whose pump runs with the valve.
The standing power (controls, pumps, crankcase heater) is learned as the tenth part of its resting
draw; once it is gone, the plug or the breaker is out, called for or not.
"""

from __future__ import annotations

from collections import deque

from kuraban.core.detectors.base import CoolerDetector, Tell
from kuraban.core.equipment.cooler_view import NOTHING_WATTS, unbroken
from kuraban.core.house_view import HouseView
from kuraban.core.units import HOUR, MINUTE

WAITS = 10 * MINUTE
GONE_WAITS = 6 * MINUTE
"""For standing power, which no compressor ever takes away for a rest."""
LOOK = 1 * MINUTE
LEAST_STANDING = 2.0
"""W below which a standing power cannot be told from nothing."""
LEARNED_READINGS = 40
GONE_SHARE = 0.35
NOTHING_SEEN = 20.0
"""W; a cooler that always drew more than this and draws nothing has lost its power."""
COMPRESSOR_SHARE = 0.3
RUNS_AGAIN = 2 * MINUTE
OVER = 30 * MINUTE
LONG_REST = 2 * HOUR
"""However long it is used to rest; and as long as nothing is known of its rests."""


class Stopped(CoolerDetector):
    __slots__ = (
        "called_for",
        "called_off",
        "called_since",
        "counted",
        "drew",
        "fine_since",
        "longest_rest",
        "noted",
        "noted_draw",
        "off_since",
        "pump_told",
        "resting",
        "rests_at_nothing",
        "runs_since",
        "standing",
        "suspicious_since",
    )

    conditions = ("stopped",)

    def __init__(self, view: HouseView, tell: Tell, subject: str) -> None:
        super().__init__(view, tell, subject)
        self.resting: deque[float] = deque(maxlen=600)
        self.standing = 0.0
        self.rests_at_nothing = False
        self.longest_rest = 0.0
        self.off_since: float | None = None
        self.suspicious_since: float | None = None
        self.runs_since: float | None = None
        self.fine_since: float | None = None
        self.noted = 0.0
        self.called_since: float | None = None
        self.noted_draw = 0.0
        self.drew = 0
        """Readings in which it drew something, since it last drew nothing."""
        self.pump_told = False
        self.counted = self.called_for = self.called_off = 0.0

    def look(self, now: float) -> float:
        view = self.view
        if not self.cooler.judged(now):
            self.suspicious_since = self.off_since = None
            self.clear(now)
            return now + 10 * MINUTE
        power = view.measured(self.subject, now, "power")
        runs = self.cooler.runs(now)
        if runs is None:
            return now + LOOK
        gone = self._learn(power, runs, now)
        called = self.cooler.called_by(now)
        if called is None:
            self.called_since = None
        elif self.called_since is None:
            self.called_since = self._called_since(now)
        self._count_called(runs, called, now)
        if view.stands(self.subject, "stopped"):
            self._over(runs, gone, called, now)
            return now + LOOK
        why, plain = self._suspicion(power, runs, gone, called, now)
        if not why:
            self.suspicious_since = None
            return now + LOOK
        if self.suspicious_since is None:
            self.suspicious_since = self._since(gone, now) if plain else now
        due = self.suspicious_since + (GONE_WAITS if gone else WAITS)
        if now < due:
            return min(due, now + LOOK)
        self.found("stopped", True, due if now - due < LOOK else now, value=power,
                   since=self.suspicious_since, evidence=why)  # fmt: skip
        return now + LOOK

    def _since(self, gone: bool, now: float) -> float:
        """When it began to do nothing, by the readings themselves, while it was called for."""
        power = self.view.hanging(self.subject, "power")
        if gone:
            return unbroken(power, max(NOTHING_WATTS, GONE_SHARE * self.standing), now)
        since = unbroken(power, self.cooler.least_draw(), now)
        if self.view.signal(self.subject, now, "running") is False:
            since = unbroken(self.view.hanging(self.subject, "running"), 0.5, now)
        return max(since, self.called_since or now)

    def _called_since(self, now: float) -> float:
        """When the call that is new at this look began, by the readings of demand and valves."""
        calls = [*self.view.hanging(self.subject, "demand")]
        for place in self.view.served(self.subject):
            calls += self.view.hanging(place, "valve")
        on = [
            probe_state
            for probe_state in calls
            if probe_state.raw is not None and probe_state.raw > 0.5
        ]
        return max(
            min((unbroken([probe_state], 0.5, now, above=True) for probe_state in on), default=now),
            now - LOOK,
        )

    def _learn(self, power: float | None, runs: bool, now: float) -> bool:
        """Keep what it draws at rest and how long it rests; whether its standing power is gone."""
        if power is not None and now - self.noted_draw >= 50:
            self.noted_draw = now
            self._draws(power, runs)
        if runs:
            if self.off_since is not None:
                self.longest_rest = max(self.longest_rest, now - self.off_since)
                if power is not None and self.resting and self.resting[-1] <= NOTHING_WATTS:
                    self.rests_at_nothing = True
            self.off_since = None
            self.runs_since = now if self.runs_since is None else self.runs_since
            return False
        self.runs_since = None
        self.off_since = now if self.off_since is None else self.off_since
        if power is None:
            return False
        gone = self.standing >= LEAST_STANDING and power < GONE_SHARE * self.standing
        gone = gone or (power <= NOTHING_WATTS and self.drew >= LEARNED_READINGS)
        if not gone and now - self.noted >= 50:
            self.noted = now
            self.resting.append(power)
            if len(self.resting) >= LEARNED_READINGS and len(self.resting) % 10 == 0:
                ordered = sorted(self.resting)
                self.standing = ordered[len(ordered) // 10]
        return gone

    def _draws(self, power: float, runs: bool) -> None:
        """How long it never drew nothing, and whether it says that it runs with its pump alone."""
        if power > NOTHING_SEEN:
            self.drew += 1
        elif self.drew < LEARNED_READINGS:
            self.drew = 0
        rated = self.cooler.entry.rated_watts
        if runs and rated is not None and power < COMPRESSOR_SHARE * rated:
            self.pump_told = True

    def _count_called(self, runs: bool, called: str | None, now: float) -> None:
        """How much of the time in which it is called for it runs; long silence is no rest."""
        passed = min(now - self.counted, 2 * LOOK) if self.counted else 0.0
        self.counted = now
        if called != "called_valve":
            return
        resting = self.off_since is not None and now - self.off_since > WAITS
        if runs or not resting:
            self.called_for += passed
            self.called_off += 0.0 if runs else passed

    def _always_runs(self) -> bool:
        """Its pump runs with a valve: it said so while its compressor rested, or never rested."""
        if self.pump_told:
            return True
        return self.called_for >= HOUR and self.called_off <= 0.1 * self.called_for

    def _suspicion(
        self, power: float | None, runs: bool, gone: bool, called: str | None, now: float
    ) -> tuple[tuple[str, ...], bool]:
        """What speaks for a stop at this moment, and whether its own readings say it alone."""
        if gone:
            return ("standing_gone", *(() if called is None else (called,))), True
        if runs or called is None or self.off_since is None:
            return (), False
        hard = called == "called_demand" or (called == "called_valve" and self._always_runs())
        nothing = power is not None and power <= NOTHING_WATTS and not self.rests_at_nothing
        seen = "no_draw" if nothing else "not_running"
        if nothing or hard:
            return (seen, called), True
        off_band = self.cooler.off_band(now)
        if off_band is False:
            return (), False
        unsure = off_band is None or called == "called_warm"
        usual = 1.5 * self.longest_rest or LONG_REST
        if unsure and now - self.off_since < min(usual, LONG_REST):
            return (), False
        supply = self.cooler.makes(now)
        return (seen, called, *(() if supply is None else (f"supply={supply:.1f}",))), False

    def _over(self, runs: bool, gone: bool, called: str | None, now: float) -> None:
        """It has ended when it runs again, or when nobody calls for it any more for a while."""
        if runs and self.runs_since is not None and now - self.runs_since >= RUNS_AGAIN:
            self._end(now)
            return
        if runs or gone or called is not None:
            self.fine_since = None
            return
        self.fine_since = now if self.fine_since is None else self.fine_since
        if now - self.fine_since >= OVER:
            self._end(now)

    def _end(self, now: float) -> None:
        self.suspicious_since = self.fine_since = None
        self.found("stopped", False, now)
