"""`stopped`: a cooler that should run and does not, or whose standing power is gone.

It should run, and ten minutes of doing nothing are enough, when its own demand says so; when a
valve is open and it draws nothing at all, or was seen to run as soon as a valve opens, every time.
Else what it keeps decides: its water, its air or that of its room, beyond the point at which it is
used to start (while that is not known: beyond its band, or beyond where it ever turned, of one
that never rested before). With cold water in hand it rests, for
hours and under open valves. Where nothing says what it keeps, it must have rested longer than ever
before, and the places that it serves must be turning together.

The standing power (controls, pumps, crankcase heater) is learned as the tenth part of its resting
draw; once it is gone, the plug or the breaker is out, called for or not.
"""

from __future__ import annotations

from collections import deque

from kuraban.core.detectors.base import CoolerDetector, Tell
from kuraban.core.equipment.cooler_habit import HabitView, Ran
from kuraban.core.equipment.cooler_view import NOTHING_WATTS, unbroken
from kuraban.core.house_view import HouseView
from kuraban.core.units import HOUR, MINUTE
from kuraban.core.views.explanation import Account, Because, Delay, evidence

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
PUMPS = 5 * MINUTE
"""So long without a break it must say that it runs and draw less, before it is a pump: a word and a
meter of one start come a minute apart."""
RUNS_AGAIN = 2 * MINUTE
OVER = 30 * MINUTE
THAWS_FOR = 40 * MINUTE
"""A unit in the air of its room rests so long for a thaw (common practice: 20 to 30 min)."""
STILL = 1 * HOUR
"""The same of one that was never seen to rest, once what it keeps is beyond where it ever was."""
LONG_REST = 2 * HOUR
"""However short it is used to rest; and as long as nothing is known of its rests."""
RESTS = 1.5
TURNING, TURNED = 0.5, 0.1
"""Share of the places that need it which must move the wrong way, and K within `TURNED_IN`."""
TURNED_IN = 30 * MINUTE


