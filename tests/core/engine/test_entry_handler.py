"""What becomes of an entry: once, at its time, and with which answer."""

from __future__ import annotations

import pytest

from kuraban.core.deadlines import BatchEnded
from kuraban.core.facts import EntryOutcome, Logged
from kuraban.core.units import HOUR, MINUTE
from tests.core.house import DUSK, Night, mashing


def test_an_entry_told_twice_counts_once() -> None:
    night = mashing()
    night.log("tank-3", "stir", id="s1", **{"for": "1h"})
    night.log("tank-3", "stir", id="s1", **{"for": "1h"})
    assert sum(isinstance(f, Logged) and f.id == "s1" for f in night.facts) == 1
    assert len(night.engine.view.entry_log.subject_state("tank-3").masks) == 1


def test_an_entry_ahead_of_the_clock_starts_at_its_time() -> None:
    night = mashing()
    night.log("tank-3", "stir", at=night.now + 4 * MINUTE)
    night.run(3.9)
    assert night.engine.view.masked("tank-3", night.now) is None
    night.run(0.1)
    assert night.engine.view.masked("tank-3", night.now) == night.now + 30 * MINUTE


def test_an_entry_ahead_of_the_clock_sees_the_value_of_its_time() -> None:
    """Let run from in four minutes on: half a degree about what it reads then."""
    night = mashing()
    night.run(5).told["t3-mid"] = 10.4
    night.run(30).log("tank-3", "let-run", at=night.now + 4 * MINUTE, more=0.5, for_="2h")
    night.run(5)
    run = night.engine.view.entry_log.subject_state("tank-3").let_run
    assert run is not None and run.base == pytest.approx(10.4, abs=0.05)


def test_let_run_is_about_the_value_of_this_moment_or_of_then() -> None:
    night = mashing()
    night.run(5).told["t3-mid"] = 10.4
    night.run(60).log("tank-3", "let-run", more=0.5, for_="2h")
    run = night.engine.view.entry_log.subject_state("tank-3").let_run
    assert run is not None and run.base == pytest.approx(10.4, abs=0.05)
    night.log("tank-4", "let-run", more=0.5, for_="2h", at=DUSK + 4.5 * MINUTE)
    late = night.engine.view.entry_log.subject_state("tank-4").let_run
    assert late is not None and late.base == pytest.approx(10.0, abs=0.05)


def test_let_run_answers_what_rings_and_is_held_to_its_word() -> None:
    night = mashing()
    night.run(10).told["t3-mid"] = 10.7
    night.run(75)
    assert night.steps("tank-3/warm") == ["raised"]
    night.log("tank-3", "let-run", who="aki", more=0.3, for_="2h")
    assert "acknowledged" in night.steps("tank-3/warm")
    before = len(night.pages())
    night.run(60)
    assert len(night.pages()) == before
    night.told["t3-mid"] = 11.15
    night.run(40)
    assert len(night.pages()) > before, "beyond its word it rings, after the limit's delay"


def test_a_refused_entry_is_kept_beside_the_reason() -> None:
    night = Night()
    night.log("tank-3", "hold", for_="1d")
    logged, refused = night.facts[-2:]
    assert isinstance(logged, Logged) and isinstance(refused, EntryOutcome)
    assert refused.key == logged.key and refused.fate == "refused"
    assert "log its batch-start first" in refused.reason


def test_a_correction_of_anything_never_stops_the_watch() -> None:
    """An amendment of every kind of entry, with fields that fit and that do not."""
    night = mashing()
    ids = [
        night.log("tank-3", "aim", celsius=9.0, by=night.now + HOUR),
        night.log("tank-3", "plan", points=[[night.now + HOUR, 9.5]]),
        night.log("tank-3", "stir", for_="10m"),
        night.log("tank-3", "hold", for_="1d"),
        night.log("tank-3", "let-run", for_="1h", more=0.3),
        night.log("tank-3", "acknowledge", condition="warm", for_="1h"),
        night.log("tank-3", "note", text="frost"),
        night.log("watch", "note", text="frost"),
    ]
    for number, name in enumerate(ids):
        night.log("tank-3", "amend", of=name, celsius=9.2)
        night.log("tank-3", "take-back", of=f"e{number + 3}")
    night.run(5)


def test_the_end_of_a_batch_is_waited_for_once_however_much_is_logged() -> None:
    """Else every entry would add one more look at everything to the moment at which it ends."""
    night = mashing()
    night.log("tank-3", "stage", stage="last")
    for _ in range(5):
        night.log("tank-4", "note", text="all well")
    assert [item.deadline for item in night.engine.deadlines.items].count(BatchEnded("tank-3")) == 1
