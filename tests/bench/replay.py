"""How fast recordings replay: 60 probes, one reading a minute, beside a loop that only decodes.

    tests/bench/replay [--days N] [--profile FILE]

Twenty tanks with their valves on four chillers, three days by default: quiet nights, since those
are what a brewery has. Told is processor time: of one process that reads and judges, and of the
busier of two where one reads ahead. What rings is counted, so that a fast replay that judges
nothing would be seen. The profile is of one day, in a run of its own.
"""

from __future__ import annotations

import argparse
import cProfile
import io
import math
import pstats
import random
import resource
import tempfile
import time
from collections.abc import Callable, Iterator
from datetime import datetime, timedelta, timezone
from pathlib import Path
from typing import NamedTuple

import msgspec
from rich.progress import track

from kuraban import reading_ahead
from kuraban.core.effects import Message, Step
from kuraban.replay import replay
from kuraban.settings import Settings, load
from kuraban.settings.catalogues import load_words

ROOT = Path(__file__).resolve().parents[2]
PROFILE = Path(__file__).resolve().parent / "results" / "replay-profile.txt"
TANKS, CHILLERS, PROBES = 20, 4, 60
SIGNALS = ("power", "supply", "return", "running", "demand")
TOKYO = timezone(timedelta(hours=9))
START = datetime(2026, 2, 1, 6, 0, tzinfo=TOKYO)
PLANNED = 10.3
DAY = 86400
TARGET_DAYS = 100


class Line(msgspec.Struct):
    tst: str
    topic: str
    payload: str


class Reading(msgspec.Struct):
    value: float | bool
    at: str


class Outcome(NamedTuple):
    """`seconds` of a processor for so many readings; peak memory in bytes after day 1 and last."""

    seconds: float
    ahead: float
    """The same of the busier of two processes, one of which reads ahead."""
    readings: int
    rings: int
    first_day: int
    last_day: int


def site() -> str:
    """The TOML text of the brewery."""
    rows = [
        f'[site]\nname = "Twenty tanks"\ntimezone = "Asia/Tokyo"\n'
        f'courses = ["{ROOT / "fixtures" / "brewery" / "courses"}"]\ndata = "data"',
        '[[person]]\nid = "aki"\nname = "Aki"\npages = ["json://127.0.0.1:9000/aki"]',
        *(
            f'[[duty]]\nrole = "{role}"\nperson = "aki"\norder = 1'
            for role in ("brewer", "maintenance", "crew")
        ),
    ]
    for k in range(CHILLERS):
        rows.append(
            f'[[cooler]]\nid = "chiller-{k}"\nkind = "chilled-water"\nname = "Chiller {k}"\n'
            "rated_watts = 1500\nband = [0.5, 6.0]"
        )
        rows += [_probe(f"ch{k}-{signal}", f"chiller-{k}", signal) for signal in SIGNALS]
    for k in range(TANKS):
        rows.append(
            f'[[place]]\nid = "tank-{k}"\nkind = "tank"\nname = "Tank {k}"\nlitres = 1400\n'
            f'cooler = "chiller-{k % CHILLERS}"'
        )
        rows += [_probe(f"t{k}-{signal}", f"tank-{k}", signal) for signal in ("product", "valve")]
    return "\n\n".join(rows) + "\n"


def _probe(name: str, of: str, measures: str) -> str:
    return f'[[probe]]\nid = "{name}"\nof = "{of}"\nmeasures = "{measures}"\nevery = "1m"'


class Tank:
    """A saw-tooth about the plan: 0.3 K in two to four hours."""

    def __init__(self, rng: random.Random) -> None:
        self.off = rng.uniform(-0.1, 0.1)
        self.warms, self.cools = rng.uniform(0.08, 0.14), rng.uniform(0.2, 0.35)
        self.open = False

    def step(self, rng: random.Random) -> float:
        """One minute on; what its probe reads."""
        self.off += (-self.cools if self.open else self.warms) / 60
        if self.off > 0.15:
            self.open = True
        elif self.off < -0.15:
            self.open = False
        return round((PLANNED + self.off + rng.gauss(0, 0.03)) * 16) / 16


def lines(days: int) -> Iterator[bytes]:
    """The recording, one line a reading, every probe once a minute."""
    rng = random.Random("twenty tanks")
    tanks = [Tank(rng) for _ in range(TANKS)]
    began = (START - timedelta(days=11)).isoformat()
    for k in range(TANKS):
        entry = {"entry": "batch-start", "batch": f"No. {k}", "course": "night-slow",
                 "stage": "moromi", "since": began, "id": f"start-{k}"}  # fmt: skip
        yield _line(START, f"kura/log/tank-{k}", msgspec.json.encode(entry).decode())
    for minute in range(days * 1440):
        now = START + timedelta(minutes=minute)
        values: list[tuple[str, float | bool]] = []
        for k, tank in enumerate(tanks):
            values += [(f"t{k}-product", tank.step(rng)), (f"t{k}-valve", tank.open)]
        for k in range(CHILLERS):
            called = any(tank.open for tank in tanks[k::CHILLERS])
            values += zip(
                (f"ch{k}-{signal}" for signal in SIGNALS),
                _chiller(called, rng),
                strict=True,
            )
        for number, (probe, value) in enumerate(values):
            sent = now + timedelta(milliseconds=900 * number)
            reading = {"value": value, "at": sent.isoformat(timespec="seconds")}
            payload = msgspec.json.encode(reading).decode()
            yield _line(sent + timedelta(milliseconds=120), f"kura/reading/{probe}", payload)


