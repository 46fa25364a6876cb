"""How long from a reading at the broker to the courier, at 500 messages a second.

    tests/bench/latency [--pages N] [--rate N] [--phones N] [--unsaved]

200 tanks with running batches, their readings published at an even pace. One tank after the other
creeps beyond what its course never allows, which has no delay; the clock runs fast enough that
nobody gets more than six rings an hour. Each page is then acknowledged, which tells those who were
rung. Measured is the machine's time from the moment at which the deciding message is handed to the
broker to the moment at which the courier hands the text to a phone service: broker, queue,
judging, the commit with synchronous = FULL and the courier's own record of the claim lie between.
The watch is a process of its own. `--phones`: nights without any and nights in which so many phones
have the cellar open, each told every change, take turns, `--rounds` of each in one run; the phones
are a process of their own, and at that pace of the clock every row changes with every picture, as
it never does in life. `--unsaved`: a broker that does not save at each change.
"""

from __future__ import annotations

import argparse
import asyncio
import json
import logging
import random
import re
import subprocess
import sys
import tempfile
import threading
import time
from contextlib import suppress
from pathlib import Path
from statistics import median
from typing import IO, Any

import httpx
from rich.progress import Progress

from kuraban.clock import Clock, elapsed
from kuraban.core.units import show_time
from kuraban.runtime.outside import Outside
from kuraban.runtime.watch import JOURNAL, Watch
from kuraban.settings import Settings, load
from kuraban.settings.catalogues import load_words
from tests.bench import ground
from tests.broker import USERS, Mosquitto, free_port
from tests.nights import Publisher, wait

MODULE = "tests.bench.latency"
AIM_MS = 100
TANKS = 200
READ_EVERY = 480.0
"""Brewery seconds between two readings of a probe: the clock runs as fast as that takes."""
START = 1_770_735_600.0
"""2026-02-11 00:00 in Japan."""
APART = 12.5 * 60.0
"""Brewery seconds from one crossing to the next: fewer than six an hour."""
PLAN, NEVER = 15.0, 16.0
AGREEING = 2
"""Readings that must agree before a value is believed: the last of them decides."""

COURSE = f"""\
id = "bench"
for = ["tank"]
title = {{ en = "Wide" }}
never = [3.0, {NEVER}]
[defaults]
tolerance = 8.0
limit = 9.0
delay = "60m"
[[stage]]
id = "moromi"
title = {{ en = "Main mash" }}
length = "30d"
points = [["0h", {PLAN}]]
ends = "crew"
"""


def site(folder: Path, port: int, pages: int = 0) -> Settings:
    (folder / "courses").mkdir(exist_ok=True)
    (folder / "courses" / "bench.toml").write_text(COURSE)
    rows = [
        '[site]\nname = "Many tanks"\ntimezone = "Asia/Tokyo"\ncourses = ["courses"]\n'
        'data = "data"\nlate_after = "1d"\nquick_ladder = ["0m"]\nladder = ["0m"]',
        f'[mqtt]\nport = {port}\nuser = "kuraban"\npassword = "{USERS["kuraban"]}"',
    ]
    rows += [f'[web]\nlisten = "127.0.0.1:{pages}"'] if pages else []
    rows += [
        f'[[person]]\nid = "{who}"\nname = "{who}"\npages = ["json://127.0.0.1/{who}"]'
        for who in ("aki", "sho")
    ]
    rows += [
        f'[[duty]]\nrole = "{role}"\nperson = "aki"\norder = 1'
        for role in ("brewer", "maintenance", "crew")
    ]
    for k in range(TANKS):
        rows.append(f'[[place]]\nid = "tank-{k}"\nkind = "tank"\nname = "Tank {k}"')
        rows.append(
            f'[[probe]]\nid = "t{k}"\nof = "tank-{k}"\nmeasures = "product"\n'
            f'every = "{READ_EVERY:.0f}s"'
        )
    (folder / "site.toml").write_text("\n\n".join(rows) + "\n")
    return load(folder / "site.toml", {})


def speed(rate: float) -> float:
    """How much faster than life it must go for `rate` messages a second."""
    return READ_EVERY * rate / TANKS


# ----------------------------------------------------------------------------- the watch, alone


class Stamp:
    """A phone service that takes everything at once and says when, on standard output."""

    shows = False

    def __init__(self, address: str) -> None:
        self._lock = threading.Lock()

    def send(self, title: str, body: str, urgent: bool, picture: bytes | None = None) -> str:
        now = time.time()
        with self._lock:
            print(json.dumps([now, urgent, f"{title}\n{body}"]), flush=True)
        return ""


