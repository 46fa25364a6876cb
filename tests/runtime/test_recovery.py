from __future__ import annotations

import logging
from collections.abc import Iterator
from pathlib import Path

import pytest

from kuraban.core.effects import Message, Step
from kuraban.core.engine.engine import Engine
from kuraban.core.facts import HouseChanged, Reading
from kuraban.core.intake.wire import Wire
from kuraban.core.site import to_document
from kuraban.core.texts.messages import Words
from kuraban.recording import Recorded, merged
from kuraban.runtime.recovery import feed, freeze, recover, run_to, thaw
from kuraban.settings import load
from kuraban.settings.catalogues import load_words
from kuraban.store.journal import Checkpoint, Journal

FIXTURES = Path(__file__).parents[2] / "fixtures"
HOUSE = load(FIXTURES / "brewery" / "site.toml", {}).house
WORDS = load_words()
Told = list[Step | Message]


def night(name: str) -> list[Recorded]:
    (path,) = (FIXTURES / "nights" / name).glob("recording.jsonl*")
    return list(merged([path], lambda bad: None, lambda size: None))


@pytest.fixture
def journal(tmp_path: Path) -> Iterator[Journal]:
    journal = Journal.open(tmp_path / "kuraban.journal")
    yield journal
    journal.close()


def live(engine: Engine, lines: list[Recorded], journal: Journal | None, every: int = 50) -> Told:
    """Play on, a turn every so many messages, and what was told."""
    wire, told = Wire(HOUSE), []
    if not engine.started:
        engine.take(HouseChanged(lines[0].at, to_document(HOUSE)))
    for number, line in enumerate(lines, 1):
        for fact in wire.read(line.topic, line.payload, line.at, line.retained):
            engine.take(fact)
        if number % every == 0 or number == len(lines):
            turn = engine.drain()
            told += turn.story
            if journal is not None:
                checkpoint = freeze(engine) if number % 400 == 0 else None
                journal.commit(turn, checkpoint)
    return told


@pytest.mark.parametrize("cut", [0.3, 0.45, 0.6, 0.8])
@pytest.mark.parametrize("name", ["demo-night", "koji-heat-lost"])
def test_the_night_goes_on_as_if_nothing_had_happened(
    journal: Journal, name: str, cut: float
) -> None:
    """Whenever the watch dies, what it tells from then on is to the letter what it would have."""
    lines = night(name)
    at = int(len(lines) * cut)
    whole = live(Engine(WORDS), lines, None)
    before = live(Engine(WORDS), lines[:at], journal)
    engine = recover(journal, WORDS)
    assert engine.drain().empty
    assert before + live(engine, lines[at:], None) == whole


@pytest.mark.parametrize("cut", [0.45, 0.8])
def test_without_its_kept_state_the_watch_lives_the_night_again(
    journal: Journal, cut: float
) -> None:
    """After an upgrade the same alarms come at the same times, under ids never given out before."""
    lines = night("demo-night")
    at = int(len(lines) * cut)
    before = live(Engine(WORDS), lines[:at], journal)
    journal.commit(Engine(WORDS).drain(), Checkpoint("of another age", b"unreadable"))
    journal._db.execute("UPDATE state SET now = ?", (lines[at - 1].at,))
    after = live(recover(journal, WORDS), lines[at:], None)
    whole = live(Engine(WORDS), lines, None)
    told = [(event.at, event.step, event.text) for event in before + after]
    assert told == [(event.at, event.step, event.text) for event in whole]
    ids = [event.id for event in before + after if isinstance(event, Message)]
    assert len(set(ids)) == len(ids)


def test_a_kept_state_carries_no_catalogue(journal: Journal) -> None:
    """Sentences changed since are told as they are now."""
    engine = Engine(WORDS)
    engine.take(HouseChanged(1e9, to_document(HOUSE)))
    kept, other = freeze(engine), Words({"en": {}})
    assert kept is not None
    again = thaw(kept.blob, other)
    assert again is not None
    assert again.words is other
    assert again.notifier.writer._words is other
    assert again.notifier._alarms is again.alarm_manager.alarms


def test_a_spoilt_kept_state_is_passed_over(journal: Journal) -> None:
    assert thaw(b"no pickle", WORDS) is None


def test_a_fault_of_ours_stops_nothing(caplog: pytest.LogCaptureFixture) -> None:
    """It is written down with what brought it about, and the next fact is taken."""
    engine = Engine(WORDS)
    engine.take(HouseChanged(1e9, to_document(HOUSE)))
    engine.deadlines.add(1e9 + 1, None)  # type: ignore[arg-type]
    with caplog.at_level(logging.ERROR):
        assert not run_to(engine, 1e9 + 2)
        assert not feed(engine, None)  # type: ignore[arg-type]
    assert "a fault of ours" in caplog.text
    assert run_to(engine, 1e9 + 3)
    assert feed(engine, Reading("t3-mid", 1e9 + 4, 10.0, 1e9 + 4))


def test_a_fact_that_came_with_a_fault_is_in_the_journal(
    caplog: pytest.LogCaptureFixture,
) -> None:
    """The broker is told that it is safe; and the log names the fact."""
    engine = Engine(WORDS)
    engine.take(HouseChanged(1e9, to_document(HOUSE)))
    engine.drain()
    engine.deadlines.add(1e9 + 1, None)  # type: ignore[arg-type]
    fact = Reading("t3-mid", 1e9 + 4, 10.0, 1e9 + 4)
    with caplog.at_level(logging.ERROR):
        assert not feed(engine, fact)
    assert engine.drain().facts == [fact]
    assert str(fact) in caplog.text and "a fault of ours" in caplog.text
