from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from kuraban.core.entries import Addition, Amend, BatchEnd, Stir, TakeBack
from kuraban.core.facts import ClockStepped, EntryOutcome, HouseChanged, Refusal
from kuraban.errors import JournalError
from kuraban.store.history import BatchCourse, History, RefusalCount
from kuraban.store.journal import Journal
from tests.outcomes import became
from tests.store.nights import EVENING, logged, page, reading, step, turn

ALWAYS = (0.0, 2 * EVENING)


@pytest.fixture
def history(kept: Journal, path: Path) -> Iterator[History]:
    history = History(path)
    yield history
    history.close()


def test_who_reads_cannot_write(history: History) -> None:
    """Whatever a page asks for, the journal stays as it is."""
    with pytest.raises(JournalError, match="allowed to write"):
        list(history._each("DELETE FROM state", ()))


def test_no_history_without_a_journal(path: Path) -> None:
    """Looking begins no journal."""
    with pytest.raises(JournalError, match="cannot read the journal"):
        History(path)
    assert not path.exists()


def test_a_new_journal_has_no_history(history: History) -> None:
    """Before the first turn every question has an empty answer."""
    assert (history.now(), history.house(), history.unsent()) == (None, None, 0)
    assert list(history.readings("t3-mid", *ALWAYS)) == []
    assert not (history.standing() or history.probes_last() or history.refusal_counts())


def test_a_curve_is_in_the_order_of_its_times(kept: Journal, history: History) -> None:
    """A backfill that came late lies where it belongs; the end of a span is the next one's."""
    kept.commit(turn(9, reading(3), reading(1), reading(2), reading(2, probe="t4-mid")))
    start = EVENING + 60
    assert list(history.readings("t3-mid", start, start + 120)) == [
        (start, 10.5),
        (start + 60, 10.5),
    ]
    assert list(history.readings("nobody", *ALWAYS)) == []


def test_a_forwarder_reads_on_where_it_stopped(kept: Journal, history: History) -> None:
    """Every fact beyond a number, each with its own."""
    kept.commit(turn(9, reading(1), logged("e1"), reading(2), reading(3)))
    assert list(history.facts_after(1)) == [(2, logged("e1")), (3, reading(2)), (4, reading(3))]


def test_entries_stand_beside_their_corrections(kept: Journal, history: History) -> None:
    """Nothing is overwritten: the old entry and what corrects it can both be read."""
    old, other = logged("e1", minute=1), logged("e2", minute=2, on="tank-4")
    back = logged("e3", TakeBack(of="e1"), 3)
    amended = logged("e4", Amend(of="e1", fields={"text": "not so quiet"}), 4)
    kept.commit(turn(5, other, old, back, amended))
    assert list(history.entries(None, *ALWAYS)) == [old, other, back, amended]
    assert list(history.entries("tank-4", *ALWAYS)) == [other]


def test_each_entry_is_told_as_it_stands(kept: Journal, history: History) -> None:
    """Counted, amended, refused with the reason, waiting; not decided while it lies ahead."""
    ice = Addition(what="ice", kg=20)
    less = Addition(what="ice", kg=12)
    one, two, three, ahead = (logged(f"e{n}", ice, n) for n in range(1, 5))
    outcomes = [
        became(one), EntryOutcome("tank-3", "e1", "amended", EVENING + 300, ("tank-3", "a"), "aki",
                                  "", less),
        EntryOutcome("tank-3", "e2", "refused", EVENING + 120, reason="no batch runs"),
        became(three, "waiting"),
    ]  # fmt: skip
    kept.commit(turn(5, one, two, three, ahead, *outcomes))
    told = list(history.told(None, *ALWAYS))
    assert [entry.logged for entry in told] == [one, two, three, ahead]
    assert [entry.outcome for entry in told] == [*outcomes[1:], None]
    assert [entry.as_it_counts.entry for entry in told] == [less, ice, ice, ice]
    assert [logged.entry for logged in history.counting(None, *ALWAYS)] == [less]
    assert history.told_of("tank-3", "e2") == told[1]
    assert history.told_of("tank-4", "e2") is None


def test_it_is_known_how_an_entry_stood_then(kept: Journal, history: History) -> None:
    """For a recording that begins in the middle."""
    end = logged("end", BatchEnd(), 1)
    kept.commit(turn(90, end, became(end, "waiting"), became(end, "confirmed", EVENING + 3600)))
    fates = [
        told.outcome and told.outcome.fate
        for at in (EVENING, EVENING + 60, EVENING + 3599, EVENING + 3600)
        for told in history.told(None, *ALWAYS, known_by=at)
    ]
    assert fates == [None, "waiting", "waiting", "confirmed"]


def test_what_was_refused_stays_refused_whatever_else_is_refused(
    kept: Journal, history: History
) -> None:
    """A thousand messages of junk push no reason out of the journal."""
    end = logged("end", BatchEnd(), 1)
    no = EntryOutcome("tank-3", "end", "refused", EVENING + 60, reason="no batch runs in tank-3")
    kept.commit(turn(1, end, no))
    junk = [Refusal("kura/attic", EVENING + 61 + n, "no such topic", "x") for n in range(1100)]
    kept.commit(turn(30, *junk))
    assert sum(1 for _ in history.refusals(None)) == 1000
    assert list(history.counting("tank-3", *ALWAYS)) == []
    told = history.told_of("tank-3", "end")
    assert told is not None and told.outcome == no


