"""A row of the journal is one point, whenever and however often it is made."""

from __future__ import annotations

import json
from itertools import count, groupby
from pathlib import Path

import pytest

from kuraban.core.effects import Step
from kuraban.core.entries import KINDS
from kuraban.core.facts import ClockStepped, EntryOutcome, Logged
from kuraban.core.intake.entry_parser import entry_from
from kuraban.core.plan.counted_entries import ToldEntry
from kuraban.core.site import to_document
from kuraban.edges.history.line_protocol import Points
from kuraban.store.forwarded import Event, Forwarded, Rows
from tests.corpus import ENTRIES, HOUSE, NOW
from tests.engines import Point, parse
from tests.journals import live_through
from tests.outcomes import told

HOUSED: Event = (1, to_document(HOUSE))


def made(*events: Event, readings: tuple[tuple[int, str, float, float], ...] = (),
         site: str | None = None) -> list[Point]:  # fmt: skip
    rows = Rows(99, list(readings), list(events))
    return [parse(line) for line in Points(site).of(rows)[1]]


def logged(subject: str, number: int = 0, at: float = NOW, **fields: object) -> Logged:
    fact = entry_from({"id": f"e{number}", **fields}, subject, HOUSE, at, "page")
    assert isinstance(fact, Logged), fact
    return fact


def start(batch: str, at: float = NOW) -> Logged:
    return logged("tank-3", 1, at, entry="batch-start", batch=batch, course="moromi-slow-33")


def test_a_reading_carries_where_it_was_taken() -> None:
    """Site, place, probe and the batch that stood there."""
    reading = (3, "t3-mid", NOW + 60.25, 10.5)
    (_, point) = made(HOUSED, (2, told(start("No. 8"))), readings=(reading,))
    assert point == (
        "reading",
        (("batch", "No. 8"), ("measures", "product"), ("place", "tank-3"), ("probe", "t3-mid"),
         ("site", "Nowhere demo brewery")),
        {"value": 10.5},
        1769883060250000000,
    )  # fmt: skip


def test_a_house_may_have_a_tag_of_its_own() -> None:
    (point,) = made(HOUSED, readings=((3, "c1-power", NOW, 0.0),), site="north")
    assert (point.tag("site"), point.tag("place"), point.tag("batch")) == (
        "north",
        "chiller-1",
        None,
    )


def test_a_probe_that_the_house_no_longer_knows_is_still_told() -> None:
    (point,) = made(HOUSED, readings=((3, "gone", NOW, 1e-05),))
    assert point.tag("probe") == "gone" and point.fields == {"value": 1e-05}


def test_the_batch_is_that_of_the_readings_own_time() -> None:
    """A reading that comes late belongs to what stood there then."""
    late = (5, "t3-mid", NOW - 60, 10.0)
    on_time = (3, "t3-mid", NOW + 1, 10.0)
    points = made(HOUSED, (2, told(start("No. 8"))), readings=(on_time, late))
    assert [point.tag("batch") for point in points[1:]] == ["No. 8", None]


def test_readings_a_millisecond_apart_stay_two() -> None:
    """And times come out without the dust of binary fractions."""
    at = 1769883000.123
    points = made(HOUSED, readings=((3, "t3-mid", at, 1.0), (4, "t3-mid", at + 0.001, 1.0)))
    assert [point.time for point in points] == [1769883000123000000, 1769883000124000000]


def test_two_entries_of_one_moment_stay_two() -> None:
    """Rice and water, both logged for ten o'clock."""
    two = [logged("tank-3", n, entry="addition", what="rice", kg=10) for n in (1, 2)]
    points = made(HOUSED, (2, two[0]), (3, two[1]))
    assert len({(*point[:2], point.time) for point in points}) == 2


def test_two_steps_of_one_moment_stay_two() -> None:
    step = Step(
        at=NOW, subject="t3-mid", condition="wild", step="raised", urgency="duty", value=9.0,
        planned=None, text='it says "9"\\', by=None,
    )  # fmt: skip
    first, second = made(HOUSED, (1000, step), (1001, step))
    assert first.time != second.time and first[:3] == second[:3]
    assert (first.tag("place"), first.tag("probe")) == ("tank-3", "t3-mid")
    assert first.fields == {"text": 'it says "9"\\', "urgency": "duty", "value": 9.0}


@pytest.mark.parametrize(
    "batch", ["a b", "a,b=c", 'q"q', "大吟醸 三号", "ends\\", "\\,x", "=", "🍶"]
)
def test_whatever_a_batch_is_called(batch: str) -> None:
    """A tag has no backslash, since engines differ about it; the field has the name as it is."""
    (point,) = made(HOUSED, (2, start(batch)))
    assert point.tag("batch") == batch.replace("\\", "/")
    assert point.fields["begins"] == batch


