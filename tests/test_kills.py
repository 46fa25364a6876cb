"""A night in which the watch is killed thirty times, and what must be there all the same."""

from __future__ import annotations

import random
import signal
import time
from collections import Counter, defaultdict
from contextlib import suppress
from pathlib import Path

import pytest

from kuraban.clock import elapsed
from kuraban.core.effects import Message, Step
from kuraban.core.engine.engine import Engine
from kuraban.core.units import show_time
from kuraban.edges.phones.courier import DOUBT
from kuraban.runtime.watch import JOURNAL
from kuraban.settings import load
from kuraban.settings.catalogues import load_words
from kuraban.store.history import History
from kuraban.store.journal import Journal
from tests.broker import Mosquitto
from tests.nights import QUICK, SITE, Publisher, await_hearing, spawn, wait
from tests.sink import Sink

KILLS = 30
NO_LIST = ("acl_file",)
"""One publisher stands for every probe; all else is the broker's configuration as delivered."""
SPEED = 240.0
"""Four hours in a minute; a restart of a second is a gap of four minutes."""
START = 1770723000.0
"""2026-02-10 20:30 in Japan."""
EVERY = 4.0
HOURS = 4.6
DRIFTS = {"tank-2": 0.1, "tank-3": 0.4, "tank-4": 0.7, "tank-5": 1.0, "tank-6": 1.3}
"""Tanks that drift, and the hours after the start at which each begins to."""
PLAN = 14.65
"""°C, within a tenth, all night long."""
RATE = 1.2
"""°C an hour."""
LADDER_STEP = 600.0


@pytest.mark.slow
@pytest.mark.timeout(200)
def test_thirty_kills_lose_nothing_and_tell_nothing_twice(tmp_path: Path) -> None:
    """Every reading is kept once, every drift is paged, no page goes twice but where it says so.

    The broker, which nobody kills here, does not write its whole file anew at each message: at 60
    messages a second of each tank it would be what the night waits for.
    """
    night_of_kills(tmp_path, seed=30)


def night_of_kills(folder: Path, seed: int) -> int:
    """One night in `folder`, whose kills come as the seed has it; how many readings it had."""
    data, chance = folder / "data", random.Random(seed)
    with Mosquitto(folder, without=QUICK) as broker, Sink() as sink:
        publisher, night = Publisher(broker.port), Night()
        began = elapsed() + 2.0
        watch = spawn(broker, sink, data, START, SPEED, began)
        await_hearing(data)
        kills, next_kill = 0, time.time() + 2.0
        while elapsed() < began + HOURS * 3600 / SPEED or kills < KILLS:
            night.publish(publisher, START + (elapsed() - began) * SPEED)
            if kills < KILLS and time.time() >= next_kill:
                watch.kill()
                watch.wait()
                kills += 1
                watch = spawn(broker, sink, data, START, SPEED, began)
                next_kill = time.time() + chance.uniform(0.2, 3.2)
            time.sleep(0.01)
        publisher.flush()
        night.await_everything(data)
        wait(lambda: unsent(data) == 0, 30)
        watch.send_signal(signal.SIGTERM)
        assert watch.wait(10) == 0
        publisher.close()
    assert "a fault of ours" not in (folder / "log").read_text()
    assert sum(map(len, night.readings.values())) > 20_000
    night.everything_is_there_once(data)
    every_drift_was_paged(data, sink)
    nothing_was_told_twice(data, sink)
    a_replay_of_the_journal_agrees(data)
    return sum(map(len, night.readings.values()))