def _chiller(called: bool, rng: random.Random) -> tuple[float | bool, ...]:
    """Power, supply, return, running and demand of one minute."""
    watts = round(900 + rng.gauss(0, 15) if called else 41 + rng.gauss(0, 0.5), 1)
    supply = round((3.0 + rng.gauss(0, 0.1)) * 16) / 16
    return watts, supply, supply + (2.0 if called else 0.5), called, called


def _line(at: datetime, topic: str, payload: str) -> bytes:
    told = {"tst": at.isoformat(timespec="milliseconds"), "topic": topic, "payload": payload}
    return msgspec.json.encode(told) + b"\n"


def write(path: Path, days: int) -> int:
    """The recording in a file; how many readings it holds."""
    total = days * 1440 * PROBES + TANKS
    with path.open("wb") as file:
        for line in track(lines(days), "inventing", total, transient=True):
            file.write(line)
    return total - TANKS


def decoding(path: Path) -> float:
    """Seconds of a loop that decodes every line and its payload and does nothing else."""
    line_of = msgspec.json.Decoder(Line).decode
    reading_of = msgspec.json.Decoder(Reading).decode
    began = time.process_time()
    with path.open("rb") as file:
        for text in file:
            line = line_of(text)
            if line.topic.startswith("kura/reading/"):
                reading_of(line.payload)
    return time.process_time() - began


def replaying(
    path: Path, settings: Settings, days: int, readings: int, *, twice: bool = True
) -> Outcome:
    """A replay as the command does it, with peak memory looked at after the first day."""
    rings = 0
    size, passed, first = path.stat().st_size, 0, 0

    def told(event: Step | Message) -> None:
        nonlocal rings
        rings += isinstance(event, Message) and event.step == "page"

    def read(count: int) -> None:
        nonlocal passed, first
        passed += count
        if not first and passed * days >= size:
            first = _peak()

    words = load_words()

    def spent(little: float, write: Callable[[Step | Message], None]) -> float:
        reading_ahead.LITTLE = little
        before = _processors()
        replay(settings.house, "kura", words, [path], passed=read, write=write)
        return max(now - then for then, now in zip(before, _processors(), strict=True))

    alone = spent(math.inf, told)
    last = _peak()
    ahead = spent(0, lambda event: None) if twice else alone
    return Outcome(alone, ahead, readings, rings, first, last)


def _processors() -> tuple[float, float]:
    """Seconds of this process, and of those that it began and that have ended."""
    of = map(resource.getrusage, (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    mine, theirs = (one.ru_utime + one.ru_stime for one in of)
    return mine, theirs


def _peak() -> int:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024


def profiled(work: Callable[[], object]) -> str:
    """The fifteen functions in which most time was spent, their own time first."""
    profile = cProfile.Profile()
    profile.runcall(work)
    text = io.StringIO()
    stats = pstats.Stats(profile, stream=text)
    stats.strip_dirs().sort_stats("tottime").print_stats(15)
    return "\n".join(line.rstrip() for line in text.getvalue().strip().splitlines())


def main() -> None:
    parser = argparse.ArgumentParser(
        description="How fast recordings replay, on one core and on two."
    )
    parser.add_argument("--days", type=int, default=3, help="length of the recording")
    parser.add_argument("--profile", type=Path, default=PROFILE, help="where the profile is kept")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "site.toml").write_text(site(), encoding="utf-8")
        settings = load(folder / "site.toml", {})
        path, day = folder / "recording.jsonl", folder / "day.jsonl"
        readings = write(path, asked.days)
        done = replaying(path, settings, asked.days, readings)
        bare = decoding(path)
        report = _report(done, bare, asked.days)
        print(report)
        write(day, 1)
        profile = profiled(lambda: replaying(day, settings, 1, 1440 * PROBES, twice=False))
    asked.profile.parent.mkdir(parents=True, exist_ok=True)
    asked.profile.write_text(f"{report}\n\nOne day, profiled:\n\n{profile}\n", encoding="utf-8")


def _report(done: Outcome, bare: float, days: int) -> str:
    pace, two, least = (
        seconds / done.readings * 1e6 for seconds in (done.seconds, done.ahead, bare)
    )
    whole = TARGET_DAYS * 1440 * PROBES
    growth = (done.last_day - done.first_day) / 1e6
    return "\n".join(
        (
            f"{done.readings:,} readings of {PROBES} probes in {days} days, {done.rings} rings",
            f"replayed: {pace:.1f} µs a reading; by two processes, the busier: {two:.1f} µs",
            f"only decoded: {least:.2f} µs a reading; ratio {pace / least:.1f}",
            f"{TARGET_DAYS} days ({whole / 1e6:.2f} million readings): "
            f"{whole * pace / 1e6:.0f} s; by two processes {whole * two / 1e6:.0f} s; "
            f"only decoded {whole * least / 1e6:.0f} s",
            f"peak memory {done.last_day / 1e6:.0f} MB, {growth:+.1f} MB from day 1 to day {days}",
        )
    )


if __name__ == "__main__":
    main()
