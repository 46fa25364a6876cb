"""Why, asked of a journal: what is answered, and what cannot be."""

from __future__ import annotations

from contextlib import closing
from pathlib import Path

import pytest

from kuraban.core import entries as e
from kuraban.core.effects import Turn
from kuraban.core.facts import Logged
from kuraban.core.units import DAY, HOUR
from kuraban.errors import JournalError, Unanswerable
from kuraban.queries.why import Why
from kuraban.runtime.checkpoint.document import freeze
from kuraban.runtime.past_moment import as_it_was
from kuraban.settings.catalogues import load_words
from kuraban.store.history import History
from kuraban.store.journal import Journal
from kuraban.store.upkeep.retention import Bounds
from tests.journals import live_through

WORDS = load_words()


@pytest.fixture(scope="module")
def night(tmp_path_factory: pytest.TempPathFactory) -> tuple[Why, float]:
    """A night in which tank 2 left its tolerance at 02:50, and its last moment."""
    path = tmp_path_factory.mktemp("night") / "kuraban.journal"
    live_through("slow-drift", path)
    with closing(History(path)) as history:
        return Why(path, WORDS), history.now() or 0.0


def test_a_place_a_cooler_a_probe_and_a_batch_are_answered(night: tuple[Why, float]) -> None:
    why, last = night
    for subject in ("tank-2", "chiller-1", "t2-mid"):
        (told,) = why.ask(subject, None, last, "en")
        assert told.subject == subject and told.known and told.conditions
    by_batch = why.ask("No. 13", None, last, "en")
    assert [told.subject for told in by_batch] == ["tank-2"]
    (now,) = why.ask("tank-2", None, last, "en")
    assert now.conditions[0].condition == "warm" and now.conditions[0].holds


def test_an_alarm_that_stands_names_whom_it_rang(night: tuple[Why, float]) -> None:
    (told,) = night[0].ask("tank-2", None, night[1], "en")
    (rung,) = [said.text for said in told.conditions[0].seen if said.key == "rung"]
    assert rung.startswith("Rung: Aki 03:52, Aki 04:02, Sho 04:22")


def test_an_empty_tank_says_that_it_is_not_judged(night: tuple[Why, float]) -> None:
    (told,) = night[0].ask("tank-1", None, night[1], "ja")
    assert told.known[0].text == "見張っていない（仕込みなし）。"


@pytest.mark.parametrize(
    ("subject", "ago", "says"),
    [
        ("tank-22", 0.0, 'no place, cooler, probe or batch "tank-22"; did you mean one of tank-2'),
        ("tank-2", 40 * DAY, "The journal begins at 10 Feb 20:00"),
        ("tank-2", -2 * DAY, "lies ahead"),
        ("13", 0.0, "did you mean one of No. 13,"),
    ],
    ids=["unknown", "before", "ahead", "batch"],
)
def test_what_cannot_be_answered_is_refused_plainly(
    night: tuple[Why, float], subject: str, ago: float, says: str
) -> None:
    with pytest.raises(Unanswerable, match=says):
        night[0].ask(subject, night[1] - ago, night[1], "en")


def test_a_batch_is_asked_of_while_it_runs(tmp_path: Path) -> None:
    path = tmp_path / "kuraban.journal"
    half = 1_770_742_800.0
    ended = Logged("end", "tank-2", e.BatchEnd(), half, half, "aki", "page")
    live_through("slow-drift", path, share=0.6, between=(ended,))
    why = Why(path, WORDS)
    (told,) = why.ask("No. 13", half - HOUR, half + DAY, "en")
    assert told.subject == "tank-2"
    with pytest.raises(Unanswerable, match=r"Batch No\. 13 did not run in any place at 02:1"):
        why.ask("No. 13", half + 600, half + DAY, "en")


def test_a_watch_that_stands_still_is_asked_of_what_it_saw(night: tuple[Why, float]) -> None:
    """Not of what it did not: from its last turn on nothing is known."""
    why, last = night
    with pytest.raises(Unanswerable, match="The watch last wrote at 11 Feb 07:59"):
        why.ask("tank-2", last + HOUR, last + 2 * HOUR, "en")
    (told,) = why.ask("tank-2", last + 20.0, last + 20.0, "en")
    assert told.at.startswith("2026-02-11T07:59")


def test_where_only_summaries_are_left_it_says_what_stood(tmp_path: Path) -> None:
    path = tmp_path / "kuraban.journal"
    live_through("slow-drift", path)
    with closing(History(path)) as history:
        last = history.now() or 0.0
    later = last + 90 * DAY
    with closing(Journal.open(path)) as journal:
        engine = as_it_was(path, WORDS, last, lambda: None)
        journal.commit(Turn(now=later), freeze(engine))
        while journal.summarise(Bounds(later, later - 20 * DAY, later - 50 * DAY)):
            pass
    with pytest.raises(Unanswerable, match=r"only summaries .* What stood then: .*Tank 2 warm"):
        Why(path, WORDS).ask("tank-2", last, later, "en")


def test_without_a_journal_it_says_what_to_do(tmp_path: Path) -> None:
    with pytest.raises(JournalError, match="kuraban run"):
        Why(tmp_path / "kuraban.journal", WORDS).ask("tank-2", None, 0.0, "en")
