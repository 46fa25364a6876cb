from __future__ import annotations

import logging
import pickle
import random
from collections.abc import Iterator
from copy import copy
from pathlib import Path

import msgspec
import pytest

from kuraban.core.alarms.life_cycle import State
from kuraban.core.detectors.base import Finding
from kuraban.core.effects import Message, Step, Turn
from kuraban.core.engine.durable_state import Standing, pack, standing_of
from kuraban.core.engine.engine import Engine
from kuraban.core.facts import ClockStepped, HouseChanged, Reading
from kuraban.core.intake.wire import Wire
from kuraban.core.site import Probe, to_document
from kuraban.core.units import DAY, HOUR
from kuraban.recording import Recorded, merged
from kuraban.runtime import recovery
from kuraban.runtime.checkpoint.document import freeze, version
from kuraban.runtime.recovery import feed, live_up_to, recover, run_to
from kuraban.settings import load
from kuraban.settings.catalogues import load_words
from kuraban.store.journal import Checkpoint, Journal
from tests.core.house import DUSK, Night, brewery, mashing, words
from tests.core.standing_night import standing_night
from tests.kept import Evil
from tests.store.stored import stored, unpack

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


# ------------------------------------------------------------------------------------- an update


def serials(night: Night) -> list[str]:
    return [page.id.rpartition("-")[2] for page in night.pages()]


def journaled(night: Night, journal: Journal, written_by: str, blob: bytes | None = None) -> None:
    """All that the night's watch told, and its state as if that version had kept it."""
    if blob is None:
        kept = freeze(night.engine)
        assert kept is not None
        blob = bytes(kept.blob)
    turn = Turn(now=night.now, facts=night.facts, story=night.story, withdrawn=night.withdrawn)
    journal.commit(turn, Checkpoint(written_by, blob))


def updated(night: Night, journal: Journal, standing: Standing | None = None) -> Night:
    """The same night under a watch of another version, told anew from here on."""
    kept = freeze(night.engine)
    assert kept is not None
    document = msgspec.msgpack.decode(kept.blob)
    if standing is not None:
        document["standing"] = msgspec.Raw(pack(standing))
    document["memory"] = "what no other version knows"
    journaled(night, journal, "kuraban of last week", msgspec.msgpack.encode(document))
    after = copy(night)
    after.engine, after.facts, after.story, after.withdrawn = recover(journal, words()), [], [], []
    return after


def test_who_has_what_in_hand_outlives_an_update(journal: Journal) -> None:
    """Answers of last evening, shelves, promises and what waits for a second person; nobody is told
    anything, and everybody is told what they would have been."""
    night = standing_night()
    after = updated(night, journal)
    alarms = after.engine.alarm_manager.alarms
    warm = alarms["tank-3", "warm"]
    assert (warm.state, warm.by) == (State.ACKNOWLEDGED, "aki")
    assert warm.raised is not None and night.now - warm.raised > 20 * HOUR
    assert alarms["store", "warm"].reason == "door mended"
    assert [held.logged.id for held in after.engine.entry_handler.pending.held.values()] == ["e6"]
    assert standing_of(after.engine) == standing_of(night.engine)
    assert after.engine.drain().empty
    for one in (night, after):
        one.story.clear()
        one.run(7 * 60).log("tank-3", "confirm", of="e6", by="aki")
        one.run(14 * 60)
    assert night.steps() == after.steps() and night.rings() == after.rings()
    assert {"store/warm unshelved", "tank-4/warm realarmed", "tank-3/warm normal"} <= {
        *after.steps()
    }
    assert serials(night) == serials(after)


def test_the_wall_clock_is_known_after_an_update(journal: Journal) -> None:
    """However long ago it stepped."""
    night = standing_night()
    night.take(ClockStepped(night.now, 2 * HOUR, 2 * HOUR, night.now - 20 * HOUR))
    night.run(20 * 60)
    after = updated(night, journal)
    assert after.engine.clock == night.engine.clock != ()
    assert after.engine.view.house == night.engine.view.house


def test_an_update_long_after_the_checkpoint_loses_nothing_of_the_time_between(
    journal: Journal,
) -> None:
    """What came after it is lived through with what stood then."""
    night = standing_night()
    kept = freeze(night.engine)
    assert kept is not None
    before = len(night.facts), len(night.story)
    journaled(night, journal, "kuraban of last week")
    night.log("store", "unshelve", condition="warm", by="ken")
    night.log("store", "acknowledge", by="ken")
    night.run(60)
    journal.commit(
        Turn(now=night.now, facts=night.facts[before[0] :], story=night.story[before[1] :])
    )
    engine = recover(journal, words())
    alarm = engine.alarm_manager.alarms["store", "warm"]
    assert (alarm.state, alarm.by) == (State.ACKNOWLEDGED, "ken")
    people, known = standing_of(engine).people, standing_of(night.engine).people
    assert (people.incidents, people.rung) == (known.incidents, known.rung)
    assert engine.drain().empty


