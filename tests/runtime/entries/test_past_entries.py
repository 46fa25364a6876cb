"""An engine that is built anew takes its entries as they were decided when they came."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import msgspec
import pytest

from kuraban.core.effects import Turn
from kuraban.core.entries import BatchEnd, BatchStart
from kuraban.core.facts import EntryOutcome, Logged
from kuraban.core.units import DAY, HOUR, MINUTE
from kuraban.runtime.entries.batch_courses import begun
from kuraban.runtime.recovery import recover
from kuraban.settings.catalogues import load_words
from kuraban.store.history import History
from kuraban.store.journal import Journal
from tests.core.house import Bell, Night, words
from tests.store.stored import stored, unpack


class Kept:
    """A house whose watch keeps no checkpoint, and what a new watch makes of its journal."""

    def __init__(self, journal: Journal, night: Night | None = None) -> None:
        self.journal, self.night = journal, night or Bell()
        self.written = 0

    def write(self) -> None:
        facts = self.night.facts[self.written :]
        self.written = len(self.night.facts)
        self.journal.commit(Turn(now=self.night.now, facts=facts))

    def again(self) -> Night:
        """The same night under a watch that starts now."""
        self.write()
        after = Night.__new__(Night)
        after.__dict__.update(self.night.__dict__)
        after.engine = recover(self.journal, words())
        after.facts, after.story = [], []
        return after


@pytest.fixture
def kept(tmp_path: Path) -> Iterator[Kept]:
    journal = Journal.open(tmp_path / "kuraban.journal")
    yield Kept(journal)
    journal.close()


def runs(night: Night, place: str) -> str | None:
    batch = night.engine.view.batch(place, night.now)
    return None if batch is None else batch.name


def test_what_counted_counts_and_what_did_not_does_not(kept: Kept) -> None:
    """Days later, with corrections, in the order in which they were decided."""
    night = kept.night
    night.log("tank-3", "batch-start", id="a", batch="7", course="mash", by="aki")
    night.log("tank-4", "batch-start", id="b", batch="8", course="mash", by="aki")
    night.on(60)
    night.log("tank-3", "stage", id="s", stage="tome", by="cho")
    night.log("tank-4", "batch-end", id="w", by="cho")
    night.log("tank-4", "hold", id="h", for_="1d", by="aki")
    night.log("tank-4", "take-back", id="t", of="h", by="cho")
    night.log("tank-4", "batch-start", id="r", batch="9", course="mash", by="aki")
    night.wake(night.now + 10 * DAY)
    after = kept.again()
    assert (runs(after, "tank-3"), runs(after, "tank-4")) == ("7", "8")
    marks = after.engine.view.batch("tank-3", after.now)
    assert marks is not None and [mark.stage for mark in marks.marks] == [0, 1]
    assert not after.engine.entry_handler.pending.held, "it fell away days ago"
    after.log("tank-4", "take-back", id="u", of="t", by="aki")
    batch = after.engine.view.batch("tank-4", after.now)
    assert batch is not None and batch.marks[0].hold == DAY, "what was taken back is still known"


def test_a_crews_stage_of_last_week_does_not_wait_again(kept: Kept) -> None:
    """It was the next one then; by now it would not be."""
    night = kept.night
    night.log("tank-3", "batch-start", batch="7", course="mash", by="aki")
    for stage in ("tome", "main"):
        night.wake(night.now + DAY)
        night.log("tank-3", "stage", stage=stage, by="cho")
    night.wake(night.now + 5 * DAY)
    after = kept.again()
    batch = after.engine.view.batch("tank-3", after.now)
    assert batch is not None and [mark.stage for mark in batch.marks] == [0, 1, 2]
    assert not after.engine.entry_handler.pending.held


def test_what_waits_waits_on_and_falls_away_at_its_hour(kept: Kept) -> None:
    """Entered 20 hours ago, before what is lived through again."""
    night = kept.night
    night.log("tank-3", "batch-start", batch="7", course="mash", by="aki")
    night.log("tank-3", "batch-end", id="w", by="cho")
    came = night.now
    night.wake(came + 20 * HOUR)
    after = kept.again()
    assert list(after.engine.entry_handler.pending.held) == [("tank-3", "w")]
    after.wake(came + DAY - 1)
    assert after.fates("w") == []
    after.wake(came + DAY)
    assert after.fates("w") == ["fallen-away"]


def test_what_waits_is_confirmed_after_the_start(kept: Kept) -> None:
    night = kept.night
    night.log("tank-3", "batch-start", batch="7", course="mash", by="aki")
    night.log("tank-3", "batch-end", id="w", by="cho")
    night.wake(night.now + 20 * HOUR)
    after = kept.again()
    after.log("tank-3", "confirm", of="w", by="dai")
    assert runs(after, "tank-3") is None and after.fates("w") == ["confirmed"]


@pytest.mark.parametrize("hours", [1, 30])
def test_rules_that_changed_do_not_judge_what_was(kept: Kept, hours: int) -> None:
    """An older watch let the crew end a batch alone, and held a stir back: so it stays."""
    night = kept.night
    night.log("tank-3", "batch-start", batch="7", course="mash", by="aki")
    end = Logged("end", "tank-3", BatchEnd(), night.now + MINUTE, night.now + MINUTE, "cho")
    kept.write()
    counted = EntryOutcome("tank-3", "end", "counted", end.at)
    kept.journal.commit(Turn(now=end.at, facts=[end, counted]))
    night.wake(night.now + hours * HOUR)
    after = kept.again()
    assert runs(after, "tank-3") is None and not after.engine.entry_handler.pending.held


def test_every_entry_of_the_journal_is_known_however_old(kept: Kept) -> None:
    night = kept.night
    night.log("tank-3", "stir", id="once", by="aki")
    kept.write()
    night.wake(night.now + 300 * DAY)
    after = kept.again()
    handler = after.engine.entry_handler
    assert ("tank-3", "once") in handler.known and handler.pending.decided == {}
    after.log("tank-3", "stir", id="once", by="aki")
    assert after.fates("once") == []


def test_who_confirmed_it_is_known_after_the_start(kept: Kept) -> None:
    night = kept.night
    night.log("tank-3", "batch-start", batch="7", course="mash", by="aki")
    night.log("tank-3", "out-of-service", id="w", by="cho")
    night.log("tank-3", "confirm", id="c", of="w", by="dai")
    night.wake(night.now + 2 * DAY)
    after = kept.again()
    back = after.log("tank-3", "take-back", of="w", by="aki")
    after.log("tank-3", "take-back", of=back, by="aki")
    outcome = after.outcome("w")
    assert (outcome.fate, outcome.cause, outcome.by) == ("confirmed", ("tank-3", "c"), "dai")


def test_a_batch_goes_on_by_its_own_course(kept: Kept) -> None:
    """As the journal keeps it beside its beginning, whatever the file says by now."""
    night = kept.night
    night.log("tank-3", "batch-start", batch="7", course="mash", by="aki")
    turn = Turn(now=night.now, facts=list(night.facts))
    kept.written = len(night.facts)
    kept.journal.commit(turn, None, begun(turn, night.engine))
    house = night.house
    courses = tuple(one for one in house.courses if one.id != "mash")
    night.wake(night.now + 2 * DAY)
    night.change(msgspec.structs.replace(house, courses=courses))
    after = kept.again()
    assert runs(after, "tank-3") == "7"


def test_a_batch_whose_course_was_not_kept_goes_on_by_that_of_its_house(kept: Kept) -> None:
    """The journal knows the house of the moment at which it began."""
    kept.night.log("tank-3", "batch-start", batch="7", course="mash", by="aki")
    kept.write()
    night, house = kept.night, kept.night.house
    night.wake(night.now + 2 * DAY)
    courses = tuple(one for one in house.courses if one.id != "mash")
    night.change(msgspec.structs.replace(house, courses=courses))
    assert runs(kept.again(), "tank-3") == "7"


def test_the_stored_nights_entries_are_taken_up_as_they_were(tmp_path: Path) -> None:
    """Nobody is asked a second time, and no batch is lost."""
    newest = max(stored(), key=lambda path: int(path.name.split("-")[1].split(".")[0]))
    path = unpack(newest, tmp_path / "stored.journal")
    journal = Journal.open(path)
    engine = recover(journal, load_words())
    with closing(History(path)) as history:
        told = [one for one in history.told(None, 0.0, float("inf")) if one.outcome is not None]
    journal.close()
    fates = {one.logged.key: one.outcome.fate for one in told if one.outcome is not None}
    held = engine.entry_handler.pending.held
    assert set(held) == {key for key, fate in fates.items() if fate == "waiting"} != set()
    begun = [one.logged for one in told if one.counts and isinstance(one.logged.entry, BatchStart)]
    assert begun, "the stored night has a batch"
    known = engine.watched.state.entry_log
    assert all(known.find(logged.id, logged.subject) is not None for logged in begun)
