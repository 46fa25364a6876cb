"""The same things again from their data, and nothing from data that somebody made up."""

from __future__ import annotations

import random
from array import array
from collections import deque
from typing import Any

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.msgpack import Ext, encode

from kuraban.core.alarms.life_cycle import Alarm, State
from kuraban.core.engine.engine import Engine
from kuraban.core.entries import BatchStart, Duration, Moment
from kuraban.core.facts import HouseChanged
from kuraban.core.plan.subject_state import Mask, SubjectState
from kuraban.core.planned_curve import Mark
from kuraban.core.site import to_document
from kuraban.core.texts.messages import Words
from kuraban.runtime.checkpoint.graph_reader import DEEPEST
from tests.core.house import brewery, words
from tests.kept import WORDS, kept_and_read, read, written

ALARM = "kuraban.core.alarms.life_cycle.Alarm"
MASK = "kuraban.core.plan.subject_state.Mask"

scalars = st.none() | st.booleans() | st.integers(-(2**60), 2**60) | st.text() | st.floats()
keys = scalars | st.tuples(st.text(), st.integers(0, 9))
ours = st.builds(Mask, st.text(), st.floats(), st.floats()) | st.builds(Duration, st.floats())
things: st.SearchStrategy[object] = st.deferred(
    lambda: (
        scalars | ours | st.lists(things, max_size=3) | st.tuples(things, things)
        | st.dictionaries(keys, things, max_size=3) | st.lists(things, max_size=3).map(deque)
        | st.sets(st.text(), max_size=1)
    )
)  # fmt: skip


@given(st.lists(things, max_size=5))
def test_whatever_is_kept_comes_back(kept: list[object]) -> None:
    """Value for value and type for type; kept once more it is the same bytes."""
    again = kept_and_read(kept)
    assert repr(again) == repr(kept)
    assert written(again) == written(kept)


def test_what_was_shared_is_shared_and_a_circle_closes() -> None:
    state, alarm = SubjectState(), Alarm("tank-3", "warm")
    mask = Mask("stir", 1.0, 2.0)
    state.masks = [mask, mask]
    both: list[Any] = [alarm, alarm, state, state.masks]
    both.append(both)
    again = kept_and_read(both)
    assert again[0] is again[1] and type(again[0]) is Alarm and again[0].state is State.NORMAL
    assert again[2].masks is again[3] and again[3][0] is again[3][1]
    assert again[4] is again


def test_what_never_changes_holds_what_does() -> None:
    """A row of unchanging things about one that a circle closes in."""
    home: list[Any] = []
    home.append((Mark(1, 2.0), (home, BatchStart(batch="No. 3", course="slow", since=Moment(3.0)))))
    again = kept_and_read(home)
    mark, (inner, start) = again[0]
    assert inner is again and mark == Mark(1, 2.0)
    assert start.since == 3.0 and type(start.since) is Moment


def test_an_engine_comes_back_with_its_wires_and_the_words_of_today() -> None:
    """Findings go to its own alarms, not to those of the engine that was kept."""
    engine = Engine(words())
    engine.take(HouseChanged(1e9, to_document(brewery())))
    again, other = kept_and_read(engine), Words({"en": {}})
    own, before = again.watched.conclusions.take, engine.watched.conclusions.take
    assert again.registry.clocks.tell == own != before
    again = kept_and_read(engine, other)
    assert again.words is other


def test_readings_come_back_as_they_were() -> None:
    for letter, values in (("d", [0.1, float("inf")]), ("q", [-1]), ("d", [])):
        assert kept_and_read([array(letter, values)]) == [array(letter, values)]


def made_up(*records: list[Any], shapes: list[list[str]]) -> bytes:
    return encode({"pages": [records], "shapes": shapes})


