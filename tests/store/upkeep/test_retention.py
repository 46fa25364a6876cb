"""Old readings become summaries that keep every extreme; nothing that somebody needs is touched."""

from __future__ import annotations

import random
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from kuraban.core.effects import Turn
from kuraban.core.facts import Fact, Reading
from kuraban.core.units import DAY, HOUR, MINUTE
from kuraban.store.connection import connect
from kuraban.store.forwarded import Forwarded
from kuraban.store.history import History, Shortened
from kuraban.store.journal import Checkpoint, Journal
from kuraban.store.upkeep.retention import MOST, Bounds
from kuraban.store.upkeep.summary import unpack
from tests.store.nights import logged, notice, page, step

NOW = 1_769_904_000.0
"""A whole ten hours."""
OLD = NOW - 60 * DAY
BOUNDS = Bounds(now=NOW, full=NOW - 10 * DAY, minutes=NOW - 40 * DAY)
PROBES = ("t2-mid", "t3-mid", "t3-upper")


def readings(
    start: float, length: float, every: float = MINUTE, probes: tuple[str, ...] = PROBES
) -> list[Fact]:
    chance = random.Random(start)
    return [
        Reading(probe, start + every * n + 7.25 * k, round(chance.gauss(10, 1), 2),
                start + every * n + 7.25 * k)
        for n in range(int(length / every))
        for k, probe in enumerate(probes)
    ]  # fmt: skip


def finish(journal: Journal, bounds: Bounds = BOUNDS) -> int:
    """Every step; how many readings and points were taken in."""
    taken = 0
    while step := journal.summarise(bounds):
        assert step <= MOST + 600
        taken += step
    return taken


def raw(path: Path) -> list[tuple[str, float]]:
    db = connect(path, "ro")
    rows = db.execute(
        "SELECT id, at FROM reading JOIN probe ON probe.number = probe ORDER BY id, at"
    ).fetchall()
    db.close()
    return rows


def summed(path: Path, grain: int) -> int:
    """Readings in summaries of a grain, as they were counted and as the points have it."""
    db = connect(path, "ro")
    rows = db.execute("SELECT readings, points FROM summary WHERE grain = ?", (grain,)).fetchall()
    db.close()
    for count, points in rows:
        assert count == sum(point.readings for point in unpack(points))
    return sum(count for count, _ in rows)


@pytest.fixture
def history(kept: Journal, path: Path) -> Iterator[History]:
    found = History(path)
    yield found
    found.close()


def test_old_readings_become_minutes_and_older_ones_tens(
    kept: Journal, path: Path, history: History
) -> None:
    """Nothing is lost on the way, and what is younger stays as it is."""
    old = readings(OLD, 10 * HOUR, 20.0)
    middle = readings(NOW - 20 * DAY, 10 * HOUR, 20.0)
    new = readings(NOW - 9 * DAY, HOUR)
    kept.commit(Turn(now=NOW, facts=[*old, *middle, *new]))
    finish(kept)
    assert (summed(path, 600), summed(path, 60)) == (len(old), len(middle))
    assert len(raw(path)) == len(new)
    assert history.whole_from() == NOW - 20 * DAY + 10 * HOUR
    assert history.shortened(PROBES, 0, NOW) == (
        Shortened(OLD + 10 * HOUR, 600), Shortened(NOW - 20 * DAY + 10 * HOUR, 60),
    )  # fmt: skip
    assert history.shortened(PROBES, NOW - 9 * DAY, NOW) == ()
    assert finish(kept) == 0


def test_every_value_says_how_long_a_stretch_it_stands_for(kept: Journal, history: History) -> None:
    """The same values in the same order: ten minutes, then one, then readings as they came."""
    old = readings(OLD, HOUR, 20.0, ("t3-mid",))
    middle = readings(NOW - 20 * DAY, HOUR, 20.0, ("t3-mid",))
    new = readings(NOW - 9 * DAY, HOUR, 20.0, ("t3-mid",))
    kept.commit(Turn(now=NOW, facts=[*old, *middle, *new]))
    finish(kept)
    graded = list(history.graded("t3-mid", 0, NOW))
    assert [(at, value) for at, value, _ in graded] == list(history.readings("t3-mid", 0, NOW))
    grains = [grain for _, _, grain in graded]
    assert grains == sorted(grains, key=(600, 60, 0).index) and {*grains} == {600, 60, 0}


