"""The whole watch with an engine for its long history: it gets everything, and delays nothing."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from pathlib import Path

import pyarrow.parquet as pq
import pytest

from kuraban.core.effects import Step
from kuraban.core.units import HOUR
from kuraban.edges.history import forwarder as forward
from kuraban.edges.history.folder_merge import merge
from kuraban.runtime.watch import JOURNAL
from kuraban.settings import Receiver
from kuraban.store.forwarded import Forwarded
from tests.broker import Mosquitto
from tests.engines import Strict
from tests.nights import QUICK, Evening, Running, messages, wait
from tests.sink import Sink
from tests.stopwatch import Stopwatch


@pytest.fixture
def strict() -> Iterator[Strict]:
    engine = Strict()
    yield engine
    engine.close()


@pytest.fixture
def tonight(tmp_path: Path, strict: Strict, monkeypatch: pytest.MonkeyPatch) -> Iterator[Evening]:
    """An evening with a long history that is looked after all the time."""
    monkeypatch.setitem(forward.Forwarder.__init__.__kwdefaults__, "every", 0.05)
    monkeypatch.setitem(forward.Forwarder.__init__.__kwdefaults__, "first_wait", 0.05)
    with Mosquitto(tmp_path, without=QUICK) as broker, Sink() as sink:
        evening = Evening(broker, sink, tmp_path / "data", messages("slow-drift")[0].at)
        evening.settings = dataclasses.replace(
            evening.settings, history=Receiver(strict.url, "sake", token="abc-123")
        )
        yield evening
        evening.close()


def told(evening: Evening) -> list[str]:
    return [
        event.step
        for event in evening.told
        if isinstance(event, Step) and event.condition == "history-behind"
    ]


def test_what_is_judged_is_forwarded(tonight: Evening, strict: Strict) -> None:
    """Every reading of the night, while it is judged."""
    lines = messages("slow-drift")[:400]
    with tonight.watching() as watch:
        tonight.play(watch, lines)
        tonight.catch_up(watch)
        wait(lambda: any(point.tag("entry") == "note" for point in strict.of("entry")))
        held = Forwarded(tonight.settings.data / JOURNAL, "nobody", "ro")
        wait(lambda: len(strict.of("reading")) == len(held.rows_after(0, 100_000).readings))
        held.close()
    assert len(strict.of("reading")) > 300 and not strict.malformed and not told(tonight)


def test_a_history_that_falls_behind_is_on_the_list_until_it_has_caught_up(
    tonight: Evening, strict: Strict
) -> None:
    """Also across a restart of the watch."""
    strict.status = 503
    lines = messages("slow-drift")[:60]
    with tonight.watching() as watch:
        tonight.play(watch, lines)
        tonight.catch_up(watch)
        tonight.pass_time(watch, HOUR)
        wait(lambda: told(tonight) == ["raised"])
    with tonight.watching() as watch:
        wait(lambda: len(strict.times) > 0)
        assert "history-behind" in watch.engine.impaired
        strict.status = None
        wait(lambda: "history-behind" not in watch.engine.impaired)
    assert told(tonight)[0] == "raised" and len(told(tonight)) == 2


def test_a_history_that_was_switched_off_is_behind_no_more(
    tonight: Evening, strict: Strict
) -> None:
    strict.status = 503
    with tonight.watching() as watch:
        tonight.play(watch, messages("slow-drift")[:60])
        tonight.catch_up(watch)
        tonight.pass_time(watch, HOUR)
        wait(lambda: told(tonight) == ["raised"])
    tonight.settings = dataclasses.replace(tonight.settings, history=None)
    with tonight.watching() as watch:
        wait(lambda: "history-behind" not in watch.engine.impaired)


def test_an_engine_that_hangs_delays_neither_judging_nor_the_stop(
    tonight: Evening, strict: Strict
) -> None:
    strict.mode = "hang"
    watch = tonight.watch()
    running = Running(watch)
    wait(lambda: watch._door.connected)
    tonight.play(watch, messages("slow-drift")[:100])
    tonight.catch_up(watch)
    wait(lambda: len(strict.times) > 0)
    took = Stopwatch()
    running.stop()
    assert took.read() < 4


def test_an_engine_and_a_folder_have_the_same(tonight: Evening, strict: Strict) -> None:
    """Every reading of the evening, in both; whoever has Parquet reads the one."""
    folder = tonight.settings.data / "months"
    to = Receiver(str(folder), "parquet")
    tonight.settings = dataclasses.replace(tonight.settings, folder=to)
    with tonight.watching() as watch:
        tonight.play(watch, messages("slow-drift")[:300])
        tonight.catch_up(watch)
        held = Forwarded(tonight.settings.data / JOURNAL, to.name, "ro")
        wait(lambda: held.progress().waiting == 0 and len(strict.of("reading")) > 200)
    seq = held.seq()
    last = [row for row in held.rows_after(0, 100_000).readings if row[0] <= seq]
    held.close()
    merge(folder)
    found = [row for month in (folder / "readings").iterdir() for row in pq.read_table(month)
             .select(["probe", "time", "value"]).to_pylist()]  # fmt: skip
    told = {(row["probe"], round(row["time"].timestamp(), 3)): row["value"] for row in found}
    assert len(found) == len(last) > 200
    assert told == {(probe, round(at, 3)): value for _, probe, at, value in last}