def watch(port: int, folder: Path, rate: float, began: float, pages: int) -> None:
    logging.basicConfig(level=logging.WARNING)
    Watch(
        site(folder, port, pages), load_words(), clock=Clock(speed(rate), START, began),
        outside=Outside(sender=Stamp),
    ).run()  # fmt: skip


# -------------------------------------------------------------------------------------- the night


class Night:
    """What is published, when, and when word of it came to the courier."""

    def __init__(self, port: int, began: float, pages: int, pace: float) -> None:
        self.publisher = Publisher(port)
        self._began, self._pages, self._pace = began, pages, pace
        self._rng = random.Random("latency")
        self._beyond: dict[int, int] = {}
        self.crossed: dict[int, float] = {}
        self.paged: dict[int, float] = {}
        self.answered: dict[int, float] = {}
        self.told: dict[int, float] = {}
        self._to_answer: list[int] = []

    def now(self) -> float:
        return START + (elapsed() - self._began) * self._pace

    def start(self) -> None:
        since = show_time(START - 10 * 86400, load_zone())
        for k in range(TANKS):
            entry = {"entry": "batch-start", "id": f"b{k}", "batch": f"No. {k}", "course": "bench",
                     "stage": "moromi", "since": since}  # fmt: skip
            self.publisher.publish(f"kura/log/tank-{k}", json.dumps(entry))
        self.publisher.flush()

    def value(self, k: int, now: float) -> float:
        """Near the plan; from an hour before its crossing on it creeps, and then stays."""
        crosses = START + 7200.0 + k * APART
        if k >= self._pages or now < crosses - 7200.0:
            return round(PLAN + 0.7 + self._rng.gauss(0, 0.01), 3)
        rest = NEVER + 0.2 + self._rng.gauss(0, 0.01)
        return round(min(rest, NEVER + (now - crosses) / 3600 * 0.15), 3)

    def reading(self, k: int) -> None:
        now = self.now()
        value = self.value(k, now)
        payload = f'{{"value": {value}, "at": {now:.3f}}}'
        if value > NEVER:
            self._beyond[k] = self._beyond.get(k, 0) + 1
            if self._beyond[k] == AGREEING:
                self.crossed[k] = time.time()
        self.publisher.publish(f"kura/reading/t{k}", payload)
        while self._to_answer:
            one = self._to_answer.pop()
            entry = {"entry": "acknowledge", "id": f"a{one}", "condition": "far-warm", "by": "sho"}
            self.answered[one] = time.time()
            self.publisher.publish(f"kura/log/tank-{one}", json.dumps(entry))

    def listen(self, stamps: IO[str]) -> None:
        for line in stamps:
            at, urgent, text = json.loads(line)
            found = re.search(r"Tank (\d+)\b", text)
            tank = int(found[1]) if found else -1
            if urgent and tank in self.crossed and tank not in self.paged:
                self.paged[tank] = at
                self._to_answer.append(tank)
            elif not urgent and tank in self.answered:
                self.told.setdefault(tank, at)


def load_zone() -> Any:
    from zoneinfo import ZoneInfo

    return ZoneInfo("Asia/Tokyo")


def look(port: int, phones: int) -> None:
    """Phones with the cellar open until standard input ends; says how many changes they saw."""
    seen = [0] * phones

    async def phone(number: int) -> None:
        async with httpx.AsyncClient(base_url=f"http://127.0.0.1:{port}", timeout=60) as browser:
            while (await browser.get("/")).status_code != 200:
                await asyncio.sleep(0.2)
            async with browser.stream("GET", "/live/cellar") as live:
                async for line in live.aiter_lines():
                    seen[number] += line.startswith("data:")

    async def evening() -> None:
        there = [asyncio.create_task(phone(number)) for number in range(phones)]
        await asyncio.to_thread(sys.stdin.read)
        for task in there:
            task.cancel()
        await asyncio.gather(*there, return_exceptions=True)

    asyncio.run(evening())
    print(sum(seen))


def look_on(port: int, phones: int) -> subprocess.Popen[str]:
    command = [sys.executable, "-m", MODULE, "--look", str(port), str(phones)]
    pipe = subprocess.PIPE
    return subprocess.Popen(command, cwd=ground.ROOT, stdin=pipe, stdout=pipe, text=True)