def test_a_curve_goes_on_across_the_boundary(kept: Journal, history: History) -> None:
    """In the order of time, with the least and the greatest that were read in every stretch."""
    facts = readings(NOW - 10 * DAY - 5 * HOUR, 10 * HOUR, 20.0, ("t3-mid",))
    held = [(f.at, f.value) for f in facts if isinstance(f, Reading)]
    kept.commit(Turn(now=NOW, facts=facts))
    finish(kept)
    told = list(history.readings("t3-mid", 0, NOW))
    assert told == sorted(told) and {v for _, v in told} <= {v for _, v in held}
    assert [one for one in told if one[0] >= NOW - 10 * DAY] == [
        one for one in held if one[0] >= NOW - 10 * DAY
    ]
    for start in range(int(NOW - 10 * DAY - 5 * HOUR), int(NOW - 10 * DAY + 5 * HOUR), 600):
        then = [value for at, value in held if start <= at < start + 600]
        here = [value for _, value in history.readings("t3-mid", start, start + 600)]
        assert (min(here), max(here)) == (min(then), max(then))


def test_a_reader_in_the_middle_sees_one_moment(kept: Journal, history: History) -> None:
    """Whoever reads while a step is made sees each reading once."""
    old = NOW - 20 * DAY
    kept.commit(Turn(now=NOW, facts=readings(old, 3 * HOUR, probes=("t3-mid",))))
    before = list(history.readings("t3-mid", 0, NOW))
    reading = history.readings("t3-mid", 0, NOW)
    found = [next(reading)]
    finish(kept)
    assert [*found, *reading] == before
    assert [at for at, _ in history.readings("t3-mid", 0, old + HOUR)] == [
        at for at, _ in before if at < old + HOUR
    ]


def test_a_running_batch_keeps_every_reading(kept: Journal, path: Path) -> None:
    """Of its own probes, since it began."""
    kept.commit(Turn(now=NOW, facts=readings(OLD, 4 * HOUR)))
    held = {"t3-mid": OLD + 2 * HOUR, "t3-upper": 0.0}
    finish(kept, Bounds(now=NOW, full=BOUNDS.full, minutes=BOUNDS.minutes, held=held))
    found = raw(path)
    assert sum(probe == "t3-upper" for probe, _ in found) == 240
    assert next(at for probe, at in found if probe == "t3-mid") >= OLD + 2 * HOUR
    assert sum(probe == "t3-mid" for probe, _ in found) == 120
    assert sum(probe == "t2-mid" for probe, _ in found) == 1
    finish(kept)
    assert len(raw(path)) == len(PROBES)


def test_what_was_not_forwarded_stays(kept: Journal, path: Path) -> None:
    """A receiver that stands nowhere yet keeps everything; another's cursor counts for nothing."""
    kept.commit(Turn(now=NOW, facts=readings(OLD, 4 * HOUR)))
    bounds = Bounds(now=NOW, full=BOUNDS.full, minutes=BOUNDS.minutes, receivers=("office",))
    other, office = Forwarded(path, "cloud"), Forwarded(path, "office")
    other.move(720)
    assert finish(kept, bounds) == 0 and len(raw(path)) == 720
    office.move(400)
    finish(kept, bounds)
    assert len(raw(path)) == 320
    assert len(office.rows_after(400, 1000).readings) == 320
    office.move(720)
    finish(kept, bounds)
    assert len(raw(path)) == len(PROBES)
    other.close()
    office.close()


def test_what_a_restart_needs_stays(kept: Journal, path: Path) -> None:
    """What came after the last checkpoint, and what came within a day, however old it is."""
    kept.commit(Turn(now=NOW, facts=readings(OLD, HOUR)), Checkpoint("any", b"state"))
    late = [Reading("t3-mid", OLD + 2 * HOUR + n, 9.0, NOW - HOUR, late=True) for n in range(50)]
    kept.commit(Turn(now=NOW, facts=[*readings(OLD + HOUR, HOUR), *late]))
    finish(kept)
    assert len(raw(path)) == 180 + 50
    kept.commit(Turn(now=NOW), Checkpoint("any", b"state"))
    finish(kept)
    assert [probe for probe, _ in raw(path)].count("t3-mid") == 50
    finish(kept, Bounds(now=NOW + 2 * DAY, full=BOUNDS.full, minutes=BOUNDS.minutes))
    assert len(raw(path)) == len(PROBES)


def test_the_newest_reading_of_a_probe_stays(kept: Journal, history: History) -> None:
    """However long ago: it says when the probe was heard last."""
    facts = readings(OLD, HOUR)
    kept.commit(Turn(now=NOW, facts=facts))
    before = history.probes_last()
    finish(kept)
    assert history.probes_last() == before and len(before) == len(PROBES)


