"""What pages, courier and the watch's own parts say is judged at its time."""

from __future__ import annotations

from kuraban.core.facts import Impaired
from kuraban.runtime.internal_facts import OwnFacts


def part(received: float) -> Impaired:
    return Impaired("broker", True, received)


def test_what_came_later_than_a_message_waits_for_it() -> None:
    own = OwnFacts()
    own.add(part(3.0), part(1.0))
    own.add(part(2.0))
    assert own.until(2.0) == [part(1.0), part(2.0)]
    assert own and own.until(2.5) == []
    assert own.until(float("inf")) == [part(3.0)]
    assert not own
