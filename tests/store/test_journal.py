from __future__ import annotations

import contextlib
import os
import random
import signal
import sqlite3
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import msgspec
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from kuraban.core.effects import Step
from kuraban.core.entries import Acknowledge, Aim, Duration, Moment, Note, Plan, TakeBack
from kuraban.core.facts import (
    ClockStepped,
    Delivered,
    Fact,
    HouseChanged,
    Impaired,
    Logged,
    Reading,
    Refusal,
)
from kuraban.errors import JournalError
from kuraban.store.connection import damaged
from kuraban.store.history import History
from kuraban.store.journal import Checkpoint, Journal, open_or_set_aside
from tests.store.nights import EVENING, logged, notice, page, reading, step, turn

NAN = float("nan")


def test_a_new_journal_knows_nothing(journal: Journal) -> None:
    """Before the first turn there is no time, no checkpoint, no fact and no fault."""
    assert journal.now() is None
    assert journal.load_checkpoint() is None
    assert list(journal.facts_after()) == []
    assert journal.verify() == []


def test_everything_comes_back_in_the_order_it_came(journal: Journal) -> None:
    """Readings, entries and the rest are told again as they were taken, whatever their kind."""
    at = EVENING
    facts: list[Fact] = [
        HouseChanged(at, '{"site":{}}'),
        reading(0),
        logged("e1", Acknowledge(condition="warm", for_=Duration(5400.5))),
        Reading("t3-mid", at - 900, 10.25, at + 1, at + 4000, retained=True, late=True),
        Refusal("kura/reading/t3-mid", at + 2, "not a number", "warm\\xff\x00", "t3-mid", True),
        Refusal("kura/nonsense", at + 3, "unknown topic", ""),
        Impaired("pages", True, at + 4, "port taken"),
        Delivered("m1", "aki", at + 4, at + 5, False, 3, "no answer"),
        Logged("e2", "tank-3", Aim(celsius=9.5, by=Moment(at + 0.125)), at, at + 6, seen=10.4),
        logged("e3", Plan(points=((Moment(at), 10.0), (Moment(at + 3600), 9.5))), 1),
        logged("e4", TakeBack(of="e3", reason="wrong tank"), 2),
        reading(3, 10.75),
        ClockStepped(at + 200, -32400.0, -32399.0, at, watched=False),
    ]
    journal.commit(turn(3, *facts))
    assert list(journal.facts_after()) == facts
    assert list(journal.facts_after(until=at + 4)) == facts[:7]
    assert list(journal.facts_after(8)) == facts[8:]


@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(st.lists(st.floats(allow_nan=False, allow_infinity=False), min_size=1, max_size=20))
def test_a_value_comes_back_to_the_last_bit(
    opened: Callable[[], Journal], values: list[float]
) -> None:
    """A replay judges exactly the numbers that the watch judged, so none may be rounded."""
    journal = opened()
    facts = [reading(minute, value + 0.0) for minute, value in enumerate(values)]
    journal.commit(turn(1, *facts))
    assert [fact.value.hex() for fact in journal.facts_after() if isinstance(fact, Reading)] == [
        fact.value.hex() for fact in facts
    ]


@pytest.mark.parametrize(
    "broken",
    [
        reading(2, NAN),
        Logged("e9", "tank-3", Note(text="x"), NAN, EVENING),
        msgspec.structs.replace(step("raised"), at=NAN),
    ],
    ids=["reading", "entry", "step"],
)
def test_a_turn_is_whole_or_not_at_all(journal: Journal, broken: Reading | Logged | Step) -> None:
    """One row that cannot be written leaves nothing of its turn, and the next turn goes well."""
    journal.commit(turn(0, reading(0)))
    with pytest.raises(JournalError, match="cannot write a turn"):
        journal.commit(
            turn(1, reading(1, probe="new"), logged("e1"), step("raised"), page("m1"), broken),
            Checkpoint("1", b"x"),
        )
    assert list(journal.facts_after()) == [reading(0)]
    assert journal.now() == EVENING
    assert journal.load_checkpoint() is None
    journal.commit(turn(2, reading(1, probe="new"), logged("e1"), page("m1")))
    assert list(journal.facts_after(1)) == [reading(1, probe="new"), logged("e1")]
    assert journal.verify() == []


def test_what_the_broker_sends_again_counts_once(kept: Journal, path: Path) -> None:
    """The first reading of a moment is kept; the same entry or message again is nothing."""
    kept.commit(turn(0, reading(0, 10.5), reading(0, 10.9), logged("e1"), page("m1")))
    kept.commit(turn(1, reading(0, 10.5), logged("e1"), page("m1"), reading(1)))
    assert list(kept.facts_after()) == [reading(0, 10.5), logged("e1"), reading(1)]
    history = History(path)
    assert [message.id for message in history.messages(0, 2 * EVENING)] == ["m1"]
    assert (history.counts().duplicates, history.unsent()) == (3, 1)
    history.close()
    assert kept.verify() == []


