"""The watch in hundreds of short seasons in which everything goes wrong that can be thought of.

What fails says which seed it was: `tests/soak/simulate --from SEED --seeds 1` plays it again and
leaves a short script of it, which belongs into `kept/` with what was wrong.
"""

from __future__ import annotations

from pathlib import Path

import msgspec
import pytest

from tests.simulation.script import Event, Script, script_of
from tests.simulation.shrink import Broken, played, shrunk

KEPT = Path(__file__).parent / "kept"
SEEDS, AT_ONCE = 120, 10


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