def test_what_people_and_the_watch_said_stays(kept: Journal, history: History) -> None:
    """Entries, alarm steps and messages are never touched, and their chain holds."""
    said = [logged("n1"), *readings(OLD, HOUR)]
    told = [step("raised"), page("p1"), notice("p2")]
    kept.commit(Turn(now=NOW, facts=said, story=told))
    before = [list(history.entries(None, 0, 2e9)), list(history.steps(0, 2e9))]
    messages = list(history.messages(0, 2e9))
    finish(kept)
    assert [list(history.entries(None, 0, 2e9)), list(history.steps(0, 2e9))] == before
    assert list(history.messages(0, 2e9)) == messages and kept.verify() == []


def test_the_same_reading_again_is_counted_and_not_kept(
    kept: Journal, path: Path, history: History
) -> None:
    """Months later too; where nothing was read then, what comes late still counts."""
    facts = readings(OLD, HOUR, probes=("t3-mid",))
    kept.commit(Turn(now=NOW, facts=[*facts, *readings(NOW - HOUR, HOUR)]))
    finish(kept)
    assert summed(path, 600) == 60
    kept.commit(Turn(now=NOW, facts=facts))
    assert history.counts().duplicates == 60
    gap = [Reading("t3-mid", OLD + 2 * HOUR + n, 9.0 + n, NOW, late=True) for n in range(10)]
    kept.commit(Turn(now=NOW, facts=gap))
    kept.commit(Turn(now=NOW, facts=gap))
    assert history.counts().duplicates == 70
    later = Bounds(now=NOW + 2 * DAY, full=BOUNDS.full, minutes=BOUNDS.minutes)
    finish(kept, later)
    assert summed(path, 600) == 70
    kept.commit(Turn(now=NOW, facts=[*gap, *facts]))
    assert history.counts().duplicates == 140
    finish(kept, later)
    assert summed(path, 600) == 70


def test_a_journal_without_old_readings_has_nothing_to_do(kept: Journal, history: History) -> None:
    assert kept.summarise(BOUNDS) == 0
    kept.commit(Turn(now=NOW, facts=readings(NOW - DAY, HOUR)))
    assert kept.summarise(BOUNDS) == 0 and history.whole_from() is None


def test_the_room_is_used_again(kept: Journal, path: Path) -> None:
    """A journal that forgets as much as it learns stays as large as it is."""
    size = 0
    for day in range(9):
        start = NOW + day * DAY
        kept.commit(Turn(now=start + DAY, facts=readings(start, DAY, 5 * MINUTE)))
        finish(kept, Bounds(now=start + DAY, full=start - DAY, minutes=start - 2 * DAY))
        pages = kept._db.execute("PRAGMA page_count").fetchone()[0]
        if day == 4:  # days to forget, minutes to forget, and pages that are half full fill up
            size = pages
    assert pages <= 1.2 * size


CHILD = """
import sys
from pathlib import Path
from kuraban.store.journal import Journal
from tests.store.upkeep.test_retention import BOUNDS
journal = Journal.open(Path(sys.argv[1]))
print("ready", flush=True)
while journal.summarise(BOUNDS):
    pass
print("done", flush=True)
"""


def test_killed_in_the_middle_nothing_is_lost_and_nothing_counts_twice(
    tmp_path: Path, path: Path
) -> None:
    """Twelve kills: after each a reading is there in full or in its summary."""
    journal = Journal.open(path)
    facts = readings(OLD, 40 * HOUR, 20.0)
    journal.commit(Turn(now=NOW, facts=facts))
    journal.close()
    chance, killed = random.Random(12), 0
    for _ in range(12):
        child = subprocess.Popen(
            [sys.executable, "-c", CHILD, str(path)], stdout=subprocess.PIPE,
            cwd=Path(__file__).parents[3],
        )  # fmt: skip
        assert child.stdout is not None and child.stdout.readline() == b"ready\n"
        time.sleep(chance.uniform(0.0, 0.06))
        child.send_signal(signal.SIGKILL)
        killed += child.stdout.read() == b""
        child.wait()
        child.stdout.close()
        assert len(raw(path)) + summed(path, 60) + summed(path, 600) == len(facts)
    journal = Journal.open(path)
    finish(journal)
    assert killed >= 3 and journal.verify() == []
    assert summed(path, 600) == len(facts) - len(PROBES)
    journal.close()
    least = min(f.value for f in facts if isinstance(f, Reading) and f.probe == "t3-mid")
    found = History(path)
    assert min(value for _, value in found.readings("t3-mid", 0, NOW)) == least
    found.close()