def test_what_no_longer_holds_returns_in_the_normal_way(journal: Journal) -> None:
    """Told once, to whoever listens; a page that waits is not sent any more."""
    night = standing_night()
    for name in ("cold", "far-cold"):
        night.engine.watched.conclusions.take(Finding("tank-4", name, True, night.now))
    night.log("tank-4", "acknowledge", condition="far-cold", by="aki")
    after = updated(night, journal)
    turn = after.engine.drain()
    assert {(step.alarm, step.step) for step in turn.story if isinstance(step, Step)} == {
        ("tank-4/cold", "normal"), ("tank-4/far-cold", "normal"),
    }  # fmt: skip
    assert {"tank-4/cold", "tank-4/far-cold"} <= {alarm for _, alarm in turn.withdrawn}
    assert after.engine.alarm_manager.alarms["tank-4", "cold"].state is State.NORMAL


def test_what_only_the_new_code_sees_rings_now(journal: Journal) -> None:
    """With a number that no message had, and its ladder from the first rung."""
    night = standing_night()
    night.told["t4-mid"] = 12.5
    night.run(60)
    standing = standing_of(night.engine)
    old = tuple(one for one in standing.alarms if one.condition != "far-warm")
    night.story = [
        event for event in night.story
        if not (isinstance(event, Step) and event.condition == "far-warm")
    ]  # fmt: skip
    incidents = tuple(one for one in standing.people.incidents if one.key != ("tank-4", "warm"))
    people = msgspec.structs.replace(standing.people, incidents=incidents)
    after = updated(night, journal, msgspec.structs.replace(standing, alarms=old, people=people))
    turn = after.engine.drain()
    steps = [event for event in turn.story if isinstance(event, Step)]
    assert [(step.alarm, step.step) for step in steps] == [("tank-4/far-warm", "raised")]
    pages = [event for event in turn.story if isinstance(event, Message)]
    assert [page.person for page in pages] == ["aki"]
    assert not {page.id for page in pages} & {one.id for one in night.messages("page")}
    after.run(15)
    assert after.rings()


