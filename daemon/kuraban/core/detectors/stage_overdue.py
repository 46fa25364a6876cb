"""`stage-overdue`: the course's next stage was due four hours ago and nobody logged it."""

from __future__ import annotations

from kuraban.core.detectors.base import Detector, at_the_end
from kuraban.core.planned_curve import FAR_FUTURE
from kuraban.core.units import HOUR
from kuraban.core.views.explanation import Account, Because

GRACE = 4 * HOUR


class StageOverdue(Detector):
    __slots__ = ()

    conditions = ("stage-overdue",)

    def look(self, now: float) -> float:
        view = self.view
        batch = view.batch(self.subject, now)
        if batch is None or not view.in_service(self.subject):
            self.clear(now)
            return FAR_FUTURE
        standing = batch.plan.standing(now)
        following = standing.span.stage + 1
        if standing.stage.ends == "clock" or following >= len(batch.course.stages):
            self.clear(now)
            return at_the_end(standing.span.end, now, 24 * HOUR)
        due = standing.span.due + GRACE
        if now < due:
            self.clear(now)
            return due
        stage = batch.course.stages[following]
        self.found("stage-overdue", True, due if due > now - HOUR else now,
                   since=standing.span.due, evidence=(f"stage={stage.id}",))  # fmt: skip
        return now + 24 * HOUR

    def explain(self, now: float) -> tuple[Account, ...]:
        batch = self.view.batch(self.subject, now)
        if batch is None or not self.view.in_service(self.subject):
            return ()
        standing = batch.plan.standing(now)
        following = standing.span.stage + 1
        if standing.stage.ends == "clock" or following >= len(batch.course.stages):
            return (self.account("stage-overdue", lacks=(Because("no-stage"),)),)
        stage, due = batch.course.stages[following], standing.span.due
        seen = Because("next-stage", since=due, word=stage.id, title=stage.title)
        lacks = (Because("due", until=due + GRACE),) if now < due + GRACE else ()
        ends = (Because("over-logged", word=stage.id, title=stage.title),)
        return (self.account("stage-overdue", seen=(seen,), lacks=lacks, ends=ends),)
