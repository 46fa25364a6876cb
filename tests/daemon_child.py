"""The watch in a process of its own, so that a test can end it as a power cut or a kill would.

python -m tests.daemon_child BROKER-PORT SINK-PORT DATA START BEGAN SPEED [CLOCK]

CLOCK is a file with the seconds by which the machine's clock is wrong at the moment. With
TEST_ENGINE in its environment it forwards there, under the site TEST_SITE; with TEST_PAGES its
pages are at that port.
"""

from __future__ import annotations

import dataclasses
import logging
import os
import signal
import sys
from pathlib import Path

from kuraban.clock import Clock
from kuraban.runtime.watch import Watch
from kuraban.settings import Addresses, Receiver, Web, load
from kuraban.settings.catalogues import load_words
from tests.broker import USERS

SITE = Path(__file__).parents[1] / "fixtures" / "brewery" / "site.toml"


class WrongClock(Clock):
    """A machine's clock that somebody sets: ahead by what a file says."""

    def __init__(self, speed: float, start: float, began: float, ahead: Path) -> None:
        super().__init__(speed, start, began)
        self._ahead = ahead

    def shown(self, real: float) -> float:
        return super().shown(real) + float(self._ahead.read_text())


def main(
    broker: int, sink: int, data: Path, start: float, began: float, speed: float,
    ahead: Path | None = None,
) -> None:  # fmt: skip
    logging.basicConfig(level=logging.INFO, format="%(levelname)s %(message)s", stream=sys.stderr)
    found = load(SITE, {})
    settings = dataclasses.replace(
        found,
        mqtt=dataclasses.replace(
            found.mqtt, port=broker, user="kuraban", password=USERS["kuraban"], client_id="night"
        ),
        addresses={who: Addresses((f"json://127.0.0.1:{sink}/{who}",)) for who in found.addresses},
        data=data,
    )
    if engine := os.environ.get("TEST_ENGINE"):
        receiver = Receiver(engine, "night", site=os.environ.get("TEST_SITE"))
        settings = dataclasses.replace(settings, history=receiver)
    if pages := os.environ.get("TEST_PAGES"):
        settings = dataclasses.replace(settings, web=Web(port=int(pages)))
    clock = WrongClock(speed, start, began, ahead) if ahead else Clock(speed, start, began)
    watch = Watch(settings, load_words(), clock=clock)
    signal.signal(signal.SIGTERM, lambda *_: watch.stop())
    watch.run()


if __name__ == "__main__":
    port, phones, folder, start, began, speed, *ahead = sys.argv[1:]
    times = float(start), float(began), float(speed)
    main(int(port), int(phones), Path(folder), *times, Path(ahead[0]) if ahead else None)
