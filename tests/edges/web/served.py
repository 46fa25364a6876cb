"""An invented night lived up to a moment, with its journal, for pages to be shown of.

    python -m tests.edges.web.served [NIGHT] [UNTIL] [PORT]

serves it at a port of this machine, as the watch would.
"""

from __future__ import annotations

import dataclasses
import shutil
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from functools import cache
from pathlib import Path

from kuraban.clock import Clock
from kuraban.core.engine.engine import Engine
from kuraban.core.facts import Fact
from kuraban.core.units import parse_time
from kuraban.core.views.snapshot import Snapshot
from kuraban.queries.snapshot import Painter
from kuraban.recording import merged
from kuraban.replay import Player
from kuraban.runtime.checkpoint.document import engine_in, freeze, read
from kuraban.settings import Account, Web, load
from kuraban.settings.catalogues import load_page_words, load_words
from kuraban.settings.paths import JOURNAL
from kuraban.store.connection import connect
from kuraban.store.journal import Journal

ROOT = Path(__file__).parents[3]
SITE = ROOT / "fixtures" / "brewery" / "site.toml"
LATE = "2026-02-04T03:10:00+09:00"
"""In the demo night: tank 5 is warm, chiller 1 has stopped, a probe was pulled out of tank 2."""


settings = cache(lambda site: load(site, {}))
page_words = cache(load_page_words)
"""Read once: every test has pages of its own."""


class Served:
    """A watch as it stands. `submit` takes a fact and judges it at once, as the loop would."""

    def __init__(self, folder: Path, engine: Engine, site: Path = SITE) -> None:
        self.site = site
        self.settings = dataclasses.replace(settings(site), data=folder, web=Web())
        self.path = folder / JOURNAL
        self.words = engine.words
        self.painter = Painter(self.words)
        self.seen: Callable[[Snapshot], None] = lambda snapshot: None
        self.engine = engine
        self._lock = threading.Lock()
        Journal.open(self.path).close()
        self._journal = Journal(self.path, connect(self.path, "rw", threads=True))

    @classmethod
    def live(cls, folder: Path, night: str = "demo-night", until: str = LATE) -> Served:
        """Live through a night up to a moment."""
        (recording,) = (ROOT / "fixtures" / "nights" / night).glob("recording.jsonl*")
        return next(cls.lived(folder, SITE, recording, parse_time(until)))

    @classmethod
    def lived(cls, folder: Path, site: Path, recording: Path, *ends: float) -> Iterator[Served]:
        """A house's recording, the watch as it stands at each of these moments."""
        player = Player(load(site, {}).house, "kura", load_words())
        served = cls(folder, player.engine, site)
        moments = iter(ends)
        end = next(moments)
        for number, message in enumerate(merged([recording], lambda bad: None, lambda size: None)):
            while message.at > end:
                yield served.at(end)
                end = next(moments)
            player.play(message)
            if number % 2000 == 0:
                served.commit()
        yield served.at(end)

    def at(self, moment: float) -> Served:
        """The same watch, its clock run on."""
        self.engine.wake(moment)
        self.commit()
        return self

    def twin(self, folder: Path) -> Served:
        """The same watch once more, with a journal of its own."""
        kept = freeze(self.engine)
        assert kept is not None
        engine = engine_in(read(kept.blob), self.words)
        for file in self.path.parent.glob(f"{JOURNAL}*"):
            shutil.copy(file, folder / file.name)
        return Served(folder, engine, self.site)

    def commit(self) -> None:
        self._journal.commit(self.engine.drain())

    def clock(self) -> float:
        """It stands still at the end of what was lived, and moves with `pass_time`."""
        return self.engine.now

    def snapshot(self) -> Snapshot:
        snapshot = self.painter.snapshot(self.engine)
        assert snapshot is not None
        return snapshot

    def submit(self, fact: Fact) -> None:
        with self._lock:
            self.engine.take(fact)
            self.commit()
            self.seen(self.snapshot())

    def pass_time(self, seconds: float) -> None:
        with self._lock:
            self.engine.wake(self.engine.now + seconds)
            self.commit()
            self.seen(self.snapshot())

    def with_accounts(self, *accounts: Account) -> None:
        web = dataclasses.replace(self.settings.web or Web(), accounts=accounts)
        self.settings = dataclasses.replace(self.settings, web=web)

    def close(self) -> None:
        self._journal.close()


def main(night: str = "demo-night", until: str = LATE, port: str = "8080") -> None:
    from kuraban.runtime.pages_process import PagesProcess

    with tempfile.TemporaryDirectory() as folder:
        served = Served.live(Path(folder), night, until)
        web = dataclasses.replace(served.settings.web or Web(), port=int(port))
        settings = dataclasses.replace(served.settings, web=web)
        clock = Clock(start=served.clock())
        showing = PagesProcess(settings, served.words, served.path, served.submit, clock)
        served.seen = lambda snapshot: showing.after_turn(served.engine)
        showing.start()
        print(f"http://127.0.0.1:{port}/ shows {night} at {until}; Ctrl-C ends it")
        try:
            while True:
                time.sleep(1)
                served.pass_time(1)
        except KeyboardInterrupt:
            showing.stop()


if __name__ == "__main__":
    main(*sys.argv[1:])
