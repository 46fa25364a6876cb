"""The long history gets every reading, entry and alarm step once, however the engine behaves."""

from __future__ import annotations

import logging
import shutil
import sqlite3
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from zlib import crc32

import pytest

from kuraban.core.effects import Turn
from kuraban.core.facts import Reading
from kuraban.edges.history import forwarder as forward
from kuraban.edges.history.forwarder import Forwarder
from kuraban.settings import Receiver
from kuraban.store.forwarded import Forwarded
from kuraban.store.history import History
from kuraban.store.journal import Journal
from tests import engines
from tests.engines import Strict
from tests.journals import live_through
from tests.nights import wait
from tests.stopwatch import Stopwatch

TOKEN = "s3cret-token=="
LAST = 1_770_760_000.0
"""After the night's last row, and not a quarter of an hour after its first."""

Start = Callable[..., "Running"]


class Running:
    """A forwarder and what it reported."""

    def __init__(self, path: Path, to: Receiver, now: float, **how: object) -> None:
        self.path, self.to, self.now = path, to, now
        self.told: list[tuple[bool, str]] = []
        quick: dict[str, object] = {"every": 0.02, "first_wait": 0.02, **how}
        self.forwarder = Forwarder(
            path, to, lambda late, why: self.told.append((late, why)), lambda: self.now,
            **quick,  # type: ignore[arg-type]
        )  # fmt: skip
        self.forwarder.start()

    def caught_up(self, within: float = 20.0) -> None:
        """Until the cursor on the disk stands behind everything."""
        wait(lambda: self.cursor == last_row(self.path), within)

    @property
    def cursor(self) -> int:
        held = Forwarded(self.path, self.to.name, "ro")
        seq = held.seq()
        held.close()
        return seq

    def aside(self) -> list[tuple[str, str]]:
        held = Forwarded(self.path, self.to.name, "ro")
        found = [(one.point, one.reason) for one in held.aside()]
        held.close()
        return found

    def stop(self) -> None:
        self.forwarder.stop(5)


def last_row(path: Path) -> int:
    held = Forwarded(path, "nobody", "ro")
    last = held.rows_after(0, 1_000_000).last
    held.close()
    return last