def test_a_checkpoint_says_how_far_it_covers(journal: Journal) -> None:
    """After a start only what came later than the checkpoint has to be read."""
    journal.commit(turn(0, reading(0), step("raised"), page("m1")), Checkpoint("7", b"\x00first"))
    journal.commit(turn(1, reading(1)))
    found = journal.load_checkpoint()
    assert found is not None
    assert found[1:] == ("7", b"\x00first")
    assert list(journal.facts_after(found[0])) == [reading(1)]
    journal.commit(turn(2), Checkpoint("8", b"second"))
    assert journal.load_checkpoint() == (found[0] + 1, "8", b"second")
    assert journal.now() == EVENING + 120


def test_the_journal_of_yesterday_goes_on_today(path: Path) -> None:
    """Closed and opened again, it numbers on, and the chain fits across the night."""
    for day in range(3):
        journal = Journal.open(path)
        journal.commit(turn(day, reading(day), logged(f"e{day}"), step("raised", day)))
        assert journal.verify() == []
        journal.close()
    journal = Journal.open(path)
    assert len(list(journal.facts_after())) == 6
    journal.close()


def test_the_last_thousand_refusals_of_a_probe_are_kept(kept: Journal, path: Path) -> None:
    """A probe that babbles fills no disk, hides no other probe, and is counted in full."""
    babble = [Refusal("kura/reading/a", EVENING + n, f"no {n}", "", "a") for n in range(2500)]
    kept.commit(turn(0, *babble[:1200]))
    kept.commit(turn(1, *babble[1200:], Refusal("x", EVENING, "unknown topic", "")))
    history = History(path)
    assert list(history.refusals("a")) == babble[:1499:-1]
    assert [(one.probe, one.total) for one in history.refusal_counts()] == [(None, 1), ("a", 2500)]
    history.close()


def test_another_programs_file_is_left_alone(path: Path) -> None:
    """A data base that is not ours is neither written to nor renamed."""
    other = sqlite3.connect(path)
    other.execute("CREATE TABLE recipe(name)")
    other.close()
    with pytest.raises(JournalError, match="another program"):
        open_or_set_aside(path)
    assert [file.name for file in path.parent.iterdir()] == [path.name]


def test_a_newer_watchs_journal_is_left_alone(path: Path) -> None:
    """After a step back to an older version the message says which version can go on."""
    Journal.open(path).close()
    newer = sqlite3.connect(path)
    newer.execute("PRAGMA user_version = 99")
    newer.close()
    with pytest.raises(JournalError, match="newer kuraban \\(schema 99"):
        open_or_set_aside(path)


@pytest.mark.parametrize("harm", ["no data base", "torn", "first row gone"])
def test_a_damaged_journal_is_set_aside(path: Path, harm: str) -> None:
    """The watch begins a new journal within the minute, and the old one stays for the morning."""
    _harm(path, harm)
    with pytest.raises(JournalError, match=str(path)) as caught:
        Journal.open(path)
    assert damaged(caught.value)
    before = path.read_bytes()
    journal, aside = open_or_set_aside(path)
    assert aside == path.with_name(f"{path.name}.damaged-1")
    assert aside.read_bytes() == before
    journal.commit(turn(0, reading(0)))
    journal.close()
    again, none = open_or_set_aside(path)
    assert none is None
    again.close()
    path.write_bytes(b"torn once more" * 400)
    journal, aside = open_or_set_aside(path)
    assert aside is not None and aside.name.endswith(".damaged-2")
    journal.close()


