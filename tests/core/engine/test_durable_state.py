"""What outlives every update: read off one engine, laid over another, and kept as data."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import msgspec
import pytest
from hypothesis import Phase, example, given, settings
from hypothesis import strategies as st

from kuraban.core.alarms.alarm_manager import Doubted
from kuraban.core.alarms.life_cycle import Alarm, State
from kuraban.core.deadlines import (
    BatchEnded,
    EntryCounts,
    Evening,
    Morning,
    PromiseDue,
    ShelfEnds,
)
from kuraban.core.detectors.base import Finding
from kuraban.core.engine.durable_state import (
    VERSION,
    AlarmState,
    IncidentState,
    Standing,
    lay_over,
    pack,
    standing_of,
    unpack,
)
from kuraban.core.engine.engine import Engine
from kuraban.core.entries import Duration, Stir
from kuraban.core.facts import Impaired, Logged
from kuraban.core.notify.incidents import Incident
from kuraban.core.units import HOUR, MINUTE
from tests.core.busy_night import DAWN, facts
from tests.core.house import Bell, brewery, mashing, words
from tests.core.standing_night import stored
from tests.kept import kept_and_read

few = settings(max_examples=8, phases=[Phase.explicit, Phase.generate])


def busy(number: int) -> Engine:
    """The busy night after so many facts."""
    engine = Engine(words())
    for fact in facts()[:number]:
        engine.take(fact)
    engine.drain()
    return engine


@cache
def at_dawn() -> Engine:
    engine = busy(len(facts()))
    engine.wake(DAWN)
    engine.drain()
    return engine


@few
@given(st.integers(1, len(facts())))
@example(len(facts()))
def test_what_stands_is_kept_whole(number: int) -> None:
    """Packed and read it is the same, and so it is laid over an engine that has lived the same."""
    engine = busy(number)
    standing = standing_of(engine)
    assert unpack(pack(standing)) == standing
    again = kept_and_read(engine, words())
    assert lay_over(again, standing) == []
    assert standing_of(again) == standing
    assert again.drain().empty


def test_an_alarm_and_an_incident_are_told_to_the_last_value() -> None:
    """Whoever gives them one more says here whether it must outlive an update."""
    assert set(AlarmState.__struct_fields__) == set(Alarm.__slots__)
    assert IncidentState.__struct_fields__ == Incident.__struct_fields__


def test_the_busy_night_leaves_something_of_everything() -> None:
    """Else the tests above would say little."""
    standing = standing_of(at_dawn())
    assert {alarm.state for alarm in standing.alarms} >= {State.NORMAL, State.OUT_OF_SERVICE}
    assert standing.known and standing.night and standing.people.sent
    assert standing.people.serial > 10 and standing.night_since > 0


def test_people_and_parts_and_entries_ahead_are_in_it() -> None:
    """A promise, a shelf, an entry for later, one that waits, what fails of the watch itself."""
    night = mashing()
    night.told |= {"t3-mid": 11.5, "s-air": 9.5}
    night.run(90)
    night.log("tank-3", "acknowledge", by="aki", for_="6h")
    night.log("store", "shelve", condition="warm", for_="4h", reason="door mended", by="ken")
    night.log("tank-4", "batch-end", by="cho")
    night.take(Impaired("broker", True, night.now))
    night.engine.alarm_manager.doubted.append(Doubted("t4-mid", night.now - 60.0, night.now))
    stir = Logged("s1", "tank-3", Stir(for_=Duration(600.0)), night.now + HOUR, night.now)
    night.take(stir)
    standing = unpack(pack(standing_of(night.engine)))
    kinds = {type(deadline).__name__ for _, deadline in standing.deadlines}
    assert kinds >= {"PromiseDue", "ShelfEnds", "EntryCounts", "PartFailing"}
    (entry,) = [d.logged.entry for _, d in standing.deadlines if isinstance(d, EntryCounts)]
    assert isinstance(entry, Stir) and type(entry.for_) is Duration
    assert [held.subject for held in standing.pending] == ["tank-4"]
    assert standing.impaired == {"broker-lost": night.now}
    assert standing.doubted == (Doubted("t4-mid", night.now - 60.0, night.now),)
    assert len(standing.known) == 8 * len(night.engine.entry_handler.known)


def test_the_words_of_the_day_are_every_engines_own() -> None:
    """They follow from the site's clock; to carry them over would tell them twice."""
    engine = mashing().engine
    own = {type(item.deadline) for item in engine.deadlines.items}
    assert own >= {Morning, Evening}
    assert not {type(d) for _, d in standing_of(engine).deadlines} & {Morning, Evening, BatchEnded}
    lay_over(engine, standing_of(engine))
    assert {type(item.deadline) for item in engine.deadlines.items} == own


def test_what_is_over_returns_and_what_is_new_rings() -> None:
    """Over an engine that sees it otherwise than the one that was kept."""
    old, new = Bell(), Bell()
    old.find("tank-3", "cold")
    old.find("tank-4", "cold")
    old.log("tank-4", "acknowledge", by="aki")
    new.find("store", "warm", since=new.now - HOUR, worse=1.0)
    new.story.clear()
    assert lay_over(new.engine, standing_of(old.engine)) == []
    new.on(0)
    assert new.steps() == ["tank-3/cold returned", "tank-4/cold normal", "store/warm raised"]
    assert [page.alarms for page in new.pages()] == [("store/warm",)]
    warm = new.engine.alarm_manager.alarms["store", "warm"]
    assert (warm.since, warm.worse) == (new.now - HOUR, 1.0)
    assert new.engine.view.standing == {("store", "warm")}


