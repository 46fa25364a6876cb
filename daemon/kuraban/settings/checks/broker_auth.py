"""Who may come in at the broker: a word where it seems to be anybody.

Whoever can write to the broker can wake people, or keep them asleep. The broker's own settings are
not ours to read; but a broker that lets the watch in without a name lets everybody in.
"""

from __future__ import annotations

from collections.abc import Iterator

from kuraban.errors import Fault
from kuraban.settings.checks.listen_policy import at_home
from kuraban.settings.model import Mqtt


def admission(mqtt: Mqtt, where: str) -> Iterator[Fault]:
    """Words about the way to the broker, never a fault: it may be guarded by other means."""
    if mqtt.user is None and mqtt.cert_file is None:
        wrong = "is not given: a broker that lets the watch in without it lets everybody in"
        right = (
            "let the broker ask for a password (allow_anonymous false), and give user and"
            " password_from; deploy/mosquitto/README.md shows how"
        )
        yield Fault(where, "mqtt.user", wrong, right)
    if not at_home(mqtt.host) and mqtt.ca_file is None and mqtt.cert_file is None:
        wrong = f"is another machine ({mqtt.host}), spoken to without encryption"
        right = (
            "give ca_file and the broker's encrypted port, or see that nobody shares the network"
        )
        yield Fault(where, "mqtt.host", wrong, right)