def test_an_entry_belongs_to_the_batch_that_it_begins_or_ends() -> None:
    """And so does what became of it."""
    begun, ended = start("8"), logged("tank-3", 2, NOW + 60, entry="batch-end")
    points = made(HOUSED, (2, begun), (3, told(begun)), (4, ended), (5, told(ended)))
    assert [point.tag("batch") for point in points] == ["8"] * 4


def test_what_became_of_an_entry_is_a_point_beside_it() -> None:
    """A refused end of a batch, and an amended addition, told so for good."""
    ended = logged("tank-3", 2, entry="batch-end")
    no = EntryOutcome("tank-3", "e2", "refused", NOW, reason="no batch runs in tank-3")
    ice = logged("tank-3", 3, entry="addition", what="ice", kg=20)
    less = EntryOutcome("tank-3", "e3", "amended", NOW + 60, ("tank-3", "e4"), "aki", "",
                        logged("tank-3", 3, entry="addition", what="ice", kg=12).entry)  # fmt: skip
    said, refused, poured, amended = made(
        HOUSED, (2, ended), (3, ToldEntry(ended, no)), (4, ice), (5, ToldEntry(ice, less))
    )
    assert (said[0], refused[0]) == ("entry", "outcome") and refused.tag("fate") == "refused"
    assert refused.fields == {"reason": "no batch runs in tank-3"}
    assert poured.fields["kg"] == 20 and amended.fields["now_kg"] == 12
    assert (amended.fields["by"], amended.fields["who"]) == ("e4", "aki")
    assert amended.time == poured.time + 60_000_000_005


def test_no_field_ever_changes_its_kind() -> None:
    """Engines refuse a number where a text stood. Every entry, and every field of it."""
    facts, number = [], count(2)
    for subject, payload in ENTRIES:
        fields = {k: v for k, v in json.loads(payload).items() if k != "at"}
        facts.append((next(number), logged(subject, len(facts), **fields)))
    points = made(HOUSED, *facts)
    assert {point.tag("entry") for point in points} == set(KINDS)
    kinds = {(name, type(value)) for point in points for name, value in point.fields.items()}
    assert len(kinds) == len({name for name, _ in kinds})
    tags = {name for point in points for name, _ in point.tags}
    assert not tags & {name for name, _ in kinds}


@pytest.mark.parametrize("night", ["demo-night", "addition-day", "koji-night", "outage-backfill"])
def test_wherever_it_is_cut_the_points_are_the_same(night: str, tmp_path: Path) -> None:
    """After a restart at any row the rest is what it would have been, so twice changes nothing."""
    path = tmp_path / "kuraban.journal"
    live_through(night, path)
    held = Forwarded(path, "x")
    numbers, whole = Points().of(held.rows_after(0, 1_000_000))
    assert len({(*point[:2], point.time) for point in map(parse, whole)}) == len(whole)
    last = numbers[-1]
    for cut in range(0, last, last // 23):
        points = Points()
        points.learn(held.before(cut))
        rows = held.rows_after(cut, 1000)
        want = [line for seq, line in zip(numbers, whole, strict=True) if cut < seq <= rows.last]
        assert points.of(rows)[1] == want
    held.close()


def test_rows_come_in_the_order_of_their_numbers(tmp_path: Path) -> None:
    path = tmp_path / "kuraban.journal"
    live_through("slow-drift", path)
    held = Forwarded(path, "x")
    numbers, lines = Points().of(held.rows_after(0, 1_000_000))
    assert numbers == sorted(numbers)
    assert {kind for kind, _ in groupby(line.partition(",")[0] for line in lines)} == {
        "reading", "entry", "outcome", "alarm",
    }  # fmt: skip
    held.close()


def test_points_have_the_wall_clocks_time() -> None:
    """As it stood when their row was written; a batch that begins behind a step knows of it."""
    step_ = ClockStepped(NOW + 120, -3600.0, -3600.0, NOW - 60)
    readings = ((2, "t3-mid", NOW + 60, 10.5), (4, "t3-mid", NOW + 180, 10.6))
    aim = logged("tank-3", 5, NOW + 200, entry="aim", celsius=9.0, by=NOW + 7200)
    raised = Step(at=NOW + 240, subject="tank-3", condition="warm", step="raised", urgency="wake")
    events: tuple[Event, ...] = ((3, step_), (5, aim), (6, raised))
    first, second, entry, alarm = made(HOUSED, *events, readings=readings)
    assert [point.time // 10**9 - NOW for point in (first, second, entry, alarm)] == [
        60, 180 - 3600, 200 - 3600, 240 - 3600,
    ]  # fmt: skip
    assert entry.fields["by"] == NOW + 3600
    points = Points()
    points.learn([HOUSED, (3, step_)])
    (line,) = points.of(Rows(9, [readings[1]], []))[1]
    assert parse(line) == second
