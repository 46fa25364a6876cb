"""From what the broker brought to facts: each message read, within what its sender may send.

What is cut, overtaken or refused is so before it is a fact. The journal thus tells facts in the
order in which they were judged, and its replay needs to know of no limit.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import msgspec

from kuraban.core.engine.engine import Engine
from kuraban.core.engine.self_monitoring import PARTS
from kuraban.core.facts import Fact, Impaired, Refusal
from kuraban.core.intake.allowance import TOO_MANY, Allowance
from kuraban.core.intake.payload import too_long
from kuraban.core.intake.wire import Wire
from kuraban.core.site import WATCH
from kuraban.core.units import MINUTE
from kuraban.edges.mqtt.fair_queue import HEAD, Arrived, Cut

TOO_FAST = "came faster than can be judged and was let go unread; the newest messages are kept"

ANSWERED = 5 * MINUTE
"""So long after the journal can be written again, or somebody listens, all is answered that had
waited for it."""


class Intake:
    """Reads with `wire`. Nothing was heard from `since` to `now`: so much more may wait."""

    def __init__(self, wire: Wire, since: float | None = None, now: float = 0.0) -> None:
        self._wire = wire
        self._allowance = Allowance(0.0 if since is None else max(0.0, now - since))
        self._heard = since
        """When something was heard last."""
        self._lost = since
        """Since when the broker is lost, or was."""
        if since is not None:
            wire.back(since, now)
        self._dry: dict[str, float] = {}
        """Topics whose probes have had their share, and until when."""

    def read(self, one: Arrived, received: float) -> Sequence[Fact]:
        """The facts of one message. Of who is beyond his share nothing is read, only counted."""
        topic, payload = one.topic, one.payload
        self._heard = received
        if self._dry and received < self._dry.get(topic, received):
            refusal = self._unread(one, received, TOO_MANY)
            return self._allowance.cut(topic, refusal, received)
        if one.size:
            wrong = too_long(one.size)
            return self._allowance.refuse(self._unread(one, received, wrong), received)
        found = self._wire.read(topic, payload, received, one.retained)
        taken = self._allowance.admit(found, topic, received)
        if taken is not found:
            self._look(topic, received)
        return taken

    def impaired(self, fact: Impaired) -> None:
        """While the broker is lost messages wait there, as they do while nobody watches, or while
        the machine is suspended, which loses the broker too."""
        if fact.part != "broker":
            return
        if fact.holds:
            self._lost = fact.received if self._heard is None else self._heard
        elif self._lost is not None:
            self._wire.back(self._lost, fact.received)

    def lost(self, cuts: Iterable[Cut], at: float) -> list[Fact]:
        """What is to be said of messages that were let go unread, and of refusals held back."""
        told: list[Fact] = []
        for cut in cuts:
            refusal = self._wire.unread(cut.topic, cut.head, at, TOO_FAST)
            refusal = msgspec.structs.replace(refusal, count=cut.count)
            told += self._allowance.cut(cut.line, refusal, at)
        return [*told, *self._allowance.overdue(at)]

    def _unread(self, one: Arrived, received: float, wrong: str) -> Refusal:
        return self._wire.unread(one.topic, one.payload[:HEAD], received, wrong)

    def _look(self, topic: str, received: float) -> None:
        """Whether every probe of the topic has had its share."""
        probes = self._wire.probes_of(topic)
        until = min((self._allowance.dry_until(probe, received) for probe in probes), default=0.0)
        if until > received:
            self._dry[topic] = until
        else:
            self._dry.pop(topic, None)


def unheard_since(engine: Engine, last: float | None) -> float | None:
    """Since when what was heard may still wait at the broker, of a journal that ends at `last`: an
    earlier watch may have ended before it ever reached the broker, or just as somebody listened
    again, or as the journal could be written again, before it had answered for all that had come
    until then."""
    if last is None or not engine.started:
        return last
    heard = [one.heard for one in engine.view.probe_states.values() if one.heard is not None]
    monitor, journal = engine.self_monitoring, PARTS["journal"]
    lately = [
        monitor.failed_since.get(one, last)
        for one in (journal, PARTS["broker"], WATCH)
        if monitor.well_since.get(one, 0.0) > last - ANSWERED
    ]
    return min(max(heard, default=last), monitor.impaired.get(journal, last), *lately, last)