def test_what_an_updated_watch_remembers_bears_the_name_of_the_code_that_ran(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its files are replaced while it runs, and its first checkpoint is the one of its end."""
    version.cache_clear()
    path = tmp_path / "night.journal"
    journal = Journal.open(path)
    engine = recover(journal, words())
    feed(engine, HouseChanged(DUSK, to_document(brewery())))
    ours = version.__wrapped__()
    monkeypatch.setattr("kuraban.__version__", "of the morning")
    kept = freeze(engine)
    journal.close()
    assert kept is not None and kept.version == ours != version.__wrapped__()


def test_an_old_answer_outlives_a_kept_state_that_nobody_can_read(journal: Journal) -> None:
    """The journal tells who has it; nobody is rung, and what was promised is promised anew."""
    night = standing_night()
    night.run(10 * 60)
    journaled(night, journal, "kuraban of last year", b"a form that nobody knows any more")
    after = copy(night)
    after.engine, after.story = recover(journal, words()), []
    warm = after.engine.alarm_manager.alarms["tank-3", "warm"]
    assert (warm.state, warm.by) == (State.ACKNOWLEDGED, "aki")
    assert after.engine.drain().empty
    after.run(170)
    assert "tank-3/warm realarmed" not in after.steps()
    assert "tank-3/warm realarmed" in after.run(20).steps()


def test_a_condition_that_is_no_more_is_left_out_and_said(
    journal: Journal, caplog: pytest.LogCaptureFixture
) -> None:
    night = standing_night()
    standing = standing_of(night.engine)
    alarms = [msgspec.structs.replace(one, condition="sour") for one in standing.alarms[:1]]
    changed = msgspec.structs.replace(standing, alarms=(*standing.alarms, *alarms))
    after = updated(night, journal, changed)
    assert "tank-3/sour stood, and no such condition is known any more" in caplog.text
    assert ("tank-3", "sour") not in after.engine.alarm_manager.alarms
    after.run(60)


def test_a_probe_that_hangs_in_the_air_since_yesterday_is_seen_to(journal: Journal) -> None:
    """It is lived through from before the step, however long ago: else it would ring as cold."""
    house = msgspec.structs.replace(
        brewery(), probes=(*brewery().probes, Probe(id="t3-air", of="tank-3", measures="air"))
    )
    night = mashing(house)
    night.told["t3-air"] = 4.0
    night.run(180)
    night.told["t3-mid"] = 4.0
    night.run(60)
    night.log("t3-mid", "acknowledge", by="ken")
    night.run(180).log("tank-3", "acknowledge", by="aki")
    night.run(30 * 60)
    assert night.steps() == [
        "t3-mid/displaced raised", "t3-mid/displaced acknowledged", "tank-3/unwatched raised",
        "tank-3/unwatched acknowledged",
    ]  # fmt: skip
    after = updated(night, journal)
    assert after.engine.drain().empty
    after.run(120)
    assert after.steps() == [] and not after.pages()


# ------------------------------------------------------------------------- what cannot be read


def hostile(good: bytes, folder: Path) -> dict[str, bytes]:
    lots = random.Random("hostile")
    standing_alone = msgspec.msgpack.encode({"kuraban": 1, "standing": {"version": 1, "now": 1.0}})
    return {
        "nothing": b"",
        "a pickle": pickle.dumps(Evil(folder)),
        "an old checkpoint": pickle.dumps({"engine": [1.0] * 1000}),
        "noise": lots.randbytes(5000),
        "noise that begins well": good[:200] + lots.randbytes(5000),
        "the first half": good[: len(good) // 2],
        "all but a byte": good[:-1],
        "a byte too many": good + b"\x00",
        "another form": good.replace(b"kuraban\x01", b"kuraban\x63", 1),
        "another version": good.replace(b"version\x01", b"version\x63", 1),
        "another class": good.replace(b"life_cycle.Alarm", b"life_cycle.Event"),
        "no class": good.replace(b"kuraban.core.alarms.life_cycle.Alarm", b"os.system" + b"x" * 27),
        "a method": good.replace(b"in_hand_until", b"__class__abcd"),
        "a hole": b"\x83\xa7kuraban\x01\xa8standing" + b"\x91" * 100_000,
        "a huge length": b"\x83\xa7kuraban\x01\xa8standing\xdf\xff\xff\xff\xff",
        "half a document": standing_alone,
    }  # fmt: skip


@pytest.mark.parametrize("what", hostile(b"kuraban", Path()).keys())
def test_what_is_no_state_is_one_line_and_the_watch_is_built_anew(
    journal: Journal, tmp_path: Path, caplog: pytest.LogCaptureFixture, what: str
) -> None:
    """No code of it runs, and the night goes on as the journal's facts tell it."""
    night = mashing()
    night.told["t3-mid"] = 10.9
    night.run(90)
    kept = freeze(night.engine)
    assert kept is not None
    blob = hostile(bytes(kept.blob), tmp_path / "made")[what]
    assert blob != bytes(kept.blob)
    journaled(night, journal, kept.version, blob)
    with caplog.at_level(logging.INFO, "kuraban"):
        engine = recover(journal, words())
    assert len(caplog.records) == 1 and "cannot be read" in caplog.text
    assert not (tmp_path / "made").exists()
    assert engine.drain().empty
    assert engine.alarm_manager.alarms["tank-3", "warm"].state is State.UNACKNOWLEDGED
    after = copy(night)
    after.engine = engine
    night.story, after.story = [], []
    assert after.run(60).steps() == night.run(60).steps()


@pytest.mark.parametrize("packed", stored(), ids=lambda path: path.name)
def test_a_checkpoint_of_an_older_kuraban_is_passed_over(
    tmp_path: Path, caplog: pytest.LogCaptureFixture, packed: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It was code, and is not loaded any more."""
    journal = Journal.open(unpack(packed, tmp_path / "kuraban.journal"))
    found = journal.load_checkpoint()
    assert found is not None
    monkeypatch.setattr(recovery, "version", lambda: found[1])
    with caplog.at_level(logging.INFO, "kuraban"):
        engine = recover(journal, words())
    assert len(caplog.records) == 1 and "cannot be read" in caplog.text
    assert engine.started and len(engine.entry_handler.known)
    journal.close()


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


def test_how_the_clock_stands_is_known_after_an_upgrade(journal: Journal) -> None:
    """A step of weeks ago lies before the hours that the watch lives through again."""
    lines = night("demo-night")
    at = int(len(lines) * 0.8)
    engine = Engine(WORDS)
    engine.take(HouseChanged(lines[0].at - 30 * DAY, to_document(HOUSE)))
    step = ClockStepped(lines[0].at - 30 * DAY, -3600.0, -3600.0, lines[0].at - 31 * DAY)
    engine.take(step)
    before = live(engine, lines[:at], journal)
    journal.commit(Engine(WORDS).drain(), Checkpoint("of another age", b"unreadable"))
    journal._db.execute("UPDATE state SET now = ?", (lines[at - 1].at,))
    again = recover(journal, WORDS)
    assert again.clock == engine.clock == again.view.house.clock
    assert before and again.view.house.zone != HOUSE.zone


def test_whoever_lives_through_months_ends_when_asked() -> None:
    """Within a day of them, and the next start goes on from there."""
    night = mashing()
    began, asked = night.engine.now, iter((False, False, False, True, True))
    assert not live_up_to(night.engine, began + 90 * DAY, lambda: next(asked))
    assert night.engine.now == began + 3 * DAY
    assert live_up_to(night.engine, began + 5 * DAY, lambda: False)
    assert night.engine.now == began + 5 * DAY
