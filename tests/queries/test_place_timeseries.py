"""A place's past in even steps."""

from __future__ import annotations

from kuraban.core import entries as e
from kuraban.core.facts import Logged
from kuraban.queries.journal_state import JournalState
from kuraban.queries.place_timeseries import in_short, rows

HOUR = 3600.0


def test_ten_minutes_a_row_with_measured_and_planned(state: JournalState) -> None:
    """On even moments, whatever was asked for."""
    end = state.engine.now
    found = rows(state, "tank-2", end - 3 * HOUR, end)
    assert len(found) in (18, 19) and all(row.at % 600 == 0 for row in found)
    assert all(row.planned == 10.3 for row in found)
    assert found[-2].difference is not None and found[-2].difference > 0.5


def test_what_people_did_stands_in_its_row(state: JournalState) -> None:
    start = state.engine.now - 14 * HOUR
    did = [word for row in rows(state, "tank-2", start, state.engine.now) for word in row.did]
    assert "batch-start No. 13 (aki)" in did


def test_there_is_no_plan_before_the_batch(state: JournalState) -> None:
    """The batch began ten days earlier; before that nothing was planned or measured."""
    start = state.engine.now - 20 * 24 * HOUR
    assert all(row.planned is None for row in rows(state, "tank-2", start, start + HOUR))


def test_a_plan_that_was_redrawn_counts_from_then_on(state: JournalState) -> None:
    """Each time has the plan that was in force at it."""
    now = state.engine.now
    aim = e.Aim(celsius=11.3, by=e.Moment(now + HOUR), then="level")
    state.engine.take(Logged("aim-1", "tank-2", aim, now, now))
    found = rows(state, "tank-2", now - HOUR, now + 2 * HOUR)
    assert found[0].planned == 10.3
    assert found[-1].planned == 11.3


def test_a_batch_that_ended_keeps_its_plan(state: JournalState) -> None:
    now = state.engine.now
    state.engine.take(Logged("end-1", "tank-2", e.BatchEnd(), now, now))
    confirmed = Logged("ok-1", "tank-2", e.Confirm(of="end-1"), now, now, by="aki")
    state.engine.take(confirmed)
    planned = [row.planned for row in rows(state, "tank-2", now - 2 * HOUR, now + 2 * HOUR)]
    assert planned[0] == 10.3


def test_a_room_is_told_by_its_air(state: JournalState) -> None:
    end = state.engine.now
    found = rows(state, "koji-store", end - HOUR, end)
    assert any(row.measured is not None for row in found)
    assert all(row.difference is None for row in found)


def test_an_entry_in_few_words() -> None:
    def said(entry: e.Entry, by: str | None = None) -> str:
        return in_short(Logged("x", "tank-2", entry, 0.0, 0.0, by=by))

    assert said(e.Check(celsius=10.25), "aki") == "check 10.2 °C (aki)"
    assert said(e.Sample(baume=3.2, smv=-12.0)) == "sample Bé 3.2, SMV −12.0"
    assert said(e.Addition(what="rice")) == "addition rice"
    assert said(e.StageMark(stage="naka")) == "stage naka"
    assert said(e.Acknowledge(condition="warm")) == "acknowledge warm"
    assert said(e.Stir()) == "stir"
