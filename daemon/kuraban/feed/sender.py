"""From the buffer to the broker, oldest first, each struck off when the broker has answered.

Several readings of one probe go as one message, so that those of a night are sent in seconds. Each
connection has a client of its own: what an earlier one had left over would be answered under a
number that now means another message.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from threading import Event

from kuraban.clock import elapsed
from kuraban.edges.mqtt.client import Link
from kuraban.edges.mqtt.oneshot import Visit
from kuraban.errors import BrokerError
from kuraban.store.reading_buffer import ReadingBuffer, Waiting

AT_ONCE = 500
"""Readings that are taken out of the buffer at a time."""
FIRST_DELAY, LONGEST_DELAY = 2.0, 60.0
"""Seconds between two tries to connect, doubling."""
AGAIN = 600.0
"""Seconds after which a topic that the broker refused is tried again."""


class Sender:
    """Sends what stands in `buffer`; `stop` ends its pauses. One thread calls `turn` for ever."""

    def __init__(
        self, link: Link, buffer: ReadingBuffer, stop: Event, tell: Callable[[str], None]
    ) -> None:
        self._link, self._buffer, self._stop, self._tell = link, buffer, stop, tell
        self._visit: Visit | None = None
        self._delay, self._next = FIRST_DELAY, 0.0
        self._refused: dict[str, float] = {}
        self._told = ""

    def turn(self) -> None:
        """Send what waits, or wait for a second."""
        try:
            if self._visit is None and not self._enter():
                self._stop.wait(min(max(self._next - elapsed(), 0.05), 1.0))
                return
            assert self._visit is not None
            if not self._send(self._visit):
                self._visit.turn()
        except BrokerError as error:
            self._away(error)

    def _enter(self) -> bool:
        if elapsed() < self._next:
            return False
        visit = Visit(self._link, "feed")
        visit.enter()
        self._visit, self._delay, self._told = visit, FIRST_DELAY, ""
        waits = f"; {self._buffer.count:,} readings wait" if self._buffer.count else ""
        self._tell(f"connected to {visit.place}{waits}")
        return True

    def _away(self, error: BrokerError) -> None:
        self.leave()
        self._next = elapsed() + self._delay * random.uniform(0.5, 1.0)
        self._delay = min(self._delay * 2, LONGEST_DELAY)
        if str(error) != self._told:
            self._told = str(error)
            self._tell(f"{error}; readings are kept until then")

    def _send(self, visit: Visit) -> bool:
        """Whether anything waited."""
        now = elapsed()
        self._refused = {probe: until for probe, until in self._refused.items() if now < until}
        waiting = self._buffer.oldest(AT_ONCE, self._refused)
        sent: dict[str, int] = {}
        try:
            for probe in dict.fromkeys(one.probe for one in waiting):
                mine = [one for one in waiting if one.probe == probe]
                if self._has(visit, probe, mine):
                    sent[probe] = mine[-1].number
        finally:
            if sent:
                self._buffer.strike_off(sent)
        return bool(waiting)

    def _has(self, visit: Visit, probe: str, readings: list[Waiting]) -> bool:
        """Whether the broker has taken them; a topic that it refuses holds up no other."""
        try:
            visit.say(f"{self._link.root}/reading/{probe}", payload(readings))
        except BrokerError as error:
            if visit.answered is None or not visit.answered.is_failure:
                raise
            self._refused[probe] = elapsed() + AGAIN
            self._tell(f"{error}; its readings are kept until then")
            return False
        return True

    def leave(self) -> None:
        if self._visit is not None:
            self._visit.leave()
            self._visit = None


def payload(readings: list[Waiting]) -> bytes:
    """One reading as an object, several as a list of them (`shared/wire.md`)."""
    told = [f'{{"value":{one.value},"at":{one.at:.3f}}}' for one in readings]
    return (told[0] if len(told) == 1 else f"[{','.join(told)}]").encode()