@pytest.fixture(scope="module")
def lived(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The journal of a night in which tank 2 drifted: readings, entries and alarm steps."""
    path = tmp_path_factory.mktemp("lived") / "kuraban.journal"
    live_through("slow-drift", path)
    return path


@pytest.fixture
def night(lived: Path, tmp_path: Path) -> Path:
    """A copy of that journal."""
    return Path(shutil.copy(lived, tmp_path / "kuraban.journal"))


@pytest.fixture
def strict() -> Iterator[Strict]:
    engine = Strict()
    yield engine
    engine.close()


@pytest.fixture
def start() -> Iterator[Start]:
    """Starts forwarders, and stops them after the test."""
    running: list[Running] = []

    def started(path: Path, url: str, now: float = LAST, **how: object) -> Running:
        token = how.pop("token", None)
        assert token is None or isinstance(token, str)
        running.append(Running(path, Receiver(url, "sake", token=token), now, **how))
        return running[-1]

    yield started
    for one in running:
        one.stop()


def kept(path: Path) -> dict[str, list[tuple[int, float]]]:
    """Milliseconds and values of every reading in the journal, by probe."""
    history = History(path)
    found = {}
    for probe in (last.probe for last in history.probes_last()):
        had = history.readings(probe, 0, 1e12)
        found[probe] = [(round(at * 1000), value) for at, value in had]
    history.close()
    return found


def stored(server: engines.VictoriaMetrics) -> dict[str, list[tuple[int, float]]]:
    found: dict[str, list[tuple[int, float]]] = {}
    for labels, values, times in server.series("reading_value"):
        found.setdefault(labels["probe"], []).extend(zip(times, values, strict=True))
    return {probe: sorted(points) for probe, points in found.items()}


# ------------------------------------------------------------------------------- the real engine


@pytest.mark.needs("victoria-metrics")
def test_a_night_is_read_back_point_for_point(night: Path, start: Start, tmp_path: Path) -> None:
    """Every value at its time, with its place and the batch that stood there."""
    with engines.VictoriaMetrics(tmp_path) as server:
        start(night, server.url).caught_up()
        assert stored(server) == kept(night)
        labels = [labels for labels, _, _ in server.series("reading_value")]
        assert {one["site"] for one in labels} == {"Nowhere demo brewery"}
        assert ("tank-2", "No. 13") in {(one["place"], one.get("batch")) for one in labels}
        steps = server.series("alarm_value")
        assert {one["condition"] for one, _, _ in steps} == {"warm", "trending-warm"}


@pytest.mark.needs("victoria-metrics")
def test_what_is_written_twice_is_there_once(night: Path, start: Start, tmp_path: Path) -> None:
    """A cursor that was lost costs time and nothing else."""
    with engines.VictoriaMetrics(tmp_path) as server:
        first = start(night, server.url, batch=700)
        first.caught_up()
        first.stop()
        before = stored(server), server.count("alarm_value")
        held = Forwarded(night, first.to.name)
        held.move(0)
        held.close()
        start(night, server.url, batch=900).caught_up()
        assert (stored(server), server.count("alarm_value")) == before


@pytest.mark.needs("victoria-metrics")
def test_an_engine_that_was_down_catches_up(night: Path, start: Start, tmp_path: Path) -> None:
    """It may come late, and go and come again half-way."""
    server = engines.VictoriaMetrics(tmp_path)
    running = start(night, server.url, batch=500)
    wait(lambda: running.forwarder._tries > 1)
    with server:
        wait(lambda: running.cursor > 0)
    with server:
        running.caught_up()
        assert stored(server) == kept(night)


# ------------------------------------------------------------------------------- the strict engine


def test_words_arrive_as_they_were_written(night: Path, start: Start, strict: Strict) -> None:
    """Entries and alarm steps with their texts, in nothing but well-formed points."""
    start(night, strict.url).caught_up()
    assert not strict.malformed
    assert strict.asked[0] == {"org": ["kuraban"], "bucket": ["sake"], "precision": ["ns"]}
    begun = [point for point in strict.of("entry") if point.tag("entry") == "batch-start"]
    assert [(p.tag("place"), p.fields["begins"], p.fields["who"]) for p in begun] == [
        ("tank-2", "No. 13", "aki"), ("tank-3", "No. 9", "aki"),
    ]  # fmt: skip
    raised = [p for p in strict.of("alarm") if p.tag("step") == "raised"]
    assert any(str(p.fields["text"]).startswith("Tank 2 warm +0.6") for p in raised)
    assert len(strict.of("reading")) == sum(len(points) for points in kept(night).values())


def test_a_bad_point_is_found_and_set_aside(
    night: Path, start: Start, strict: Strict, caplog: pytest.LogCaptureFixture
) -> None:
    """It is told, kept with the reason, and keeps nobody waiting."""
    strict.refuses = lambda line: "=t2-mid" in line and crc32(line.encode()) % 200 == 7
    with caplog.at_level(logging.WARNING, "kuraban"):
        running = start(night, strict.url)
        running.caught_up()
    aside = running.aside()
    assert 1 < len(aside) < 20 and all(strict.refuses(point) for point, _ in aside)
    assert all(reason.startswith("it answered 400, cannot take reading") for _, reason in aside)
    every = sum(len(points) for points in kept(night).values())
    assert len(strict.of("reading")) == every - len(aside)
    assert f"refused and set aside: {len(aside)}, the last" in caplog.text
    assert not running.told


def test_what_was_given_back_is_sent_once_more(night: Path, start: Start, strict: Strict) -> None:
    """The engine has it then; what it still refuses is set aside again."""
    strict.refuses = lambda line: "=t2-mid" in line and crc32(line.encode()) % 200 == 7
    running = start(night, strict.url)
    running.caught_up()
    aside = running.aside()
    still = aside[0][0]
    strict.refuses = lambda line: line == still
    desk = Forwarded(night, running.to.name)
    assert desk.give_back() == len(aside) > 1
    wait(lambda: not desk.progress().waiting)
    desk.close()
    assert [point for point, _ in running.aside()] == [still]
    assert len(strict.of("reading")) == sum(len(points) for points in kept(night).values()) - 1


def test_a_refusal_that_cannot_be_read_is_a_refusal(
    night: Path, start: Start, strict: Strict
) -> None:
    """An answer cut off in the middle of a Japanese word."""
    strict.refuses, strict.body = (
        lambda line: line.startswith("entry") and ",id=wall-0001," in line,
        "醪".encode()[:2],
    )
    running = start(night, strict.url)
    running.caught_up()
    ((point, reason),) = running.aside()
    assert "wall-0001" in point and "400" in reason


@pytest.mark.parametrize("status", [401, 403, 404])
def test_an_engine_that_refuses_us_condemns_no_point(
    night: Path, start: Start, strict: Strict, status: int, caplog: pytest.LogCaptureFixture
) -> None:
    """A wrong token or bucket is said; once it is right everything goes."""
    strict.status = status
    with caplog.at_level(logging.WARNING, "kuraban"):
        running = start(night, strict.url)
        wait(lambda: len(strict.times) > 2)
    assert (
        caplog.text.count(f"it refuses us, see url, org, bucket and token: it answered {status}")
        == 1
    )
    strict.status = None
    running.caught_up()
    assert not running.aside()


def test_the_token_is_told_to_the_engine_alone(
    night: Path, start: Start, caplog: pytest.LogCaptureFixture
) -> None:
    """Not to the log, not to the journal, not to whoever hears why: even if the engine says it."""
    engine = Strict("another")
    with caplog.at_level(logging.DEBUG):
        running = start(night, engine.url, now=LAST + 1e6, token=TOKEN)
        wait(lambda: bool(running.told))
        engine._token = TOKEN
        engine.refuses = lambda line: line.startswith("entry") and ",id=wall-0001," in line
        engine.body = f"no, {TOKEN}".encode()
        running.caught_up()
    engine.close()
    running.stop()
    assert running.aside()[0][1] == "it answered 400, no, ***"
    assert TOKEN not in caplog.text and TOKEN not in str(running.told) and "***" in caplog.text
    for file in night.parent.iterdir():
        assert TOKEN.encode() not in file.read_bytes()


def test_waits_grow_while_the_engine_is_away(night: Path, start: Start, strict: Strict) -> None:
    """A server that is down is not rung every second."""
    strict.status = 503
    running = start(night, strict.url, first_wait=0.05)
    wait(lambda: len(strict.times) > 4)
    apart = [later - sooner for sooner, later in zip(strict.times, strict.times[1:], strict=False)]
    assert apart[3] > 4 * apart[0]
    strict.status = None
    running.caught_up()


def test_an_engine_that_asks_for_time_gets_it(night: Path, start: Start, strict: Strict) -> None:
    """RFC 9110, section 10.2.3."""
    strict.status, strict.headers = 429, {"Retry-After": "1"}
    running = start(night, strict.url)
    wait(lambda: len(strict.times) > 0)
    strict.status, strict.headers = None, {}
    running.caught_up()
    assert strict.times[1] - strict.times[0] >= 1.0


def test_an_answer_that_is_lost_makes_no_second_point(
    night: Path, start: Start, strict: Strict
) -> None:
    """The engine took it and the line broke: it is written again, and is the same."""
    strict.mode = "drop"
    running = start(night, strict.url)
    wait(lambda: len(strict.writes) > 1)
    taken = dict(strict.points)
    strict.mode = "ok"
    running.caught_up()
    assert strict.points == taken and len(strict.writes) > 2


def test_an_engine_that_hangs_delays_no_stop(night: Path, start: Start, strict: Strict) -> None:
    strict.mode = "hang"
    running = start(night, strict.url)
    wait(lambda: len(strict.times) > 0)
    took = Stopwatch()
    running.forwarder.stop(1.0)
    assert took.read() < 1.5


def test_an_engine_that_hangs_is_tried_again(night: Path, start: Start, strict: Strict) -> None:
    strict.mode = "hang"
    running = start(night, strict.url, answer_within=1.0)
    wait(lambda: len(strict.times) > 1)
    strict.mode = "ok"
    running.caught_up()


def test_a_history_that_is_late_is_told_and_told_well_again(
    night: Path, start: Start, strict: Strict
) -> None:
    """Once each, with how far it is behind."""
    strict.status = 503
    running = start(night, strict.url, now=LAST + 7200)
    wait(lambda: bool(running.told))
    wait(lambda: len(strict.times) > 4)
    strict.status = None
    running.caught_up()
    wait(lambda: len(running.told) == 2)
    (late, why), (still, _) = running.told
    assert late and not still
    assert why.endswith("min behind: it answered 503")


def test_a_short_absence_is_nobodys_business(tmp_path: Path, start: Start, strict: Strict) -> None:
    """A quarter of an hour is forgiven."""
    path, journal = tmp_path / "kuraban.journal", Journal.open(tmp_path / "kuraban.journal")
    journal.commit(Turn(now=LAST, facts=[Reading("t3-mid", LAST, 10.0, LAST)]))
    strict.status = 503
    running = start(path, strict.url, now=LAST + 600)
    wait(lambda: len(strict.times) > 3)
    assert not running.told
    running.now = LAST + 1000
    wait(lambda: running.told == [(True, "17 min behind: it answered 503")])
    journal.close()


def test_weeks_behind_go_in_batches(tmp_path: Path, start: Start, strict: Strict) -> None:
    """No more in memory than one of them; a watch that was late is told well at the end."""
    path, journal = tmp_path / "kuraban.journal", Journal.open(tmp_path / "kuraban.journal")
    facts = [Reading(f"p{n % 7}", LAST + n, n / 16, LAST + n) for n in range(20_000)]
    journal.commit(Turn(now=LAST, facts=list(facts)))
    running = start(path, strict.url, batch=300, late=True, now=LAST + 20 * 86400)
    running.caught_up()
    assert max(strict.writes) == 300 and sum(strict.writes) == len(strict.points) == 20_000
    wait(lambda: running.told == [(False, "")])
    journal.commit(Turn(now=LAST, facts=[Reading("p1", LAST + 1e5, 1.0, LAST + 1e5)]))
    wait(lambda: len(strict.points) == 20_001)
    journal.close()


def test_it_goes_on_where_it_stopped(night: Path, start: Start, strict: Strict) -> None:
    """What the engine has is not written again."""
    first = start(night, strict.url, batch=100)
    wait(lambda: sum(strict.writes) > 500)
    first.stop()
    had = sum(strict.writes)
    assert first.cursor > 0
    start(night, strict.url).caught_up()
    assert sum(strict.writes) == len(strict.points)
    assert sum(strict.writes) > had


def test_another_journal_in_its_place_is_taken_up(
    night: Path, start: Start, strict: Strict, tmp_path: Path
) -> None:
    """The damaged one was set aside: the new one begins at its own beginning."""
    running = start(night, strict.url)
    running.caught_up()
    for file in tmp_path.glob("kuraban.journal*"):
        file.rename(file.with_name(f"damaged-{file.name}"))
    journal = Journal.open(night)
    journal.commit(Turn(now=LAST, facts=[Reading("new", LAST, 10.0, LAST)]))
    running.forwarder.renew()
    wait(lambda: any(point.tag("probe") == "new" for point in strict.of("reading")))
    journal.close()


def test_a_journal_that_cannot_be_read_is_tried_again(
    night: Path, start: Start, strict: Strict, tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    away = night.rename(tmp_path / "away")
    with caplog.at_level(logging.WARNING, "kuraban"):
        running = start(night, strict.url)
        wait(lambda: running.forwarder._tries > 1)
    assert "cannot open the cursor" in caplog.text
    away.rename(night)
    running.caught_up()
    assert running.forwarder.alive


def test_an_entry_that_cannot_be_read_any_more_keeps_nobody_waiting(
    night: Path, start: Start, strict: Strict
) -> None:
    """It is set aside, and the rest goes."""
    db = sqlite3.connect(night)
    db.execute("UPDATE entry SET body = '{}' WHERE id = 'wall-0001'")
    db.commit()
    db.close()
    running = start(night, strict.url)
    running.caught_up()
    ((point, reason),) = running.aside()
    assert point == "" and "wall-0001" in reason
    assert len(strict.of("reading")) == sum(len(points) for points in kept(night).values())


def test_the_client_library_is_read_by_the_thread_alone() -> None:
    """A watch without a long history stays small, and one with it starts as fast."""
    names = "kuraban.runtime.watch", forward.__name__
    code = f"import sys, {', '.join(names)}; sys.exit('influxdb_client' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
