"""The watch in hundreds of short seasons in which everything goes wrong that can be thought of.

What fails says which seed it was: `tests/soak/simulate --from SEED --seeds 1` plays it again and
leaves a short script of it, which belongs into `kept/` with what was wrong.
"""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

import msgspec
import pytest

from kuraban.core.units import HOUR
from tests.simulation.checks import wrong_with
from tests.simulation.script import SCHEMAS, TANKS, Event, Script, script_of
from tests.simulation.season import Season
from tests.simulation.shrink import Broken, played, shrunk

KEPT = Path(__file__).parent / "kept"
SEEDS, AT_ONCE = 180, 20


@pytest.mark.parametrize("first", range(0, SEEDS, AT_ONCE))
def test_whatever_befalls_it_every_promise_is_kept(first: int) -> None:
    for seed in range(first, first + AT_ONCE):
        assert not played(script_of(seed)), f"seed {seed}"


@pytest.mark.parametrize("path", sorted(KEPT.glob("*.json")), ids=lambda path: path.stem)
def test_what_was_found_once_stays_mended(path: Path) -> None:
    assert not played(msgspec.json.decode(path.read_bytes(), type=Script))


def test_the_same_seed_is_the_same_season() -> None:
    """To the byte: else no failure could be looked at twice."""
    assert msgspec.json.encode(script_of(7)) == msgspec.json.encode(script_of(7))
    left, right = script_of(7), script_of(8)
    assert left.events != right.events


def test_a_failing_season_is_made_short() -> None:
    """What does not matter is dropped, what it takes stays."""

    def play(script: Script) -> Broken:
        doing = [event.do for event in script.events]
        return [("lost", "")] if "kill" in doing and "disk" in doing else []

    events = tuple(Event(float(n), do) for n, do in enumerate(("drop", "kill", "clock", "disk")))
    long = Script(seed=0, hours=30.0, rota="always", turn=0.0, answers=0.0, events=events)
    short = shrunk(long, "lost", play)
    assert [event.do for event in short.events] == ["kill", "disk"] and short.hours == 3.0


def test_what_is_logged_about_a_new_tank_counts_from_the_first_start_on(tmp_path: Path) -> None:
    """The journal is of a house that had no such tank."""
    begun = Event(0.05, "entry", "bed-1", entry={
        "entry": "batch-start", "batch": "K-1", "course": "koji", "by": "dai"})  # fmt: skip
    script = Script(seed=0, hours=1.0, rota="always", turn=0.0, answers=0.0, events=(begun,),
                    schema=SCHEMAS[-1])  # fmt: skip
    season = Season(script, tmp_path / "disk").run()
    watch = season.life.watch
    assert watch is not None
    batch = watch.engine.view.batch("bed-1", watch.engine.now)
    assert batch is not None and batch.name == "K-1"


def held(season: Season) -> dict[str, int]:
    """How much the watch holds of whatever could pile up."""
    watch = season.life.watch
    assert watch is not None
    engine, notifier = watch.engine, watch.engine.notifier
    with closing(sqlite3.connect(season.journal)) as db:
        (rows,) = db.execute("SELECT count(*) FROM outbox").fetchone()
    return {
        "deadlines": len(engine.deadlines.items), "alarms": len(engine.alarm_manager.alarms),
        "incidents": len(notifier.incidents.standing), "waiting": len(notifier.gathering.waiting),
        "facts": len(engine.facts), "retained": len(watch._door._retained), "outbox": rows,
        "deliveries": sum(
            len(one._open) + len(one._failures) + len(one._told)
            for one in watch._courier._delivery_states
        ),
    }  # fmt: skip


def test_at_a_level_load_nothing_grows(tmp_path: Path) -> None:
    """The same hour of two days that are alike: memory, rows and deadlines are, too."""
    begun = tuple(
        Event(0.05, "entry", place, entry={
            "entry": "batch-start", "batch": place, "course": "mash", "stage": "main", "by": "aki"})
        for place in TANKS
    )  # fmt: skip
    script = Script(seed=0, hours=53.0, rota="always", turn=0.0, answers=0.0, events=begun)
    season, seen = Season(script, tmp_path / "disk"), list[dict[str, int]]()
    for hours in (28.0, 52.0):
        season.machine.at(season.began + hours * HOUR, lambda: seen.append(held(season)))
    season.run()
    assert wrong_with(season) == []
    assert seen[0] == seen[1]