def night(folder: Path, pages: int, rate: float, unsaved: bool, phones: int = 0) -> dict[str, Any]:
    without = ground.NOTHING_SAVED if unsaved else ("acl_file",)
    with Mosquitto(folder, without=without) as broker:
        began = elapsed() + 3.0
        served, lookers, seen = free_port() if phones else 0, None, 0
        command = [
            sys.executable, "-m", MODULE, "--watch", broker.port, folder, rate, began, served,
        ]  # fmt: skip
        child = subprocess.Popen(
            [str(part) for part in command], cwd=ground.ROOT, stdout=subprocess.PIPE, text=True
        )
        assert child.stdout is not None
        try:
            wait(lambda: (folder / "data" / JOURNAL).exists(), 20)
            time.sleep(max(began - elapsed(), 0) + 1.0)
            tonight = Night(broker.port, began, pages, speed(rate))
            threading.Thread(target=tonight.listen, args=(child.stdout,), daemon=True).start()
            tonight.start()
            lookers = look_on(served, phones) if phones else None
            sent = _pace(tonight, rate, 7200.0 + (pages + 2) * APART)
            with suppress(AssertionError):  # what is missing is seen in the counts
                wait(lambda: len(tonight.told) >= pages, 5)
            tonight.publisher.flush()
            tonight.publisher.close()
        finally:
            if lookers is not None:
                seen = int(lookers.communicate(timeout=20)[0] or 0)
            child.terminate()
            child.wait(10)
    pairs = {
        "reading to page": (tonight.crossed, tonight.paged),
        "answer to notice": (tonight.answered, tonight.told),
    }
    return {
        "messages_a_second": round(sent, 1),
        "phones": phones,
        "changes_told_to_phones": seen,
        **{name: spread(_between(*pair)) for name, pair in pairs.items()},
    }


def _pace(tonight: Night, rate: float, length: float) -> float:
    """Publish evenly until the brewery's time has gone by `length` seconds; messages a second."""
    began, count = time.time(), 0
    with Progress(transient=True) as progress:
        task = progress.add_task("a night passes", total=length)
        while tonight.now() < START + length:
            tonight.reading(count % TANKS)
            count += 1
            if count % 500 == 0:
                progress.update(task, completed=tonight.now() - START)
            time.sleep(max(began + count / rate - time.time(), 0))
    return count / (time.time() - began)


def _between(first: dict[int, float], then: dict[int, float]) -> list[float]:
    return sorted((then[k] - first[k]) * 1000 for k in then if k in first)


def spread(times: list[float]) -> dict[str, float]:
    """In milliseconds."""
    return {
        "count": len(times),
        "median_ms": round(median(times), 1),
        "p95_ms": round(times[int(len(times) * 0.95)], 1),
        "p99_ms": round(times[min(int(len(times) * 0.99), len(times) - 1)], 1),
        "worst_ms": round(times[-1], 1),
    }


def main() -> None:
    parser = argparse.ArgumentParser(description="From a reading at the broker to the courier.")
    parser.add_argument("--pages", type=int, default=TANKS)
    parser.add_argument("--rate", type=float, default=500.0, help="messages a second")
    parser.add_argument("--phones", type=int, default=0, help="that have the cellar open")
    parser.add_argument("--rounds", type=int, default=3, help="of each, where there are phones")
    parser.add_argument("--unsaved", action="store_true", help="a broker that saves nothing")
    parser.add_argument("--watch", nargs=5, help=argparse.SUPPRESS)
    parser.add_argument("--look", nargs=2, type=int, help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.watch:
        port, folder, rate, began, pages = asked.watch
        watch(int(port), Path(folder), float(rate), float(began), int(pages))
        return
    if asked.look:
        look(*asked.look)
        return
    where, pages = ground.machine(), min(asked.pages, TANKS)
    name = "latency-unsaved" if asked.unsaved else "latency"
    if not asked.phones:
        found = one(pages, asked.rate, asked.unsaved, 0)
        print(json.dumps(found, indent=1))
        print(f"aim: {AIM_MS} ms, 99th percentile")
        ground.keep(name, aim_ms=AIM_MS, machine=where, **found)
        return
    rounds = [
        (one(pages, asked.rate, asked.unsaved, 0), one(pages, asked.rate, asked.unsaved, number))
        for number in [asked.phones] * asked.rounds
    ]
    _compare(rounds)
    ground.keep(f"{name}-phones", machine=where, rounds=rounds)


def one(pages: int, rate: float, unsaved: bool, phones: int) -> dict[str, Any]:
    with tempfile.TemporaryDirectory() as folder:
        return night(Path(folder), pages, rate, unsaved, phones)


def _compare(rounds: list[tuple[dict[str, Any], dict[str, Any]]]) -> None:
    """Nights without phones beside nights with them."""
    for way in ("reading to page", "answer to notice"):
        for what in ("median_ms", "p95_ms"):
            alone = [without[way][what] for without, _ in rounds]
            looked = [phones[way][what] for _, phones in rounds]
            print(f"{way}, {what[:-3]} in ms: without {alone}, with {looked}, "
                  f"ratio of the middle ones {median(looked) / median(alone):.2f}")  # fmt: skip
    print("aim: unchanged within what the nights without phones differ by")


if __name__ == "__main__":
    main()
