"""`trending-warm`, `trending-cold`: still inside, but on its way out within the look-ahead.

It trends when the drift reaches the edge of the tolerance within three hours, when even the slow
end of its interval goes that way, and when the product stands where its saw-tooth never went in the
last hours; at two looks in a row. By day it rings where that is beyond doubt: a trend that rings
must come true. What comes back from beyond the other side is on its way home,
and is believed to leave on this side only once it is past the notice band.
"""

from __future__ import annotations

from kuraban.core.detectors.base import Detector, Tell
from kuraban.core.forecast.drift import Drift, Swing, drift_of, swing_in
from kuraban.core.house_view import HouseView
from kuraban.core.plan.subject_state import Batch
from kuraban.core.planned_curve import FAR_FUTURE, Stage
from kuraban.core.units import HOUR, MINUTE
from kuraban.core.views.explanation import Account, Because

LOOK = 10 * MINUTE
AHEAD = 3 * HOUR
SURELY, SURE_LOOKS = 2 * HOUR, 3
"""Within so long even the slow end of its interval must leave, at so many looks in a row, for it to
ring by day; what is less sure is listed."""
LEAST_SLOPE = 0.03
"""K an hour; below that nothing is told from noise and quantising."""
LOOKS = 2
STAYS = 1.5
"""What stands is over once it takes so many look-aheads."""
SWING_KNOWN = 2 * HOUR
"""Before so much of its swing is known, a rise may be that of its saw-tooth."""