class Night:
    """Five tanks that follow their plan until they drift; what was published."""

    def __init__(self) -> None:
        self.readings: dict[str, list[tuple[float, float]]] = defaultdict(list)
        self._next = START
        self._house = load(SITE, {}).house
        self._batch_courses = False

    def publish(self, publisher: Publisher, now: float) -> None:
        if not self._batch_courses:
            self._batch_courses = True
            since = show_time(START - 10 * 86400, self._house.zone)
            for tank in DRIFTS:
                start = (
                    f'{{"entry":"batch-start","id":"{tank}","batch":"{tank}",'
                    f'"course":"night-ordinary","stage":"moromi","since":"{since}"}}'
                )
                publisher.publish(f"kura/log/{tank}", start)
        while self._next <= now:
            for tank, hours in DRIFTS.items():
                self._reading(publisher, f"t{tank[-1]}-mid", START + hours * 3600)
            self._next += EVERY

    def _reading(self, publisher: Publisher, probe: str, drifts: float) -> None:
        at = self._next
        value = round(PLAN + RATE * max(at - drifts, 0.0) / 3600, 4)
        self.readings[probe].append((at, value))
        publisher.publish(f"kura/reading/{probe}", f'{{"value": {value}, "at": {at}}}')

    def lacking(self, data: Path) -> int:
        history = History(data / JOURNAL)
        there = sum(len(list(history.readings(probe, 0, 1e12))) for probe in self.readings)
        history.close()
        return sum(map(len, self.readings.values())) - there

    def await_everything(self, data: Path) -> None:
        """Until nothing is lacking, however slow the disk, so long as it goes on."""
        before, lacking = -1, self.lacking(data)
        while lacking:
            assert lacking != before, f"{lacking} readings do not come"
            before = lacking
            with suppress(AssertionError):
                wait(lambda: self.lacking(data) == 0, 30)
            lacking = self.lacking(data)

    def everything_is_there_once(self, data: Path) -> None:
        history = History(data / JOURNAL)
        for probe, published in self.readings.items():
            assert list(history.readings(probe, 0, 1e12)) == published, probe
        assert len(list(history.entries(None, 0, 1e12))) == len(DRIFTS)
        history.close()


def plain(text: str) -> str:
    """The message without the sentence that it may have come before."""
    for doubt in DOUBT.values():
        text = text.replace(doubt, "")
    return text.strip()


def unsent(data: Path) -> int:
    history = History(data / JOURNAL)
    found = history.unsent()
    history.close()
    return found


def messages(data: Path) -> list[Message]:
    assert unsent(data) == 0
    history = History(data / JOURNAL)
    found = list(history.messages(0, 1e12))
    history.close()
    return found


def every_drift_was_paged(data: Path, sink: Sink) -> None:
    pages = [m for m in messages(data) if m.step == "page" and m.person == "aki"]
    paged = {alarm.partition("/")[0] for page in pages for alarm in page.alarms}
    assert paged >= set(DRIFTS)
    arrived = {(rung.title, plain(rung.body)) for rung in sink.got if rung.path == "/aki"}
    firsts = [page for page in pages if page.rung == 0 and page.alarms[0].endswith("warm")]
    assert {(page.title, page.body) for page in firsts} <= arrived


def nothing_was_told_twice(data: Path, sink: Sink) -> None:
    told = messages(data)
    made = Counter((f"/{m.person}", m.title, m.body) for m in told)
    surely = Counter((r.path, r.title, r.body) for r in sink.told if plain(r.body) == r.body)
    assert surely <= made
    last: dict[tuple[str, tuple[str, ...], int], float] = {}
    for page in [m for m in told if m.step == "page"]:
        key = (page.person, page.alarms, page.rung)
        assert page.at - last.get(key, 0.0) >= LADDER_STEP, page
        last[key] = page.at
    assert not sink.wrong


def a_replay_of_the_journal_agrees(data: Path) -> None:
    """One engine that lives through the whole journal tells what thirty-one told by turns."""
    journal, engine = Journal.open(data / JOURNAL), Engine(load_words())
    assert journal.verify() == []
    for fact in journal.facts_after():
        engine.take(fact)
    engine.wake(journal.now() or 0.0)
    journal.close()
    history = History(data / JOURNAL)
    steps = [(step.at, step.alarm, step.step) for step in history.steps(0, 1e12)]
    history.close()
    story = sorted(engine.drain().story, key=lambda event: event.at)
    again = [(event.at, event.alarm, event.step) for event in story if isinstance(event, Step)]
    assert steps == again
    pages = [(page.at, page.person, page.text) for page in story if isinstance(page, Message)]
    assert Counter(pages) == Counter((m.at, m.person, m.text) for m in messages(data))
