"""What the engine remembers, as data."""

from __future__ import annotations

from array import array
from collections import deque
from datetime import date
from pathlib import Path
from zoneinfo import ZoneInfo

import msgspec
import pytest

from kuraban.core.alarms.life_cycle import Alarm, State
from kuraban.core.entries import Moment
from kuraban.core.plan.subject_state import Mask, SubjectState
from kuraban.core.planned_curve import Mark
from kuraban.core.probes.probe_state import Series
from kuraban.runtime.checkpoint import graph_writer
from kuraban.runtime.checkpoint.kept_classes import NoGraph
from tests.kept import WORDS, written


def plain(packed: bytes) -> dict[str, list[list[object]]]:
    """As any reader of MessagePack sees it."""
    found: dict[str, list[list[object]]] = msgspec.msgpack.decode(packed)
    return found


def test_a_record_is_the_number_of_its_shape_and_its_values() -> None:
    """Numbers and texts as they are, other things by their number, in the order in which they are
    met; whoever knows MessagePack can read it."""
    alarm = Alarm("tank-3", "warm")
    alarm.state, alarm.value, alarm.evidence = State.ACKNOWLEDGED, 15.25, ("air=8.0",)
    kept = plain(written(alarm))
    assert [shape[0] for shape in kept["shapes"]] == [
        "kuraban.core.alarms.life_cycle.Alarm", "kuraban.core.alarms.life_cycle.State",
    ]  # fmt: skip
    ((first, second),) = kept["pages"]
    values = dict(zip(kept["shapes"][0][1:], first[1:], strict=True))  # type: ignore[index]
    assert (values["subject"], values["value"], values["by"]) == ("tank-3", 15.25, None)
    assert values["state"] == [1] and values["evidence"] == [None, "air=8.0"]
    assert second == [1, "ACKED"]


def test_readings_are_bytes() -> None:
    """Eight a number, as the processor holds them."""
    series = Series()
    series.add(60.0, 10.5)
    ((record,),) = plain(written(series))["pages"]
    assert msgspec.msgpack.Ext(ord("d"), array("d", [60.0]).tobytes()) in record  # type: ignore[operator]


@pytest.mark.parametrize(
    ("thing", "name", "values"),
    [
        ([1, None], "list", [1, None]),
        ({"b": 1.5, ("a", 1): True}, "dict", ["b", 1.5, [None, "a", 1], True]),
        ({"b", "a"}, "set", ["a", "b"]),
        (deque([2.0], maxlen=3), "deque", [3, 2.0]),
        (frozenset({"b", "a"}), "frozenset", ["a", "b"]),
        (date(2026, 2, 1), "date", ["2026-02-01"]),
        (ZoneInfo("Asia/Tokyo"), "zone", ["Asia/Tokyo"]),
        (WORDS, "words", []),
        (Mark(1, 2.0), "kuraban.core.planned_curve.Mark", [1, 2.0, 0.0, True]),
        (Moment(5.0), "kuraban.core.entries.Moment", [5.0]),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_every_kind_of_thing_has_its_form(thing: object, name: str, values: list[object]) -> None:
    """A set in one order, so that the same state is the same bytes."""
    kept = plain(written(thing))
    assert kept["shapes"][0][0] == name and kept["pages"][0][0] == [0, *values]


def test_what_two_hold_is_written_once() -> None:
    mask = Mask("stir", 0.0, 60.0)
    kept = plain(written([mask, mask]))
    assert kept["pages"] == [[[0, [1], [1]], [1, "stir", 0.0, 60.0]]]


def test_a_slot_that_was_never_filled_is_left_out() -> None:
    state = SubjectState()
    del state.masks
    assert "masks" not in plain(written(state))["shapes"][0]


@pytest.mark.parametrize("strange", [print, Path("/"), test_readings_are_bytes, object(), 1 + 2j])
def test_what_is_not_ours_is_not_kept(strange: object) -> None:
    """No function, no path, nothing that somebody might forget there."""
    with pytest.raises(NoGraph, match="cannot be kept"):
        written([strange])


def test_in_memory_there_is_a_page_of_it_and_no_more(monkeypatch: pytest.MonkeyPatch) -> None:
    """However many things there are."""
    things = [Mask("stir", float(n), 60.0) for n in range(1000)]
    pages = plain(written(things))["pages"]
    assert sum(len(page) for page in pages) == 1001
    assert max(len(page) for page in pages) == graph_writer.A_PAGE
