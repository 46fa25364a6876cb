"""`kuraban wall`: a lamp, a buzzer and a relay on the wall, by what the watch says."""

from __future__ import annotations

import json
import signal
import time
from contextlib import suppress
from threading import Event, Lock, Thread
from typing import TYPE_CHECKING, Annotated

import typer

from kuraban.cli.common import Site, house_of, tell, wrong
from kuraban.cli.moments import length
from kuraban.core.views.wall import BEAT, WallLamp

if TYPE_CHECKING:
    from kuraban.edges.gpio import Pins
    from kuraban.edges.mqtt.client import Link

TICK = 0.25
"""Seconds between two looks at what the wall is to show."""

Pin = Annotated[int | None, typer.Option(metavar="GPIO", min=0, max=63, show_default=False)]


def add_to(app: typer.Typer) -> None:
    app.command(name="wall", epilog="Example: kuraban wall --lamp 17 --buzzer 27 --relay 22")(wall)


def wall(
    lamp: Pin = None,
    buzzer: Pin = None,
    relay: Pin = None,
    after: Annotated[
        str, typer.Option(metavar="TIME", help="The watch is silent after so long without a word.")
    ] = "60s",
    site: Site = None,
) -> None:
    """Drive a lamp, a buzzer and a relay from the pins of a Raspberry Pi.

    The lamp flashes, and the buzzer sounds, while a call that wakes is in nobody's hands; it is
    steady while anything else stands. The relay is held while the watch is heard, and falls when
    it is silent. Of the site file the table [mqtt] is used.
    """
    from kuraban.edges.gpio import Pins

    settings, _ = house_of(site, secrets=True)
    silent = length(after, "--after")
    if silent < 2 * BEAT:
        short = f"{after} is too short: the watch says its word every {BEAT:g} s"
        raise wrong("command line", "--after", short, f"{2 * BEAT:g}s or more")
    pins = Pins(lamp, buzzer, relay)
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, signal.default_int_handler)
    with suppress(KeyboardInterrupt):
        drive(settings.mqtt, pins, silent)


def drive(link: Link, pins: Pins, after: float, lasts: float | None = None) -> None:
    """Until interrupted, or for `lasts` seconds; then every pin is off and given back. BrokerError
    where the broker is not reached at first."""
    from kuraban.edges.mqtt.oneshot import listen

    shows, turn, ended = WallLamp(after), Lock(), Event()

    def take(topic: str, payload: bytes, kept: bool) -> None:
        with turn:
            if topic.endswith("/lamp"):
                shows.hear(payload.decode("ascii", "replace"), kept, time.monotonic())
            else:
                shows.hear_status(_status(payload))

    def show() -> None:
        while not ended.wait(TICK):
            with turn:
                pins.show(shows.shown(time.monotonic()))

    shower = Thread(target=show, name="wall")
    shower.start()
    try:
        topics = f"{link.root}/watch/lamp", f"{link.root}/watch/status"
        listen(link, topics, take, lasts=lasts, told=tell)
    finally:
        ended.set()
        shower.join()
        pins.close()


def _status(payload: bytes) -> str:
    with suppress(ValueError, AttributeError):
        return str(json.loads(payload).get("status"))
    return ""
