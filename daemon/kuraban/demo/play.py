"""A night to look at: ten hours of an invented brewery in a minute, on phones that stand here.

The watch is the one that `kuraban run` starts. Around it: an embedded broker, a recording played
through that broker, phones that take what Apprise posts, and a clock that runs in the night's own
time. Where a machine is slow the night waits for it rather than leave it behind.
"""

from __future__ import annotations

import locale
import logging
import os
import shlex
import shutil
import signal
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from queue import Empty, SimpleQueue
from threading import Event, Thread
from typing import Final, TypeVar

from rich.console import Console

import kuraban
from kuraban.core.effects import Turn
from kuraban.core.entries import BatchStart
from kuraban.core.facts import Logged
from kuraban.core.intake.wire import Wire
from kuraban.core.units import MINUTE, show_time
from kuraban.demo.keys import HINT, Keys, keyboard
from kuraban.demo.link import answers, lines, pages_of
from kuraban.demo.nights import Night, find_night
from kuraban.demo.screen import Screen, Story
from kuraban.demo.stage import Broker, Feeder, Pace, Phones, Rung, embedded_broker, set_up_site
from kuraban.errors import MachineError
from kuraban.recording import Recorded, merged
from kuraban.runtime.watch import JOURNAL, Watch
from kuraban.settings import Settings, load
from kuraban.settings.catalogues import load_words
from kuraban.settings.model import Web
from kuraban.store.history import History

Thing = TypeVar("Thing")

LASTS: Final = 55.0
"""Seconds that the night takes unless another speed is asked for."""
BEHIND: Final = 4 * MINUTE
"""Night time by which the watch may lag before the night slows down to wait for it."""
ENDS_WITHIN: Final = 15.0
"""Real seconds that the last messages may take to reach their phones."""
TOLD_WITHIN: Final = 2.0
"""Real seconds after which a message on a phone is none of the watch, but somebody's trial."""
LOOK: Final = 0.05
PACES: Final = (1.0, 10.0, 60.0, 240.0, 600.0, 1200.0)
"""How many times as fast as life the night can be made to go by hand."""


def run(*, once: bool, speed: float | None = None, night: str = "cellar", lan: bool = False) -> int:
    """Play the night of that name, out of `fixtures/` of this checkout.

    With `once` it ends when the night is over; else the watch stays up until asked to stop. With
    `lan` the pages listen on the network too. The answer is the exit status. Raises
    ConfigurationError where the night, the broker or a network is missing, BrokerError and
    JournalError where this machine does not let the watch run.
    """
    played = find_night(Path(kuraban.__file__).resolve().parents[2] / "fixtures", night)
    web, speed = pages_of(lan=lan), speed or (played.end - played.start) / LASTS
    logging.getLogger("kuraban").setLevel(logging.CRITICAL)
    with (
        tempfile.TemporaryDirectory(prefix="kuraban-demo-") as home,
        _asked_to_stop() as stop,
        keyboard() as keys,
    ):
        stage = _Stage(played, Path(home), speed, stop, web, keys)
        try:
            stage.begin()
            stage.play()
            if not once and not stop.is_set():
                stage.stay()
        finally:
            stage.close()
    return 0


@contextmanager
def _asked_to_stop() -> Iterator[Event]:
    """Set by SIGINT and SIGTERM; a second one ends at once."""
    asked = Event()

    def ask(number: int, frame: object) -> None:
        asked.set()
        signal.signal(number, signal.SIG_DFL)

    before = {number: signal.signal(number, ask) for number in (signal.SIGINT, signal.SIGTERM)}
    try:
        yield asked
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


