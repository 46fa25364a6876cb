"""One watch whose memory is looked at: nothing is imported here that the watch does not.

python -m tests.bench.memory_child VARIANT SETTINGS MESSAGES
"""

from __future__ import annotations

import itertools
import json
import sys
import time
from pathlib import Path
from typing import Any

from tests.bench.led import LedClock

START = 1_770_672_600.0
"""2026-02-10 06:30 in Japan: the morning report is out, the evening word comes 14 hours later."""
PROBES = 500
APART = 60.0 / PROBES
ROOM = 1000
"""Messages that may wait in the watch: in life there are few, and here there is a backlog."""


def resident(kind: str = "VmRSS", of: int | str = "self") -> float:
    """Megabytes of a process in memory now, or at most so far (VmHWM)."""
    status = Path(f"/proc/{of}/status").read_text()
    line = next(line for line in status.splitlines() if line.startswith(kind))
    return int(line.split()[1]) / 1024


def one(variant: str, handed_over: Path, count: int) -> dict[str, float]:
    """What `kuraban run` becomes, led through the night; MB at the start, at the end, and most."""
    from kuraban.runtime import watch_main as handed
    from kuraban.settings.handover import unpack

    settings = unpack(handed_over.read_bytes())
    handed.log_lines(supervised=True)
    from kuraban.edges.mqtt.front_door import Arrived
    from kuraban.runtime.watch import Watch

    class Led(Watch):
        seen = 0
        started = beside = 0.0

        def _keep(self, arrived: list[Arrived]) -> bool:
            kept = super()._keep(arrived)
            self.started = self.started or resident()
            self.seen += len(arrived)
            if self.seen == count:
                self.stop()
            return kept

        def _end(self) -> None:
            extra(variant, self)
            self.after = resident()
            pages = self._pages_process._pages
            if pages is not None:
                self.beside = resident(of=pages._process.pid)
            super()._end()

    clock = LedClock(START + n * APART for n in itertools.count())
    watch = Led(settings, handed.load_words(), clock=clock)
    watch._door._queue.messages = ROOM
    watch.run()
    held = {"start": watch.started, "end": watch.after, "most": resident("VmHWM")}
    return {**held, "beside": watch.beside} if watch.beside else held


def extra(variant: str, watch: Any) -> None:
    """Whatever makes the part of `variant` come to life."""
    from kuraban.core.effects import Message

    ring = Message(
        id="ring", at=watch.engine.now, step="page", role="brewer", person="aki", urgency="wake",
        title="Tank 3", body="warm", alarms=("tank-3/warm",),
    )  # fmt: skip
    if variant == "one message sent":
        from kuraban.edges.phones.courier import ByApprise

        address = watch.settings.addresses["aki"].pages[0]
        assert ByApprise(address).send("Tank 3", "warm", True) == ""
    elif variant == "pages":
        where = watch.settings.web
        assert _asked(f"http://{where.host}:{where.port}/") == 200
    elif variant == "a chart drawn":
        watch._curves.remember(watch.engine, ring)
        assert watch._curves.draw(ring)


def _asked(address: str) -> int:
    """The status of a page, once the program of the pages has come up."""
    from urllib.error import URLError
    from urllib.request import urlopen

    for _ in range(300):
        try:
            with urlopen(address) as page:
                return int(page.status)
        except URLError:
            time.sleep(0.1)
    return 0


if __name__ == "__main__":
    name, file, number = sys.argv[1:]
    print(json.dumps(one(name, Path(file), int(number))))
