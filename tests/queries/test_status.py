"""One screen's worth of how things stand."""

from __future__ import annotations

from pathlib import Path

from kuraban.core import entries as e
from kuraban.core.facts import Logged
from kuraban.queries.journal_state import JournalState, looking
from kuraban.queries.status import Status, status
from kuraban.settings import Receiver
from kuraban.settings.catalogues import load_words
from kuraban.store.forwarded import Forwarded, SetAside
from tests.journals import live_through


def of(state: JournalState, path: Path) -> Status:
    return status(state, path, load_words())


def test_a_warm_tank_is_told_with_sign_and_word(state: JournalState, drifted: Path) -> None:
    """Product, plan, difference, where it goes, batch, day and stage."""
    (tank,) = [place for place in of(state, drifted).judged if place.id == "tank-2"]
    assert tank.word == "warm" and tank.difference is not None and tank.difference > 0.5
    assert tank.going == "up" and tank.rate is not None and tank.rate > 0
    assert (tank.batch, tank.day, tank.stage) == ("No. 13", 13, "Main mash")
    assert tank.planned == 10.3


def test_a_cold_store_is_told_by_its_band(state: JournalState, drifted: Path) -> None:
    (store,) = [place for place in of(state, drifted).judged if place.id == "koji-store"]
    assert store.word == "in its band" and store.band == (1.0, 8.0) and store.planned is None


def test_what_is_not_judged_says_why(state: JournalState, drifted: Path) -> None:
    reasons = {place.id: place.why for place in of(state, drifted).not_judged}
    assert reasons["tank-1"] == "no-batch" and reasons["cellar"] == "no-band"
    assert "tank-2" not in reasons


def test_a_standing_alarm_says_that_nobody_has_it(state: JournalState, drifted: Path) -> None:
    """The unanswered first."""
    first = of(state, drifted).standing[0]
    assert first.alarm == "tank-2/warm" and first.state == "unacknowledged"
    assert first.urgency == "wake" and first.by is None
    assert first.title.startswith("Tank 2 warm +0.")


def test_an_alarm_in_hand_says_who_has_it_and_until_when(
    state: JournalState, drifted: Path
) -> None:
    now = state.engine.now
    mine = Logged("a1", "tank-2", e.Acknowledge(condition="warm"), now, now, by="aki")
    state.engine.take(mine)
    (alarm,) = [one for one in of(state, drifted).standing if one.condition == "warm"]
    assert alarm.state == "acknowledged" and alarm.by == "Aki"
    assert alarm.until is not None and alarm.until > now


def test_a_stirred_tank_says_until_when_it_is_not_judged(
    state: JournalState, drifted: Path
) -> None:
    now = state.engine.now
    state.engine.take(Logged("s1", "tank-2", e.Stir(), now, now))
    (tank,) = [place for place in of(state, drifted).judged if place.id == "tank-2"]
    assert tank.held == "masked" and tank.held_until == now + 1800


def test_a_probe_says_what_it_reads_and_when_it_spoke(state: JournalState, drifted: Path) -> None:
    probes = {probe.id: probe for probe in of(state, drifted).probes}
    assert probes["t2-mid"].value is not None and not probes["t2-mid"].trouble
    assert probes["t1-upper"].at is None and probes["t1-upper"].refused == 0


def test_refusals_are_counted_with_the_last_reason(tmp_path: Path) -> None:
    live_through("wild-codes", tmp_path / "journal")
    with looking(tmp_path / "journal", load_words(), 0.0) as found:
        refused = [probe for probe in of(found, tmp_path / "journal").probes if probe.refused]
    assert refused and refused[0].wild and refused[0].last_refusal


def test_the_journal_and_the_courier_are_told(state: JournalState, drifted: Path) -> None:
    found = of(state, drifted)
    assert found.journal.bytes > 100_000 and found.journal.last_turn == state.last_turn
    assert found.courier.waiting > 0 and found.courier.failed is None


def test_the_long_history_is_told_where_there_is_one(tmp_path: Path) -> None:
    """How much waits since when, and what was refused; the token is no part of it."""
    path, to = tmp_path / "journal", Receiver("http://127.0.0.1:1", "sake", token="abc-123")
    live_through("slow-drift", path, share=0.2)
    with looking(path, load_words(), 0.0) as found:
        assert of(found, path).history is None
        behind = status(found, path, load_words(), to).history
        assert behind is not None and behind.waiting > 100 and behind.set_aside == 0
        held = Forwarded(path, to.name)
        held.move(50_000, [SetAside(3, "reading …", "it answered 422, too old")])
        held.close()
        told = status(found, path, load_words(), to).history
    assert told is not None and (told.waiting, told.oldest, told.set_aside) == (0, None, 1)
    assert told.reason == "it answered 422, too old" and "abc-123" not in repr(told)
