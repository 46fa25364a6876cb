"""What a careful colleague would ask back."""

from __future__ import annotations

from pathlib import Path

import pytest

from kuraban.core import entries as e
from kuraban.core.effects import Turn
from kuraban.core.facts import Logged
from kuraban.queries.entries.entry_plausibility import Doubts, doubts
from kuraban.queries.journal_state import JournalState
from kuraban.settings.catalogues import load_words
from kuraban.store.journal import Journal
from tests.journals import live_through
from tests.outcomes import became

HOUR = 3600.0


@pytest.fixture(scope="module")
def evening(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, float]:
    """A journal in which tank 2 had a sample of 5.0 Baumé yesterday; and its last moment."""
    path = tmp_path_factory.mktemp("evening") / "kuraban.journal"
    told = live_through("slow-drift", path, share=0.5)
    assert told
    journal = Journal.open(path)
    now = journal.now()
    assert now is not None
    sample = Logged("s-1", "tank-2", e.Sample(baume=5.0), now - 24 * HOUR, now)
    journal.commit(Turn(now=now, facts=[sample, became(sample)]))
    journal.close()
    return path, now


def asked(
    evening: tuple[Path, float], entry: e.Entry, on: str = "tank-2", ago: float = 0
) -> Doubts:
    path, now = evening
    return doubts(path, load_words(), Logged("new", on, entry, now + 5 - ago, now + 5), now + 5)


@pytest.mark.parametrize(
    ("entry", "word"),
    [
        (e.Sample(baume=9.0), "no mash moves so fast"),
        (e.Check(celsius=20.0), "The probe reads"),
        (e.OutOfService(), "nobody would be told"),
    ],
)
def test_what_can_hardly_be_is_asked_about(
    evening: tuple[Path, float], entry: e.Entry, word: str
) -> None:
    """One sentence each, with the figures."""
    assert any(word in question for question in asked(evening, entry).questions)


@pytest.mark.parametrize(
    ("entry", "word"),
    [
        (e.BatchEnd(), "Batch No. 20 is in"),
        (e.StageMark(stage="shimai"), "night-koji goes on with"),
    ],
)
def test_what_would_stop_the_watch_is_asked_about_and_waits(
    entry: e.Entry, word: str, tmp_path: Path
) -> None:
    """A slip of the thumb over a koji bed; said by somebody who is not the brewer."""
    path = tmp_path / "kuraban.journal"
    live_through("koji-night", path, share=0.2)
    journal = Journal.open(path)
    now = journal.now() or 0.0
    journal.close()
    logged = Logged("new", "koji-bed-1", entry, now + 5, now + 5, by="mio")
    found = doubts(path, load_words(), logged, now + 5)
    assert found.waits and word in found.questions[0]


def test_an_aim_far_from_the_plan_is_asked_about(evening: tuple[Path, float]) -> None:
    by = e.Moment(evening[1] + 6 * HOUR)
    (question,) = asked(evening, e.Aim(celsius=14.0, by=by)).questions
    assert "The plan at that time is 10.3 °C, the aim 14.0 °C, +3.7." in question


@pytest.mark.parametrize(
    "entry", [e.Stir(), e.Sample(baume=4.4), e.Check(celsius=10.6), e.Note(text="all quiet")]
)
def test_what_is_usual_is_not_asked_about(evening: tuple[Path, float], entry: e.Entry) -> None:
    assert asked(evening, entry) == Doubts()


def test_what_the_watch_would_refuse_is_told_before(evening: tuple[Path, float]) -> None:
    """In its own words."""
    refused = asked(evening, e.Hold(for_=e.Duration(86400)), "tank-1").refused
    assert refused is not None and "no batch runs in tank-1" in refused


def test_of_a_watch_that_stands_still_a_refusal_is_only_a_doubt(
    evening: tuple[Path, float],
) -> None:
    """It may have been told things since."""
    path, now = evening
    late = now + 5 * HOUR
    hold = Logged("new", "tank-1", e.Hold(for_=e.Duration(86400)), late, late)
    found = doubts(path, load_words(), hold, late)
    assert found.refused is None and "it would be refused" in found.questions[0]


def test_a_cooler_out_of_service_names_what_it_serves(evening: tuple[Path, float]) -> None:
    (question,) = asked(evening, e.OutOfService(), "chiller-1").questions
    assert "Tank 2" in question


def test_something_of_last_week_is_asked_about(evening: tuple[Path, float]) -> None:
    (question,) = asked(evening, e.Note(text="rail mended"), ago=6 * 24 * HOUR).questions
    assert question == "That was 6 days ago."


def test_without_a_journal_nothing_is_asked(tmp_path: Path, state: JournalState) -> None:
    note = Logged("n", "tank-2", e.Note(text="x"), 0.0, 0.0)
    assert doubts(tmp_path / "none", load_words(), note, 0.0) == Doubts()