def _harm(path: Path, harm: str) -> None:
    if harm == "no data base":
        path.write_bytes(b"brewer's notes, not a data base\n" * 500)
        return
    journal = Journal.open(path)
    for minute in range(50):
        journal.commit(turn(minute, *(reading(minute + n / 100) for n in range(100))))
    if harm == "first row gone":
        journal._db.execute("DELETE FROM state")
    journal.close()
    if harm == "torn":
        with path.open("r+b") as file:
            file.truncate(path.stat().st_size // 8192 * 4096)


def test_damage_deep_down_is_met_while_reading(path: Path) -> None:
    """A bad spot among old readings shows when they are read, as damage of the file."""
    journal = Journal.open(path)
    for minute in range(50):
        journal.commit(turn(minute, *_hundred(minute)))
    journal.close()
    with path.open("r+b") as file:
        file.seek(path.stat().st_size // 2)
        file.write(b"\xff" * 16384)
    journal = Journal.open(path)
    with pytest.raises(JournalError) as caught:
        list(journal.facts_after())
    assert damaged(caught.value)
    assert journal.verify()[0].key == "data base"
    journal.close()


def test_a_folder_is_no_journal(tmp_path: Path) -> None:
    """A path that cannot be a file is said plainly, and nothing is renamed."""
    with pytest.raises(JournalError, match="must be a file"):
        open_or_set_aside(tmp_path)
    (tmp_path / "file").touch()
    with pytest.raises(JournalError, match="must be a file"):
        Journal.open(tmp_path / "file" / "kuraban.journal")


@pytest.mark.needs_root
def test_a_full_disk_loses_no_turn_that_was_confirmed(small_disk: Path) -> None:
    """The turn that no longer fits is refused whole; with space again the journal goes on."""
    ballast = small_disk / "ballast"
    ballast.write_bytes(b"x" * 200_000)
    journal = Journal.open(small_disk / "kuraban.journal")
    whole = 0
    with pytest.raises(JournalError, match="free some space"):
        while True:
            journal.commit(turn(whole, *_hundred(whole), logged(f"e{whole}")))
            whole += 1
    assert whole > 3
    assert len(list(journal.facts_after())) == 101 * whole
    ballast.unlink()
    journal.commit(turn(whole, *_hundred(whole), logged(f"e{whole}")))
    assert len(list(journal.facts_after())) == 101 * (whole + 1)
    assert journal.verify() == []
    journal.close()


def _hundred(minute: int) -> list[Reading]:
    return [reading(minute, probe=f"p{n}") for n in range(100)]


@pytest.mark.needs_root
def test_no_journal_begins_on_a_full_disk(small_disk: Path) -> None:
    """Where not even a new journal fits, the start says that space is wanted."""
    with contextlib.suppress(OSError):
        (small_disk / "ballast").write_bytes(b"x" * 2_000_000)
    with pytest.raises(JournalError, match="free some space"):
        open_or_set_aside(small_disk / "kuraban.journal")


@pytest.mark.needs_root
def test_a_disk_that_became_read_only_is_said_at_the_start(small_disk: Path) -> None:
    """A memory card that locked itself is found out at the start, not at the first reading."""
    path = small_disk / "kuraban.journal"
    Journal.open(path).close()
    subprocess.run(("mount", "-o", "remount,ro", small_disk), check=True)
    with pytest.raises(JournalError, match=r"allowed to write|may write"):
        open_or_set_aside(path)
    assert [file.name for file in small_disk.iterdir()] == [path.name]


def test_a_file_that_may_not_be_written_stops_the_turn(kept: Journal) -> None:
    """A connection without the right to write refuses the turn and says what is wanted."""
    kept.commit(turn(0, reading(0)))
    kept._db.execute("PRAGMA query_only = ON")
    with pytest.raises(JournalError, match="allowed to write"):
        kept.commit(turn(1, reading(1)))
    assert list(kept.facts_after()) == [reading(0)]


CHILD = """
import sys
from pathlib import Path
from kuraban.store.journal import Checkpoint, Journal
from tests.store.nights import logged, page, reading, step, turn

journal = Journal.open(Path(sys.argv[1]))
now = journal.now()
first = 0 if now is None else round((now - {evening}) / 60) + 1
for minute in range(first, 100_000):
    facts = [reading(minute, probe=f"p{{n}}") for n in range(40)]
    story = [step("raised", minute), page(f"m{{minute}}")]
    done = Checkpoint("1", b"x" * 5000)
    journal.commit(turn(minute, *facts, logged(f"e{{minute}}", minute=minute), *story), done)
    print(minute, flush=True)
"""


def test_a_watch_that_is_killed_leaves_whole_turns_only(path: Path) -> None:
    """Killed at any moment, every confirmed turn is there and none by halves."""
    dice = random.Random(33)
    for _ in range(6):
        confirmed = _kill_while_writing(path, dice)
        journal = Journal.open(path)
        now = journal.now()
        assert now is not None
        turns = round((now - EVENING) / 60) + 1
        assert turns in (confirmed + 1, confirmed + 2)
        facts = list(journal.facts_after())
        assert len(facts) == 41 * turns
        assert facts[-1] == logged(f"e{turns - 1}", minute=turns - 1)
        checkpoint = journal.load_checkpoint()
        assert checkpoint is not None and checkpoint[0] == 43 * turns
        assert journal.verify() == []
        journal.close()
        history = History(path)
        assert len(list(history.steps(0, 2 * EVENING))) == history.unsent() == turns
        history.close()


def _kill_while_writing(path: Path, dice: random.Random) -> int:
    """Run the child for a while; the last turn that it said was written."""
    command = [sys.executable, "-c", CHILD.format(evening=EVENING), str(path)]
    root = Path(__file__).parents[2]
    child = subprocess.Popen(
        command,
        stdout=subprocess.PIPE,
        text=True,
        cwd=root,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(["", *sys.path])},
    )
    assert child.stdout is not None
    said = [child.stdout.readline() for _ in range(dice.randint(1, 60))]
    with contextlib.suppress(subprocess.TimeoutExpired):
        child.wait(dice.random() * 0.01)
    child.send_signal(signal.SIGKILL)
    said += child.stdout.readlines()
    child.wait()
    child.stdout.close()
    return int(said[-1])


def test_notices_are_kept_in_their_own_words(kept: Journal, path: Path) -> None:
    """Every message ever made can be read again, in the language it was made in."""
    kept.commit(turn(0, notice("m1"), page("m2", "tank-3/warm", "tank-4/warm")))
    history = History(path)
    assert list(history.messages(0, 2 * EVENING)) == [
        notice("m1"),
        page("m2", "tank-3/warm", "tank-4/warm"),
    ]
    history.close()