TUPLES = [MASK, "why", "start", "end"]
MADE_UP: dict[str, bytes] = {
    "nothing": b"",
    "a pickle": b"\x80\x04\x95\x1a\x00\x00\x00\x00\x00\x00\x00\x8c\x02os\x94\x8c\x06system\x94.",
    "no record": encode({"pages": [], "shapes": []}),
    "no shape": made_up([3], shapes=[["list"]]),
    "no number of a shape": made_up(["x"], shapes=[["list"]]),
    "a shape without name": made_up([0], shapes=[[]]),
    "a function": made_up([0, "touch /tmp/x"], shapes=[["os.system", "command"]]),
    "Python's own": made_up([0, "1"], shapes=[["builtins.eval", "source"]]),
    "an error of ours": made_up([0], shapes=[["kuraban.core.plan.subject_state.Refused"]]),
    "a function of ours": made_up([0, "1d"], shapes=[["kuraban.core.units.parse_duration", "x"]]),
    "another class put in its place": made_up([0, None], shapes=[[ALARM, "__class__"]]),
    "a value in a method's place": made_up([0, 1], shapes=[[ALARM, "apply"]]),
    "a value that a class does not hold": made_up([0, 1], shapes=[[ALARM, "command"]]),
    "too few values": made_up([0, "x"], shapes=[[ALARM, "subject", "condition"]]),
    "too many values": made_up([0, "x", "y"], shapes=[[ALARM, "subject"]]),
    "half a dict": made_up([0, "x"], shapes=[["dict"]]),
    "a dict by lists": made_up([0, [1], 1], [1], shapes=[["dict"], ["list"]]),
    "no such thing": made_up([0, [7]], shapes=[["list"]]),
    "a thing before the first": made_up([0, [-1]], shapes=[["list"]]),
    "a thing by a text": made_up([0, ["x"]], shapes=[["list"]]),
    "two things at once": made_up([0, [0, 0]], shapes=[["list"]]),
    "a map": made_up([0, {"a": 1}], shapes=[["list"]]),
    "bytes": made_up([0, b"\x00" * 40], shapes=[["list"]]),
    "a tuple in itself": made_up([0, "x", [0], 1.0], shapes=[TUPLES]),
    "a ladder of tuples": made_up(
        *([0, "x", [n + 1], 1.0] for n in range(10_000)), [1], shapes=[TUPLES, ["list"]]
    ),
    "a deep hole": b"\x82\xa5pages\x91" + b"\x91" * 100_000 + b"\xc0\xa6shapes\x90",
    "a hole of tuples": b"\x82\xa5pages\x91\x91\x92\x00" + b"\x92\xc0" * 100_000 + b"\xc0\xa6shapes"
    + b"\x91\x91\xa4list",
    "a huge list": b"\x82\xa5pages\xdd\xff\xff\xff\xff",
    "a huge text": b"\x82\xa5pages\xdb\xff\xff\xff\xff",
    "a huge array": b"\x82\xa5pages\x91\x91\x92\x00\xc9\xff\xff\xff\xffd",
    "a strange array": made_up([0, Ext(ord("u"), b"\x00" * 8)], shapes=[["list"]]),
    "an array of no kind": made_up([0, Ext(-1, b"\x00" * 8)], shapes=[["list"]]),
    "half a number": made_up([0, Ext(ord("d"), b"\x00" * 7)], shapes=[["list"]]),
    "no day": made_up([0, "tomorrow"], shapes=[["date"]]),
    "a frozen set of lists": made_up([0, [1]], [1], shapes=[["frozenset"], ["list"]]),
    "no zone": made_up([0, "../../etc/passwd"], shapes=[["zone"]]),
    "no wire": made_up([0, "system", [1]], [1], shapes=[["wire"], ["list"]]),
    "a wire to nobody": made_up([0, "conclusions", [1]], [1], shapes=[["wire"], ["list"]]),
    "no state": made_up([0, "AWAKE"], shapes=[["kuraban.core.alarms.life_cycle.State", "value"]]),
}  # fmt: skip


@pytest.mark.parametrize("packed", MADE_UP.values(), ids=MADE_UP.keys())
def test_data_that_somebody_made_up_come_to_nothing(packed: bytes) -> None:
    """They raise, and that is all that they do."""
    with pytest.raises(Exception) as raised:
        read(packed)
    assert not isinstance(raised.value, MemoryError)


def test_things_may_lie_within_each_other_so_deep() -> None:
    depth = DEEPEST - 1
    packed = made_up(*([0, "x", [n + 1], 1.0] for n in range(depth)), [1],
                     shapes=[TUPLES, ["list"]])  # fmt: skip
    assert isinstance(read(packed), Mask)


def test_wherever_data_break_off_they_come_to_nothing() -> None:
    packed = written(Alarm("tank-3", "warm"))
    for end in range(len(packed)):
        with pytest.raises((msgspec.MsgspecError, ValueError)):
            read(packed[:end])


def test_a_byte_that_fell_over_does_no_harm() -> None:
    """Any byte of a kept engine, any other value: a graph, or an error."""
    engine = Engine(words())
    engine.take(HouseChanged(1e9, to_document(brewery())))
    packed, lots = written(engine), random.Random("bytes")
    for _ in range(300):
        at = lots.randrange(len(packed))
        spoilt = packed[:at] + bytes([lots.randrange(256)]) + packed[at + 1 :]
        try:
            read(spoilt, WORDS)
        except Exception as error:
            assert not isinstance(error, (MemoryError, SystemError))