def test_what_fails_of_the_watch_itself_is_believed_as_it_stood() -> None:
    """No detector looks at it, so that nothing is seen of it does not mean that it works."""
    old, new = Bell(), Bell()
    old.take(Impaired("broker", True, old.now))
    old.on(5)
    new.on(5)
    lay_over(new.engine, standing_of(old.engine))
    assert new.engine.alarm_manager.alarms["watch", "broker-lost"].active
    new.take(Impaired("broker", False, new.now))
    assert new.on(5).steps()[-1] == "watch/broker-lost returned"


def test_what_the_house_has_no_more_is_out_of_service() -> None:
    """As when the site file changes under a running watch."""
    old = Bell()
    old.find("tank-3", "warm")
    house = msgspec.structs.replace(
        brewery(),
        places=tuple(place for place in brewery().places if place.id != "tank-3"),
        probes=tuple(probe for probe in brewery().probes if probe.of != "tank-3"),
    )
    new = Bell(house)
    lay_over(new.engine, standing_of(old.engine))
    assert new.engine.alarm_manager.alarms["tank-3", "warm"].state is State.OUT_OF_SERVICE


def test_a_condition_that_is_no_more_leaves_no_trace() -> None:
    """Its alarm is named to whoever asks; what belonged to it goes with it."""
    bell = Bell()
    bell.find("tank-3", "warm")
    bell.log("tank-3", "acknowledge", by="aki", for_="2h")
    sour = msgspec.json.encode(standing_of(bell.engine), enc_hook=float).replace(
        b'"warm"', b'"sour"'
    )
    standing = msgspec.json.decode(sour.replace(b"/warm", b"/sour"), type=Standing)
    bell.engine.watched.state.standing.clear()
    bell.engine.alarm_manager.alarms.clear()
    assert lay_over(bell.engine, standing) == ["tank-3/sour"]
    left = standing_of(bell.engine)
    assert (left.alarms, left.people.incidents, left.people.sent) == ((), (), {})
    assert not [one for _, one in left.deadlines if isinstance(one, PromiseDue)]
    bell.on(600)


@pytest.mark.parametrize(
    "packed",
    [
        b"", b"\x80", b"\xc1", b"\x91\x01", b"\x81\xa7version\x02", b"\x81\xa7version\x01",
        pack(Standing(now=1.0)) + b"\x00", pack(Standing(now=1.0))[:-1],
        msgspec.msgpack.encode({"version": VERSION, "now": 1.0, "alarms": [{"state": "AWAKE"}]}),
        msgspec.msgpack.encode({"version": VERSION, "now": 1, "deadlines": [[1.0, {"type": "x"}]]}),
        msgspec.msgpack.encode({"version": VERSION, "now": "late"}),
    ],
)  # fmt: skip
def test_what_is_no_such_data_is_told_as_such(packed: bytes) -> None:
    """Of another version too: what it means is not guessed."""
    with pytest.raises((msgspec.MsgspecError, ValueError)):
        unpack(packed)


@pytest.mark.parametrize("path", stored(), ids=lambda path: path.stem)
def test_what_an_earlier_version_told_still_stands(path: Path) -> None:
    """Answers, shelves, promises and what waits, as they were told then."""
    standing = unpack(path.read_bytes())
    night = mashing()
    night.engine.wake(standing.now)
    night.engine.drain()
    assert lay_over(night.engine, standing) == []
    alarms, held = night.engine.alarm_manager.alarms, night.engine.entry_handler.pending.held
    assert alarms["store", "warm"].reason == "door mended"
    assert (alarms["tank-3", "warm"].by, alarms["tank-4", "warm"].by) == ("aki", "bun")
    assert alarms["tank-4", "warm"].in_hand_until == standing.now + 6 * HOUR - 10 * MINUTE
    assert [one.logged.by for one in held.values()] == ["cho"]
    kinds = {type(item.deadline) for item in night.engine.deadlines.items}
    assert {PromiseDue, ShelfEnds} <= kinds


def test_every_form_is_stored() -> None:
    """The present one too, before anybody changes it."""
    names = [path.stem for path in stored()]
    assert names == [f"standing-{version}" for version in range(1, VERSION + 1)]


def test_values_that_a_later_version_adds_are_passed_over() -> None:
    """So that one may go back to the version before."""
    plain = msgspec.msgpack.decode(pack(Standing(now=1.0)))
    assert unpack(msgspec.msgpack.encode({**plain, "moon": "full"})) == Standing(now=1.0)


def test_a_finding_of_a_shelved_alarm_is_silent_over_another_engine_too() -> None:
    old, new = Bell(), Bell()
    old.find("tank-3", "warm")
    old.log("tank-3", "shelve", condition="warm", for_="2h", by="aki")
    lay_over(new.engine, standing_of(old.engine))
    new.engine.watched.conclusions.take(Finding("tank-3", "warm", True, new.now))
    assert new.on(60).pages() == []
    new.find("tank-3", "warm")
    assert new.on(61).steps()[-1] == "tank-3/warm unshelved"