def test_outcomes_are_followed_in_the_order_in_which_they_were_decided(
    kept: Journal, history: History
) -> None:
    """Each with its entry; and what became of each first, or by which it counted first."""
    end, stir = logged("end", BatchEnd(), 1), logged("stir", Stir(), 2)
    decided = [became(end, "waiting"), became(stir), became(end, "confirmed", EVENING + 200),
               became(stir, "taken-back", EVENING + 300)]  # fmt: skip
    kept.commit(turn(9, end, stir, *decided))
    followed = list(history.outcomes_after(0))
    assert [told.outcome for _, told in followed] == decided
    assert [link for link, _ in followed] == [3, 4, 5, 6] and history.last_outcome() == 6
    assert [told.logged for _, told in history.outcomes_after(4)] == [end, stir]
    first = [told.outcome for told in history.first_fates(0)]
    assert first == decided[:2]
    counted = [told.outcome for told in history.first_fates(0, counting=True)]
    assert counted == [decided[1], decided[2]]
    (late,) = history.first_fates(EVENING + 100)
    assert late.logged == stir
    assert sorted(history.ids()) == [("tank-3", "end"), ("tank-3", "stir")]


def test_an_alarm_stands_until_it_is_normal(kept: Journal, history: History) -> None:
    """The list of standing alarms shows each one's last step, and none that is over."""
    over = [step("raised", 1), step("returned", 2), step("normal", 3)]
    stands = [step("raised", 1, "silent", "t3-mid"), step("acknowledged", 4, "silent", "t3-mid")]
    kept.commit(turn(5, *over, *stands))
    assert history.standing() == (stands[-1],)
    assert list(history.steps(EVENING + 120, EVENING + 240)) == over[1:]
    kept.commit(turn(6, step("raised", 6)))
    assert history.standing() == (stands[-1], step("raised", 6))


def test_refusals_are_counted_by_probe(kept: Journal, history: History) -> None:
    """Unknown topics share one count; bus error codes are told apart."""
    kept.commit(
        turn(
            1,
            Refusal("kura/reading/a", EVENING, "bus error code", "85.0", "a", True),
            Refusal("kura/reading/a", EVENING, "not a number", "warm", "a"),
            Refusal("kura/x", EVENING, "unknown topic", ""),
            Refusal("kura/y", EVENING, "unknown topic", ""),
        )
    )
    assert history.refusal_counts() == (RefusalCount(None, 2, 0), RefusalCount("a", 2, 1))
    assert [one.topic for one in history.refusals(None)] == ["kura/y", "kura/x"]


def test_every_probe_has_its_last_word(kept: Journal, history: History) -> None:
    """The newest by its own time, whatever came in last."""
    kept.commit(turn(9, reading(5, 10.7), reading(2, 10.1), reading(3, 4.0, "store-air")))
    assert history.probes_last() == (reading(3, 4.0, "store-air"), reading(5, 10.7))


def test_a_batch_keeps_its_own_course(kept: Journal, history: History) -> None:
    """A course file edited later changes no batch that runs, nor what the journal says of it."""
    kept.commit(turn(1, HouseChanged(EVENING, "{}")), courses=[("No. 12", "tank-3", '{"id":"a"}')])
    kept.commit(turn(2, HouseChanged(EVENING + 9, '{"x":1}')))
    assert history.courses("No. 12") == (
        BatchCourse("No. 12", "tank-3", EVENING + 60, '{"id":"a"}'),
    )
    assert history.house() == '{"x":1}'


def test_conflicts_are_counted(kept: Journal, history: History) -> None:
    """Two values for one moment are a fault worth seeing, so their number stays."""
    for minute in range(3):
        one = turn(minute)
        one.conflicts = 2
        kept.commit(one)
    assert history.counts().conflicts == 6


def test_looking_does_not_hold_up_the_watch(kept: Journal, history: History) -> None:
    """A page half read sees the night as it was, and the next turn is written meanwhile."""
    kept.commit(turn(1, *(reading(minute) for minute in range(100))))
    half = history.readings("t3-mid", *ALWAYS)
    next(half)
    kept.commit(turn(2, reading(200), page("m1")))
    assert len(list(half)) == 99
    assert history.now() == EVENING + 120


def test_it_tells_how_the_wall_clock_stepped(kept: Journal, path: Path) -> None:
    """Oldest first; a journal that waits for a newer watch knows of no steps."""
    steps = [ClockStepped(5.0, 3600.0, 3600.0, 1.0), ClockStepped(9.0, -60.0, 3540.0, 1.0, False)]
    kept.commit(turn(10, *steps))
    history = History(path)
    assert history.clock_steps() == tuple(steps)
    kept._db.execute("DROP TABLE clock_step")
    assert history.clock_steps() == ()
    assert list(history.facts_after()) == []
    history.close()