class Stopped(CoolerDetector):
    __slots__ = (
        "called_since",
        "drew",
        "fine_since",
        "noted",
        "noted_draw",
        "off_since",
        "pump_since",
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
        self.pump_since: float | None = None

    def look(self, now: float) -> float:
        view = self.view
        if not self.cooler.judged(now):
            self.suspicious_since = self.off_since = None
            self.clear(now)
            return now + 10 * MINUTE
        power = view.measured(self.subject, now, "power")
        ran = self.cooler.stands(now)
        self.tell(ran)
        runs = ran.runs
        if runs is None:
            return now + LOOK
        gone = self._learn(power, runs, now)
        called = self.cooler.called_by(now)
        if called is None:
            self.called_since = None
        elif self.called_since is None:
            self.called_since = self._called_since(now)
        if view.stands(self.subject, "stopped"):
            self._over(ran, gone, called)
            return now + LOOK
        why, plain = self._suspicion(power, ran, gone, called)
        if not why:
            self.suspicious_since = None
            return now + LOOK
        if self.suspicious_since is None:
            self.suspicious_since = self._since(gone, now) if plain else now
        due = self.suspicious_since + self._waits(gone, called)
        if now < due:
            return min(due, now + LOOK)
        self.found("stopped", True, due if now - due < LOOK else now, value=power,
                   since=self.suspicious_since, evidence=why)  # fmt: skip
        return now + LOOK

    def _waits(self, gone: bool, called: str | None) -> float:
        thaws = self.cooler.entry.kind == "cold-room" and called != "called_demand"
        return GONE_WAITS if gone else THAWS_FOR if thaws else WAITS

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
            self._draws(power, runs, now)
        if runs:
            if (self.off_since is not None and power is not None and self.resting
                    and self.resting[-1] <= NOTHING_WATTS):  # fmt: skip
                self.rests_at_nothing = True
            self.off_since = None
            self.runs_since = now if self.runs_since is None else self.runs_since
            return False
        self.runs_since = None
        self.off_since = now if self.off_since is None else self.off_since
        if power is None:
            return False
        gone = self._gone(power)
        if not gone and now - self.noted >= 50:
            self.noted = now
            self.resting.append(power)
            if len(self.resting) >= LEARNED_READINGS and len(self.resting) % 10 == 0:
                ordered = sorted(self.resting)
                self.standing = ordered[len(ordered) // 10]
        return gone

    def _gone(self, power: float) -> bool:
        """Whether the draw of its rest is gone, for one that rests."""
        if self.standing >= LEAST_STANDING and power < GONE_SHARE * self.standing:
            return True
        return power <= NOTHING_WATTS and self.drew >= LEARNED_READINGS

    def _draws(self, power: float, runs: bool, now: float) -> None:
        """How long it never drew nothing, and whether it says that it runs with its pump alone."""
        if power > NOTHING_SEEN:
            self.drew += 1
        elif self.drew < LEARNED_READINGS:
            self.drew = 0
        rated = self.cooler.entry.rated_watts
        said = self.view.hanging(self.subject, "running")
        if not (runs and said and rated is not None and power < COMPRESSOR_SHARE * rated):
            self.pump_since = None
        elif self.pump_since is None:
            self.pump_since = now
        elif now - self.pump_since >= PUMPS:
            self.pump_told = True

    def _suspicion(
        self, power: float | None, ran: Ran, gone: bool, called: str | None
    ) -> tuple[tuple[str, ...], bool]:
        """What speaks for a stop at this moment, and whether its own readings say it alone."""
        if gone:
            return ("standing_gone", *(() if called is None else (called,))), True
        if ran.runs or self.off_since is None:
            return (), False
        nothing = power is not None and power <= NOTHING_WATTS and not self.rests_at_nothing
        seen = "no_draw" if nothing else "not_running"
        habit = self.cooler.habit
        follows = self.pump_told or (
            habit is not None
            and (habit.follows_valves or (ran.keeps is None and habit.never_rested))
        )
        hard = called == "called_demand" or (called == "called_valve" and (nothing or follows))
        if hard and called is not None:
            return (seen, called), True
        late = self._late(ran, called)
        if late is None:
            late = called is not None and self._rested_too_long(ran.at, called)
        if not late:
            return (), False
        supply = self.cooler.makes(ran.at)
        kept = () if supply is None else (f"supply={supply:.1f}",)
        return (seen, *(() if called is None else (called,)), *kept), False

    def _late(self, ran: Ran, called: str | None) -> bool | None:
        """Whether it should have started by what it keeps; None where nothing says what that is."""
        kept, habit = self.cooler.keeps_truly(ran), self.cooler.habit
        if ran.keeps is None or habit is None:
            return None
        if kept is None:
            return False
        if habit.start is not None:
            return kept > habit.start
        off_band = self.cooler.off_band(ran.at)
        if off_band is False and self._never_so(ran, kept, habit):
            return True
        return None if off_band is None else off_band and called is not None

    def _never_so(self, ran: Ran, kept: float, habit: HabitView) -> bool:
        """It was never seen to rest, stands still for long, and what it keeps is beyond where it
        turned each time while it ran."""
        if self.off_since is None or habit.longest_rest is not None or not habit.proven:
            return False
        return ran.at - self.off_since >= STILL and habit.reach is not None and kept > habit.reach

    def _rested_too_long(self, now: float, called: str) -> bool:
        """Longer than it is used to, with the places that need it turning away together."""
        if self.off_since is None or now - self.off_since < self._usual_rest():
            return False
        return called == "called_valve" or self._turning(now)

    def _usual_rest(self) -> float:
        """s that it may rest by its habit."""
        habit = self.cooler.habit
        longest = habit.longest_rest if habit is not None else None
        return LONG_REST if longest is None else max(RESTS * longest, WAITS)

    def _turning(self, now: float) -> bool:
        sign = -1.0 if self.cooler.entry.heats else 1.0
        judged = [one for one in self.view.calling(self.subject, now) if one.batch is not None]
        away = 0
        for one in judged:
            rise = self.cooler.rise(one.place, now, TURNED_IN, "product", "air")
            away += rise is not None and sign * rise > TURNED
        return away >= min(2, len(judged)) and away >= TURNING * len(judged)

    def _over(self, ran: Ran, gone: bool, called: str | None) -> None:
        """It has ended when it runs again, or when nothing calls for it any more for a while."""
        now = ran.at
        if ran.runs and self.runs_since is not None and now - self.runs_since >= RUNS_AGAIN:
            self._end(now)
            return
        if ran.runs or gone or called is not None or self._late(ran, called):
            self.fine_since = None
            return
        self.fine_since = now if self.fine_since is None else self.fine_since
        if now - self.fine_since >= OVER:
            self._end(now)

    def _end(self, now: float) -> None:
        self.suspicious_since = self.fine_since = None
        self.found("stopped", False, now)

    # Why it is told as stopped, or is not.

    def explain(self, now: float) -> tuple[Account, ...]:
        if not self.cooler.judged(now):
            return ()
        power, ran = self.view.measured(self.subject, now, "power"), self.cooler.stands(now)
        if ran.runs is None:
            return (self.account("stopped", lacks=(Because("runs-unknown"),)),)
        gone = not ran.runs and power is not None and self._gone(power)
        called = self.cooler.called_by(now)
        why, _ = self._suspicion(power, ran, gone, called)
        since, wanted = self.suspicious_since, self._waits(gone, called)
        delay = None
        if since is not None:
            delay = Delay(since, "record", min(now - since, wanted), wanted, since + wanted)
        lacks = self._lacks(ran, called) if not why else None
        if delay is not None and since is not None and now < since + wanted:
            lacks = Because("runs-out", until=since + wanted, lasted=now - since, wanted=wanted)
        ends = (Because("over-runs", wanted=RUNS_AGAIN), Because("over-uncalled", wanted=OVER))
        return (
            self.account("stopped", seen=evidence(why), lacks=(lacks,), ends=ends, delay=delay),
        )

    def _lacks(self, ran: Ran, called: str | None) -> Because:
        """What speaks against its being stopped, where nothing speaks for it."""
        if ran.runs:
            return Because("it-runs")
        late, habit = self._late(ran, called), self.cooler.habit
        if late is False and habit is not None and habit.start is not None:
            sign = -1.0 if self.cooler.entry.heats else 1.0
            kept = self.cooler.keeps_truly(ran)
            return Because("not-late", kept and sign * kept, sign * habit.start)
        if called is None:
            return Because("not-called")
        rested = ran.at - (ran.at if self.off_since is None else self.off_since)
        return Because("rested", lasted=rested, wanted=self._usual_rest())
