"""What fails of the watch itself, told as facts: the broker, the journal, messages, the history.

The edges tell it in threads of their own; what they tell is noted and judged in the watch's loop.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Container

import msgspec

from kuraban.core.engine.self_monitoring import PARTS
from kuraban.core.facts import Delivered, Fact, Impaired, Part
from kuraban.edges.mqtt.link_report import LinkEvent

log = logging.getLogger("kuraban")


class Health:
    """`note` takes a fact from any thread and `clock` says when it is."""

    def __init__(self, note: Callable[[Fact], None], clock: Callable[[], float]) -> None:
        self._note = note
        self._clock = clock
        self._lost = False
        self._unreached: set[str] = set()

    @property
    def all_reached(self) -> bool:
        """Whether the last message to each person got through in some way."""
        return not self._unreached

    def recall(self, impaired: Container[str], forwards: bool) -> None:
        """What stood impaired when the watch ended is so until it shows itself well."""
        self._lost = PARTS["broker"] in impaired
        if PARTS["pages"] in impaired:
            self._unreached.add("")
        if PARTS["journal"] in impaired:
            self.fails("journal", False)
        if PARTS["history"] in impaired and not forwards:
            self.fails("history", False)
        if PARTS["intake"] in impaired:
            self.fails("intake", False)

    def fails(self, part: Part, holds: bool, reason: str = "") -> None:
        self._note(Impaired(part, holds, self._clock(), reason))

    # In the edges' threads.

    def history_late(self, late: bool, reason: str) -> None:
        log.warning("long history: %s", reason) if late else log.info("long history: caught up")
        self.fails("history", late, reason)

    def on_link(self, event: LinkEvent) -> None:
        match event.kind:
            case "connected":
                log.info("broker: connected to %s", event.reason)
                if self._lost:
                    self._lost = False
                    self.fails("broker", False)
            case "refused" | "lost" | "deaf":
                log.warning("broker: %s", event.reason)
                if not self._lost:
                    self._lost = True
                    self.fails("broker", True, event.reason)
            case "full":
                log.warning("broker: %s", event.reason)
            case "fault":
                log.error("broker: a fault of ours, please report it: %s", event.reason)
            case "stopped":
                log.info("broker: goodbye")

    def delivered(self, result: Delivered) -> None:
        now = self._clock()
        self._note(msgspec.structs.replace(result, at=now, received=now))

    # In the watch's loop.

    def reached(self, result: Delivered) -> None:
        """Pages fail while anybody cannot be reached in any way."""
        failing = bool(self._unreached)
        if result.sent:
            self._unreached -= {result.person, ""}
        else:
            log.error("%s cannot be reached: %s", result.person, result.reason)
            self._unreached.add(result.person)
        if failing != bool(self._unreached):
            self.fails("pages", bool(self._unreached), result.reason)
