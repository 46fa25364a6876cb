"""The watch in a process of its own, so that a test can end it as a power cut or a kill would.

python -m tests.daemon_child BROKER-PORT SINK-PORT DATA START BEGAN SPEED
"""

from __future__ import annotations

import dataclasses
import logging
import signal
import sys
from pathlib import Path

from kuraban.clock import Clock
from kuraban.service import Watch
from kuraban.settings import Addresses, load
from kuraban.settings.words import load_words
from tests.broker import USERS

SITE = Path(__file__).parents[1] / "fixtures" / "brewery" / "site.toml"


def main(broker: int, sink: int, data: Path, start: float, began: float, speed: float) -> None:
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
    watch = Watch(settings, load_words(), clock=Clock(speed, start, began))
    signal.signal(signal.SIGTERM, lambda *_: watch.stop())
    watch.run()


if __name__ == "__main__":
    port, phones, folder, *times = sys.argv[1:]
    main(int(port), int(phones), Path(folder), *map(float, times))
