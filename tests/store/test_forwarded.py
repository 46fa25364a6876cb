"""What a receiver of the long history has, what waits for it, and what it refused."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest

from kuraban.core import entries as e
from kuraban.core.effects import Step, Turn
from kuraban.core.facts import ClockStepped, HouseChanged, Logged, Reading, Record
from kuraban.core.plan.counted_entries import ToldEntry
from kuraban.errors import JournalError
from kuraban.store.forwarded import (
    ENTRIES_BEFORE,
    SLICE,
    Forwarded,
    Progress,
    Refused,
    SetAside,
)
from kuraban.store.journal import Journal
from tests.outcomes import became


def test_each_receiver_has_its_own_place(kept: Journal, path: Path) -> None:
    """After a restart each goes on where it stopped, a new one at the beginning."""
    first = Forwarded(path, "office")
    assert first.seq() == 0
    first.move(41)
    first.move(42)
    first.close()
    again, other = Forwarded(path, "office"), Forwarded(path, "cloud")
    assert (again.seq(), other.seq()) == (42, 0)
    again.close()
    other.close()


def readings(count: int, start: float = 0.0) -> list[Record]:
    return [Reading("t3-mid", start + n, n / 16, start + n + 5) for n in range(count)]


def note(number: int, at: float = 0.0) -> Logged:
    return Logged(f"n{number}", "watch", e.Note(text="frost"), at, at)


def step(at: float) -> Step:
    return Step(
        at=at, subject="tank-3", condition="warm", step="raised", urgency="wake", value=10.9,
        planned=10.3, text="Tank 3 warm", by=None,
    )  # fmt: skip


def test_everything_is_read_once_whatever_the_batch(kept: Journal, path: Path) -> None:
    """Readings, entries, what became of them, steps and houses, none twice and none left out."""
    facts: list[Record] = [HouseChanged(0.0, "{}"), *readings(20)]
    for number in range(12):
        facts[3 * number : 3 * number] = note(number), became(note(number))
    kept.commit(Turn(now=30.0, facts=facts, story=[step(30.0)]))
    held = Forwarded(path, "office")
    for limit in (1, 2, 3, 7, 500):
        cursor, found = 0, []
        while (rows := held.rows_after(cursor, limit)).last != cursor:
            assert len(rows.readings) <= limit and len(rows.events) <= limit
            found += [row[0] for row in rows.readings] + [seq for seq, _ in rows.events]
            cursor = rows.last
        assert sorted(found) == list(range(1, 47))
    held.close()


def test_rows_of_no_interest_are_passed(kept: Journal, path: Path) -> None:
    """The cursor goes on behind them, so that nothing is looked through twice."""
    kept.commit(Turn(now=1.0, facts=[*readings(1), *readings(1)]))
    held = Forwarded(path, "office")
    rows = held.rows_after(0, 10)
    assert (len(rows.readings), rows.last) == (1, 2)
    held.close()


def test_what_ran_is_known_from_the_entries_before(kept: Journal, path: Path) -> None:
    """Those of the last months, and the house in which they were made."""
    late = ENTRIES_BEFORE + 100.0
    kept.commit(Turn(now=late, facts=[
        HouseChanged(0.0, "first"), note(1), became(note(1)), HouseChanged(1.0, "second"),
        note(2, late), became(note(2, late)), HouseChanged(late, "third"), note(3, late),
        became(note(3, late)),
    ]))  # fmt: skip
    held = Forwarded(path, "office")
    before = [what if isinstance(what, str) else what.logged.id for _, what in held.before(7)
              if isinstance(what, (str, ToldEntry))]  # fmt: skip
    assert before == ["second", "n2", "third"]
    assert held.before(0) == []
    held.close()


def test_what_is_refused_is_kept_with_the_reason(kept: Journal, path: Path) -> None:
    """Of each receiver by itself, and once where the same is refused again."""
    kept.commit(Turn(now=9.0, facts=readings(3)))
    held = Forwarded(path, "office")
    held.move(2, [SetAside(1, "reading value=1 2", "too old"), SetAside(2, "x", "no")])
    held.move(2, [SetAside(2, "x", "still no")])
    assert held.aside() == (
        SetAside(1, "reading value=1 2", "too old"),
        SetAside(2, "x", "still no"),
    )
    assert held.progress() == Progress(1, 7.0, 2, "still no")
    other = Forwarded(path, "cloud", "ro")
    assert (other.aside(), other.progress()) == ((), Progress(3, 5.0, 0, None))
    held.move(3)
    assert (held.progress().waiting, held.oldest(3)) == (0, None)
    for one in (held, other):
        one.close()


def test_what_was_refused_can_be_given_back(kept: Journal, path: Path) -> None:
    """It waits anew; what the receiver takes is gone from there, the rest has its new reason."""
    kept.commit(Turn(now=9.0, facts=readings(3)))
    held = Forwarded(path, "office")
    held.move(3, [SetAside(1, "a", "too old"), SetAside(2, "b", "no"), SetAside(3, "c", "no")])
    assert held.refused() == (Refused("no", 2, "b"), Refused("too old", 1, "a"))
    assert held.give_back() == 3 and held.refused() == ()
    assert held.given_back(2) == [(1, "a"), (2, "b")] and held.give_back() == 0
    assert held.progress() == Progress(3, None, 0, None)
    held.move(3, [SetAside(2, "b", "still no")], [1, 3])
    assert held.refused() == (Refused("still no", 1, "b"),)
    assert held.progress() == Progress(0, None, 1, "still no") and not held.given_back(9)
    held.close()


def test_many_are_given_back_and_no_other_receivers(kept: Journal, path: Path) -> None:
    """In slices; what could not be read, and so was never sent, stays."""
    held, other = Forwarded(path, "office"), Forwarded(path, "cloud")
    count = 2 * SLICE + 1
    held.move(9, [SetAside(0, "", "unread"), *(SetAside(n + 1, "x", "no") for n in range(count))])
    other.move(9, [SetAside(1, "x", "no")])
    assert held.give_back() == count and held.refused() == (Refused("unread", 1, ""),)
    assert len(held.given_back(2 * count)) == count and not other.given_back(9)
    held.close()
    other.close()


def test_a_journal_of_an_older_watch_can_be_asked(kept: Journal, path: Path) -> None:
    """Before the new one has opened it there is nothing set aside."""
    kept.close()
    db = sqlite3.connect(path)
    db.execute("DROP TABLE set_aside")
    db.close()
    held = Forwarded(path, "office", "ro")
    assert held.progress() == Progress(0, None, 0, None)
    assert held.refused() == () and held.give_back() == 0
    held.close()


def test_without_a_journal_it_is_said(path: Path) -> None:
    with pytest.raises(JournalError, match="cannot open the cursor"):
        Forwarded(path, "office")


def test_steps_of_the_clock_come_where_they_stand(kept: Journal, path: Path) -> None:
    """And whoever goes on later hears of those before."""
    step_ = ClockStepped(5.0, 3600.0, 3600.0, 1.0)
    kept.commit(Turn(now=9.0, facts=[*readings(3), step_, note(1)]))
    held = Forwarded(path, "office")
    assert [number for number, _ in held.rows_after(0, 500).events] == [4, 5]
    assert held.rows_after(0, 500).events[0] == (4, step_)
    assert held.rows_after(4, 500).events == [(5, note(1))]
    assert held.before(5) == [(4, step_)] and held.before(3) == []
    held.close()