class _Stage:
    """Everything that is up while the night is played."""

    def __init__(
        self, night: Night, home: Path, speed: float, stop: Event, web: Web, keys: Keys
    ) -> None:
        self.night, self.speed, self.stop, self.keys = night, speed, stop, keys
        self.jumping = False
        """Whether the night hurries on to the next message."""
        self.phones = Phones()
        self.broker, port = embedded_broker(home)
        self.site = set_up_site(night.brewery, home, port, self.phones.port, _language())
        self.settings: Settings = replace(load(self.site, {}), web=web)
        words, house = load_words(), self.settings.house
        self.story = Story(house, words)
        self.screen = Screen(Console(highlight=False, markup=False), house.zone, self.story)
        self.clock = Pace(night.start - 1.0)
        self.turns: SimpleQueue[Turn] = SimpleQueue()
        self.early: list[Rung] = []
        """What arrived on phones before the turn that told it was heard of."""
        self.unseen = list(night.unseen)
        self.wire = Wire(house, self.settings.mqtt.root)
        self.feeder = Feeder(self.settings.mqtt, house, self.clock, _messages(night.recording))
        self.watch = Watch(self.settings, words, clock=self.clock, on_turn=self.turns.put)
        self.history: History | None = None
        self.failed: BaseException | None = None
        self.thread = Thread(target=self._watch, name="watch", daemon=True)

    def begin(self) -> None:
        """Broker, watch, pages and probes up, and a word on what is to be seen."""
        start, end = self._clock(self.night.start), self._clock(self.night.end)
        lasts = (self.night.end - self.night.start) / self.speed
        self.screen.say(
            f"A night at the {self.settings.house.site.name}, {start} to {end}, in about "
            f"{lasts:.0f} seconds.",
            "Invented: the brewery, its people, its probes. Real: the broker, the watch, its "
            "journal, the messages, the pages.",
            "A box is a phone; a heavy frame is one that rings.",
            "",
        )
        _start(self.broker)
        self.thread.start()
        self.feeder.await_watch()
        self.history = History(self.settings.data / JOURNAL)
        self._show_the_way()

    def play(self) -> None:
        """The night, and what it came to."""
        self.clock.change(self.speed)
        self.feeder.start()
        while self.clock() < self.night.end and self._go_on():
            self._obey(self.keys.pressed())
            self._wait_for_the_watch()
        self.clock.change(1.0)
        deadline = time.monotonic() + ENDS_WITHIN
        while not self._told() and time.monotonic() < deadline and self._go_on():
            pass
        self._show()
        if not self.stop.is_set():
            self.screen.summary(self.night.start, self.night.end)

    def stay(self) -> None:
        """The watch stays up in life's own pace until asked to stop."""
        command, now = _command(), show_time(round(self.clock()), self.settings.house.zone)
        self.screen.say(
            "",
            "The watch and its pages stay up, from here on at life's own pace; every probe keeps "
            "talking.",
            f"It is {now[11:16]} there, and that of {now[:10]}: ages are counted from there.",
            "Try in another terminal:",
        )
        for words in ("status", f"log tank-1 stir --by mio --at {now} --yes"):
            self.screen.console.print(
                f"  {command} {words} --site {shlex.quote(str(self.site))}",
                soft_wrap=True,
                highlight=False,
            )
        self.screen.say("Ctrl-C ends it and clears everything away.", "")
        while self._go_on():
            if "q" in self.keys.pressed():
                self.stop.set()

    def close(self) -> None:
        self.feeder.stop()
        self.watch.stop()
        if self.thread.is_alive():
            self.thread.join(10.0)
        if self.history is not None:
            self.history.close()
        self.broker.stop()
        self.phones.close()

    def _show_the_way(self) -> None:
        """To the pages, once they are there, and to the keys."""
        web = self.settings.web
        assert web is not None
        if answers(web.port, self._up):
            for line in lines(web):
                self.screen.console.print(line, soft_wrap=True)
        else:
            self.screen.say("The pages did not come up; the night goes on without them.")
        self.screen.say(*([HINT] if self.keys else []), "")

    def _up(self) -> bool:
        return self.thread.is_alive() and not self.stop.is_set()

    def _obey(self, keys: str) -> None:
        """Faster, slower, on to the next message, or the end."""
        for key in keys:
            if key == "q":
                self.stop.set()
            elif key == "n":
                self.jumping, self.speed = True, max(self.speed, PACES[-1])
            elif key in "+=-":
                self.jumping = False
                self._go_at(_next_pace(self.speed, faster=key != "-"))

    def _go_at(self, speed: float) -> None:
        self.speed = speed
        self.clock.change(speed)
        times = "at life's own pace" if speed == 1.0 else f"{speed:.0f} times as fast as life"
        self.screen.line(self.clock(), f"(the night goes {times})", "dim")

    def _clock(self, at: float) -> str:
        return f"{datetime.fromtimestamp(at, self.settings.house.zone):%H:%M}"

    def _watch(self) -> None:
        try:
            self.watch.run()
        except BaseException as error:
            self.failed = error

    def _go_on(self) -> bool:
        """Show what came about, wait a moment; False when it is to end."""
        self._show()
        if not self.thread.is_alive():
            raise self.failed or MachineError("the watch ended by itself; run it with kuraban run")
        return not self.stop.wait(LOOK)

    def _show(self) -> None:
        now = self.clock()
        while self.unseen and self.unseen[0].at <= now:
            one = self.unseen.pop(0)
            self.screen.unseen(one.at, f"{self.settings.house.name_of(one.subject)}: {one.fault}")
        for logged in self._logged():
            self.story.work.append(logged)
            self.screen.work(logged)
        for turn in _waiting(self.turns):
            self.story.take(turn)
            self.screen.steps(turn)
        arrived, self.early = [*self.early, *_waiting(self.phones.arrived)], []
        for rung in arrived:
            if self.story.of(rung) is None and time.monotonic() - rung.since < TOLD_WITHIN:
                self.early.append(rung)
            else:
                self.screen.phone(rung)
                if self.jumping:
                    self.jumping = False
                    self._go_at(PACES[0])

    def _logged(self) -> Iterator[Logged]:
        """What people log, but for the batches that stand in their tanks as the night begins."""
        for one in self.feeder.heard():
            for fact in self.wire.read(one.topic, one.payload, self.clock.of(one.received)):
                if isinstance(fact, Logged) and not isinstance(fact.entry, BatchStart):
                    yield fact

    def _wait_for_the_watch(self) -> None:
        """Slow down while the watch is behind, so that a slow disk changes nothing."""
        behind = self.clock() - self.watch.engine.now
        if behind > BEHIND:
            self.clock.change(max(self.speed / 10, PACES[0]))
        elif behind < BEHIND / 2:
            self.clock.change(self.speed)

    def _told(self) -> bool:
        """Whether what the watch tells at the night's end is written, and is on the phones."""
        written = self.story.until >= self.night.end
        return written and self.history is not None and self.history.unsent() == 0


def _next_pace(speed: float, *, faster: bool) -> float:
    beyond = [pace for pace in PACES if (pace > speed if faster else pace < speed)]
    return (beyond[0] if faster else beyond[-1]) if beyond else speed


def _messages(path: Path) -> Iterator[Recorded]:
    return merged([path], lambda line: None, lambda count: None)


def _waiting(queue: SimpleQueue[Thing]) -> Iterator[Thing]:
    """What waits in a queue at this moment."""
    try:
        while True:
            yield queue.get_nowait()
    except Empty:
        return


def _start(broker: Broker) -> None:
    """Started so that Ctrl-C reaches us and not the broker, which goes last."""
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        broker.start()
    finally:
        signal.signal(signal.SIGINT, before)


def _language() -> str:
    """The language of whoever looks on, as far as it is one of ours."""
    return "ja" if (locale.getlocale()[0] or "").startswith("ja") else "en"


def _command() -> str:
    """How this very command is called from here."""
    if shutil.which("kuraban"):
        return "kuraban"
    return shlex.quote(os.path.relpath(sys.argv[0]))