class Trend(Detector):
    __slots__ = ("seen", "sure")

    conditions = ("trending-warm", "trending-cold")

    def __init__(self, view: HouseView, tell: Tell, subject: str) -> None:
        super().__init__(view, tell, subject)
        self.seen = {"warm": 0, "cold": 0}
        self.sure = {"warm": False, "cold": False}
        """Whether what stands was told as one that rings."""

    def look(self, now: float) -> float:
        view = self.view
        batch = view.batch(self.subject, now)
        if batch is None or not view.in_service(self.subject):
            self.seen = {"warm": 0, "cold": 0}
            self.clear(now)
            return FAR_FUTURE
        if self._held(now) is not None:
            return now + LOOK
        swing = self._swing(batch, now)
        if swing is not None and not self._matters(swing, SWING_KNOWN):
            self.seen["warm"] = self.seen["cold"] = 0
            return now + LOOK
        drift = None if swing is None else drift_of(view, self.subject, batch, now)
        stage = batch.plan.standing(now).stage
        for side, edge in _edges(stage):
            homeward = drift is not None and _homeward(drift, stage, side == "warm")
            self._judge(side, edge, None if homeward else drift, batch, now)
        return now + LOOK

    def _held(self, now: float) -> float | None:
        """Until when work or a let-run keeps it from being judged."""
        run = self.view.entry_log.of(self.subject).let_run
        until = run.until if run is not None and now < run.until else None
        masked = self.view.masked(self.subject, now)
        return max(filter(None, (masked, until)), default=None)

    def _swing(self, batch: Batch, now: float) -> Swing | None:
        known = self.view.product(self.subject, now)
        return None if known is None else swing_in(self.view, self.subject, batch, now)

    def _drift(self, batch: Batch, now: float) -> Drift | None:
        """The drift, reckoned only where the product left its swing or something stands."""
        swing = self._swing(batch, now)
        if swing is None:
            return None
        if not self._matters(swing):
            return Drift(swing.now, 0.0, 0.0, 0.0, swing)
        return drift_of(self.view, self.subject, batch, now)

    def _matters(self, swing: Swing, known: float = 0.0) -> bool:
        """It left its swing, of which so much is known, s, or something stands: else its drift
        changes nothing."""
        left = swing.seen >= known and (swing.exceeded(True) or swing.exceeded(False))
        return left or self.view.stands(self.subject, *self.conditions)

    def _judge(self, side: str, edge: float, drift: Drift | None, batch: Batch, now: float) -> None:
        name = f"trending-{side}"
        outside = self._outside(side)
        on_its_way = drift is not None and not outside and self._lacks(drift, edge) is None
        self.seen[side] = self.seen[side] + 1 if on_its_way else 0
        stands = self.view.stands(self.subject, name)
        if drift is None:
            if outside:
                self.found(name, False, now)
            return
        planned = batch.plan.at(now)
        if stands and not on_its_way:
            hours = drift.hours_to(edge)
            if outside or hours is None or hours[0] > STAYS * AHEAD / HOUR:
                self.found(name, False, now, value=planned + drift.swing.now, planned=planned)
        elif self.seen[side] >= LOOKS and not stands:
            self.sure[side] = self._surely(drift, edge, batch, now)
            self.found(name, True, now, value=planned + drift.level, planned=planned,
                       evidence=() if self.sure[side] else ("unsure",))  # fmt: skip
        elif stands and not self.sure[side] and self._surely(drift, edge, batch, now):
            self.sure[side] = True
            self.found(name, False, now, value=planned + drift.level, planned=planned)
            self.found(name, True, now, value=planned + drift.level, planned=planned)

    def _surely(self, drift: Drift, edge: float, batch: Batch, now: float) -> bool:
        """Past its notice band, and even the slow end of its interval leaves in time."""
        hours = drift.hours_to(edge)
        notice = batch.plan.standing(now).stage.notice
        past = drift.level > notice.above if edge > 0 else drift.level < -notice.below
        seen = self.seen["warm" if edge > 0 else "cold"] >= SURE_LOOKS
        return seen and past and hours is not None and hours[1] <= SURELY / HOUR

    def _outside(self, side: str) -> bool:
        return self.view.stands(self.subject, side, f"far-{side}")

    def _lacks(self, drift: Drift, edge: float) -> Because | None:
        """What speaks against its leaving over this edge; None where it leaves."""
        swing, slope = drift.swing, drift.slope
        if swing.seen < SWING_KNOWN:
            return Because("swing-unknown", lasted=swing.seen, wanted=SWING_KNOWN)
        if not swing.exceeded(edge > 0):
            return _in_swing(drift, edge)
        if abs(slope) < LEAST_SLOPE or slope * edge < 0:
            return Because("too-slow", slope, LEAST_SLOPE if edge > 0 else -LEAST_SLOPE, "K/h")
        if (drift.low if edge > 0 else -drift.high) <= 0.25 * LEAST_SLOPE:
            return Because("unlikely", drift.low if edge > 0 else drift.high, unit="K/h")
        way = (edge - drift.level) / slope
        if way <= 0:
            return Because("outside-already")
        return Because("not-ahead", lasted=way * HOUR, wanted=AHEAD) if way > AHEAD / HOUR else None

    def explain(self, now: float) -> tuple[Account, ...]:
        batch = self.view.batch(self.subject, now)
        if batch is None or not self.view.in_service(self.subject):
            return ()
        drift, stage = self._drift(batch, now), batch.plan.standing(now).stage
        found = []
        for side, edge in _edges(stage):
            seen = _seen(drift, edge)
            why = self._why(side, edge, stage, drift, now)
            stands = self.view.stands(self.subject, f"trending-{side}")
            if stands and drift is not None:
                seen = (*seen, _in_swing(drift, edge))
            if stands and not self.sure[side]:
                seen = (*seen, Because("evidence", word="unsure"))
            over = Because("over-turns", wanted=STAYS * AHEAD)
            found.append(self.account(f"trending-{side}", seen=seen, lacks=(why,), ends=(over,)))
        return tuple(found)

    def _why(
        self, side: str, edge: float, stage: Stage, drift: Drift | None, now: float
    ) -> Because | None:
        """What speaks against a trend on this side, by what is judged by."""
        held = self._held(now)
        if held is not None:
            return Because("held", until=held)
        if self._outside(side):
            return Because("outside-already")
        if drift is None:
            return Because("not-known")
        if _homeward(drift, stage, side == "warm"):
            return Because("homeward")
        once = None if self.seen[side] >= LOOKS else Because("once-more", until=self.due)
        return self._lacks(drift, edge) or once


def _edges(stage: Stage) -> tuple[tuple[str, float], ...]:
    return ("warm", stage.tolerance.above), ("cold", -stage.tolerance.below)


def _in_swing(drift: Drift, edge: float) -> Because:
    """Where it stands, and how far its saw-tooth went on this side before."""
    swing = drift.swing
    return Because("within-swing", swing.now, swing.most if edge > 0 else swing.least, "K")


def _seen(drift: Drift | None, edge: float) -> tuple[Because, ...]:
    """How fast it moves, and in how long it leaves over an edge that lies ahead within a day."""
    if drift is None:
        return ()
    moves = Because("drift", drift.slope, unit="K/h")
    way = (edge - drift.level) / drift.slope if abs(drift.slope) >= LEAST_SLOPE else 0.0
    return (moves, Because("leaves", lasted=way * HOUR)) if 0 < way <= 24 else (moves,)


def _homeward(drift: Drift, stage: Stage, warm: bool) -> bool:
    """It was outside on the other side, and has not passed the notice band on this one."""
    if warm:
        return drift.swing.least < -stage.tolerance.below and drift.level < stage.notice.above
    return drift.swing.most > stage.tolerance.above and drift.level > -stage.notice.below
