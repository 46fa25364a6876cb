"""How the watch reaches the broker, people's phones, and whoever expects its sign of life.

The real ways are the defaults. Who simulates a brewery hands in others; what stands behind them,
the front door, the courier and the sign of life themselves, is the same.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from kuraban.clock import elapsed, wall_clock
from kuraban.core.facts import Delivered
from kuraban.core.intake.wire import Wire
from kuraban.edges.mqtt.client import Client
from kuraban.edges.mqtt.front_door import FrontDoor, MakeClient
from kuraban.edges.mqtt.link_report import LinkEvent
from kuraban.edges.phones.courier import Addresses, ByApprise, Courier, Sender
from kuraban.edges.phones.links import Links, Make
from kuraban.edges.phones.pictures import Pictures
from kuraban.edges.ping import Ping, call
from kuraban.queries.phone_curves import Curves, available
from kuraban.runtime.storage.outbox_failover import FailoverOutbox
from kuraban.settings import Settings


@dataclass(frozen=True, slots=True)
class Outside:
    """`client` makes a session with the broker, `sender` a way to one address of a person, and
    `call` tells an address that all is well. `draws`: whether curves are drawn for phones."""

    client: MakeClient = Client
    sender: Callable[[str], Sender] = ByApprise
    call: Callable[[str], str] = call
    draws: Callable[[], bool] = available

    def door(
        self, settings: Settings, wire: Wire, on_event: Callable[[LinkEvent], None]
    ) -> FrontDoor:
        """Raises ConfigurationError for TLS files that cannot be used."""
        return FrontDoor(
            settings.mqtt, wire.subscriptions(), elapsed, wall=wall_clock, line_of=wire.line_of,
            client=self.client, on_event=on_event,
        )  # fmt: skip

    def courier(
        self, settings: Settings, rows: FailoverOutbox, report: Callable[[Delivered], None],
        link: Make, curves: Curves,
    ) -> Courier:  # fmt: skip
        addresses = {
            person: Addresses(where.pages, where.notices)
            for person, where in settings.addresses.items()
        }
        return Courier(
            rows, addresses, report, elapsed, sender=self.sender, further=Links(link),
            pictures=Pictures(curves.draw) if self.draws() else None,
        )  # fmt: skip

    def ping(self, settings: Settings) -> Ping | None:
        """None where nobody expects a sign of life."""
        where = settings.outward
        return None if where.ping is None else Ping(where.ping, where.every, send=self.call)
