"""The books by what became of each entry, with nothing decided."""

from __future__ import annotations

from typing import Any

import msgspec
from hypothesis import given
from hypothesis import strategies as st

from kuraban.core import entries as e
from kuraban.core.facts import EntryOutcome, Fate, Logged
from kuraban.core.plan.counted_entries import CountedEntries, ToldEntry
from kuraban.core.units import DAY, MINUTE
from tests.core.house import DUSK, Night, brewery

TANK = "tank-3"
START = e.BatchStart(batch="7", course="mash", stage="main")


def told(
    ident: str, entry: e.Entry, minute: float, fate: Fate = "counted", now: e.Entry | None = None
) -> ToldEntry:
    at = DUSK + minute * MINUTE
    logged = Logged(ident, TANK, entry, at, at)
    return ToldEntry(logged, EntryOutcome(TANK, ident, fate, at, entry=now))


def runs(books: CountedEntries, minute: float) -> str | None:
    batch = books.batch(TANK, DUSK + minute * MINUTE)
    return None if batch is None else batch.name


def test_what_counts_is_put_on_top() -> None:
    books = CountedEntries(brewery())
    assert books.take(told("s", START, 0)) and runs(books, 1) == "7"
    assert books.take(told("e", e.BatchEnd(), 5)) and runs(books, 6) is None


def test_what_does_not_count_is_nothing() -> None:
    books = CountedEntries(brewery())
    books.take(told("s", START, 0))
    for fate in ("waiting", "refused", "fallen-away", "repeated"):
        assert books.take(told(fate, e.BatchEnd(), 5, fate))
    assert runs(books, 6) == "7" and len(books.log) == 1


def test_what_counts_no_more_is_gone_after_a_fold() -> None:
    books = CountedEntries(brewery())
    books.take(told("s", START, 0))
    books.take(told("e", e.BatchEnd(), 5))
    assert not books.take(told("e", e.BatchEnd(), 5, "taken-back")) and not books.whole
    books.refold()
    assert books.whole and runs(books, 6) == "7"


def test_an_entry_counts_as_it_was_amended() -> None:
    books = CountedEntries(brewery())
    books.take(told("s", START, 0))
    renamed = msgspec.structs.replace(START, batch="8")
    books.take(told("s", START, 0, "amended", renamed))
    books.refold()
    assert runs(books, 1) == "8"


def test_a_late_entry_comes_where_it_belongs() -> None:
    """And whoever listens hears the entries in the order of their times."""
    books, heard = CountedEntries(brewery()), list[str]()
    books.take(told("s", START, 10))
    assert not books.take(told("h", e.Stir(), 5))
    books.refold(lambda logged: heard.append(logged.id))
    assert heard == ["h", "s"] and books.of(TANK).last_stir == DUSK + 5 * MINUTE


def test_of_one_moment_the_first_that_counted_is_the_first() -> None:
    """Also after it was taken back and counts again."""
    books, heard = CountedEntries(brewery()), list[str]()
    books.take(told("s", START, 10))
    books.take(told("h", e.Stir(), 10))
    books.take(told("s", START, 10, "taken-back"))
    books.take(told("s", START, 10))
    books.refold(lambda logged: heard.append(logged.id))
    assert heard == ["s", "h"]


def test_old_entries_are_forgotten_but_not_those_of_what_runs() -> None:
    books = CountedEntries(brewery())
    books.take(told("h", e.Stir(), -10))
    books.take(told("s", START, 0))
    books.take(told("i", e.Stir(), 10))
    late = DUSK + 10 * DAY
    assert books.forget(late) == DUSK and [one.id for one in books.log] == ["s", "i"]
    books.take(told("e", e.BatchEnd(), 20))
    assert books.forget(late) == late and books.log == [] and books.courses == {}


def test_a_batch_that_its_course_ended_holds_nothing_back() -> None:
    books = CountedEntries(brewery())
    books.take(told("s", msgspec.structs.replace(START, stage="last"), 0))
    books.forget(DUSK + 4 * DAY)
    assert len(books.log) == 1
    books.forget(DUSK + 5 * DAY)
    assert books.log == []


ENTRIES: list[tuple[str, dict[str, Any]]] = [
    ("batch-start", {"batch": "9", "course": "mash"}), ("batch-end", {}), ("stir", {}),
    ("stage", {"stage": "tome"}), ("stage", {"stage": "main"}), ("hold", {"for_": "1d"}),
    ("move", {"to": "tank-4"}), ("take-back", {}), ("amend", {"batch": "x"}),
    ("amend", {"for": "2d"}), ("confirm", {}), ("out-of-service", {}), ("in-service", {}),
]  # fmt: skip
steps = st.lists(
    st.tuples(
        st.sampled_from(ENTRIES), st.integers(0, 90), st.integers(1, 9),
        st.sampled_from([None, "aki", "cho", "dai"]), st.booleans(),
    ),
    max_size=14,
)  # fmt: skip


@given(steps)
def test_they_are_the_books_of_the_watch_that_decided(
    told: list[tuple[tuple[str, dict[str, Any]], int, int, str | None, bool]],
) -> None:
    """Whatever the crew logs, late and corrected, confirmed and fallen away."""
    night = Night()
    books, made = CountedEntries(night.house), dict[tuple[str, str], Logged]()
    for (entry, fields), late, of, by, elsewhere in told:
        night.wake(night.now + 10 * MINUTE)
        named = {"of": f"e{of}"} if entry in ("take-back", "amend", "confirm") else {}
        who = {} if by is None else {"who": by}
        at = max(night.now - late * MINUTE, DUSK)
        place = "tank-4" if elsewhere and entry != "move" else TANK
        night.log(place, entry, at=at, **fields, **named, **who)
    for fact in night.facts:
        if isinstance(fact, Logged):
            made[fact.key] = fact
        elif isinstance(fact, EntryOutcome) and not books.take(ToldEntry(made[fact.key], fact)):
            books.refold()
    theirs = night.engine.view.entry_log
    for place in (TANK, "tank-4"):
        ours, wanted = books.of(place), theirs.of(place)
        assert ours.masks == wanted.masks and ours.ended == wanted.ended
        assert (ours.batch is None) == (wanted.batch is None)
        if ours.batch is not None and wanted.batch is not None:
            assert (ours.batch.name, ours.batch.marks) == (wanted.batch.name, wanted.batch.marks)
    assert books.out == theirs.out


def test_the_course_of_a_batch_that_runs_is_kept_when_older_entries_are_forgotten() -> None:
    """Else its plan could not be built anew."""
    books = CountedEntries(brewery())
    books.take(told("s", START, 0))
    books.courses[TANK, "s"] = brewery().courses[0]
    books.courses[TANK, "gone"] = brewery().courses[0]
    books.forget(DUSK + 10 * DAY)
    assert list(books.courses) == [(TANK, "s")]


def test_entries_of_one_moment_stay_in_the_order_in_which_they_came() -> None:
    """After older ones were forgotten, too."""
    books = CountedEntries(brewery())
    for name in ("b", "a", "c"):
        books.take(told(name, e.Stir(), 5))
    books.forget(DUSK)
    late = told("a", e.Stir(), 5)
    books.take(late)
    assert [one.id for one in books.log] == ["b", "a", "c"]
