"""The koji room: its air, each bed's own rise, and what opening and working it did."""

from __future__ import annotations

from typing import Any

import msgspec
import pytest

from kuraban.core.planned_curve import AirBand
from kuraban.core.site import Cooler, Draught, Place, Probe
from kuraban.core.views.equipment_views import BedNow
from kuraban.queries.equipment.koji import Beds, air_of, heat_of, rooms
from tests.core.detectors.kit import Night, course, house, koji, ramp

ROOM = Place(id="muro", kind="room", name="Koji room", heater="heater")
HEATER = Cooler(id="heater", kind="heater", name="Heater")
BED = Place(id="bed", kind="koji-bed", name="Koji bed 1", room="muro")
OTHER = Place(id="other", kind="koji-bed", name="Koji bed 2", room="muro")
MID = Probe(id="bed-mid", of="bed", measures="product")
DRY = Probe(id="dry", of="muro", measures="air")
WET = Probe(id="wet", of="muro", measures="wet-bulb")
RH = Probe(id="rh", of="muro", measures="humidity")
DAMP_LATER = koji(36.0, "naka", hours=8, air=AirBand(wet_bulb_depression=(6.0, 9.0)))
COURSE = course(
    koji(32.0, "mori", hours=8, rate=0.5), DAMP_LATER, course_id="koji", never=(20.0, 46.0),
    whither="koji-bed",
)  # fmt: skip


def night(*more: Place | Probe, since: float = 0, **start: Any) -> Night:
    n = Night(house(ROOM, HEATER, BED, MID, *more, courses=(COURSE,)))
    n.batch("bed", "koji", since=since, **start)
    return n


def bed_of(n: Night) -> BedNow:
    (found,) = Beds().now(n.view, n.start + 60 * n.minute)
    return found


def test_a_bed_that_rises_half_a_degree_an_hour_reaches_its_figure_in_time() -> None:
    """From 32 to 36 are eight hours, of which two are over; the range holds the truth."""
    found = bed_of(night().play(120, **{"bed-mid": ramp(32.0, 0.5)}))
    assert (found.goal, found.way, found.reached) == (36.0, "up", False)
    assert found.soonest is not None and found.latest is not None
    assert found.soonest <= 6.2 and found.latest >= 5.8


def test_a_bed_that_stands_still_promises_nothing() -> None:
    found = bed_of(night().play(120, **{"bed-mid": 32.0}))
    assert found.soonest is None


def test_a_bed_at_its_figure_has_reached_it() -> None:
    assert bed_of(night().play(120, **{"bed-mid": 36.2})).reached


def test_right_after_a_work_the_rise_is_not_known() -> None:
    """A fall by hand is no slope of the koji."""
    n = night().play(120, **{"bed-mid": ramp(32.0, 0.5)})
    n.log("bed", "handwork", within="30m")
    assert bed_of(n.play(130, **{"bed-mid": 31.0})).slow is None


def test_an_opening_that_cooled_the_bed_by_a_degree_says_so_after_the_hour() -> None:
    n = night().play(60, **{"bed-mid": 34.0})
    n.log("bed", "handwork", within="20m")
    found = bed_of(n.play(125, **{"bed-mid": 33.0}))
    (work,) = found.works
    assert work.kind == "handwork" and work.minutes == 60
    assert (work.before, work.after) == (34.0, 33.0) and work.moved == -1.0


def test_within_the_hour_it_says_how_far_it_has_come() -> None:
    """And nothing within the first ten minutes."""
    n = night().play(60, **{"bed-mid": 34.0})
    n.log("bed", "note", text="Covered")
    assert bed_of(n.play(65, **{"bed-mid": 34.0})).works[0].moved is None
    (work,) = bed_of(n.play(85, **{"bed-mid": ramp(34.0, 1.2, since=60)})).works
    assert work.text == "Covered" and work.minutes == 25
    assert work.moved == pytest.approx(0.4, abs=0.1)


def test_the_next_work_ends_the_hour_of_the_one_before() -> None:
    """What came after the second belongs to the second."""
    n = night().play(60, **{"bed-mid": 34.0})
    n.log("bed", "note", text="Spread out")
    n.play(90, **{"bed-mid": 34.0})
    n.log("bed", "handwork")
    newer, older = bed_of(n.play(150, **{"bed-mid": 31.0})).works
    assert (newer.kind, older.kind) == ("handwork", "note")
    assert older.minutes == 30 and older.moved == 0.0
    assert newer.moved == -3.0


def test_a_stage_and_its_handwork_are_one_work() -> None:
    n = night().play(60, **{"bed-mid": 34.0})
    n.log("bed", "stage", stage="naka")
    n.play(61, **{"bed-mid": 34.0})
    n.log("bed", "handwork")
    assert [work.stage for work in bed_of(n.play(130, **{"bed-mid": 33.0})).works] == ["naka"]


def test_a_work_that_was_taken_back_did_nothing() -> None:
    n = night().play(60, **{"bed-mid": 34.0})
    n.log("bed", "handwork")
    n.log("bed", "take-back", of=f"w{n.count}")
    assert bed_of(n.play(130, **{"bed-mid": 34.0})).works == ()


def test_hours_count_from_hikikomi_even_where_the_lot_was_taken_over_later() -> None:
    """Taken over at the second stage: the first had eight hours by the course, and it says so."""
    whole = bed_of(night(since=-120).play(10, **{"bed-mid": 32.0}))
    later = bed_of(night(since=-120, stage="naka").play(10, **{"bed-mid": 36.0}))
    assert whole.sure and not later.sure
    assert whole.begun - later.begun == 8 * 3600


# The air.


def air(n: Night, **traces: Any) -> Any:
    n.play(20, **{"bed-mid": 32.0, **traces})
    return air_of(n.view, [BED], n.start + 60 * n.minute)


@pytest.mark.parametrize(
    ("draught", "humidity"), [(None, 64.7), ("still", 64.7), ("natural", 68.2), ("fan", 69.5)]
)
def test_dry_and_wet_bulb_give_depression_and_humidity(
    draught: Draught | None, humidity: float
) -> None:
    """35 °C dry, 30 °C wet: 69.5 %RH with a fan (JIS Z 8806, A = 0.000662 /K); 0.0012 in a closed
    room, 0.0008 in a natural draught (FAO Irrigation Paper 56), by hand from the same steam table:
    (4246 - A · 101325 · 5) / 5628."""
    wick = msgspec.structs.replace(WET, draught=draught)
    found = air(night(DRY, wick), dry=35.0, wet=30.0)
    assert found.depression == 5.0 and found.reckoned
    assert found.humidity == pytest.approx(humidity, abs=0.1)
    assert found.word == "inside" and found.band == (3.0, 7.0)


def test_a_humidity_probe_gives_the_depression_too() -> None:
    found = air(night(DRY, RH), dry=35.0, rh=69.5)
    assert found.depression == pytest.approx(5.0, abs=0.1) and found.wet is None


@pytest.mark.parametrize(
    ("wet", "word"), [(33.5, "damp"), (30.0, "inside"), (26.0, "dry"), (34.9, "dry-wick")]
)
def test_a_small_difference_is_damp_and_none_is_a_dry_wick(wet: float, word: str) -> None:
    assert air(night(DRY, WET), dry=35.0, wet=wet).word == word


def test_the_later_lot_names_the_band_of_the_room() -> None:
    """The first lot stands at naka and wants it dry, the second has just come in."""
    n = Night(house(ROOM, HEATER, BED, OTHER, MID, DRY, WET, courses=(COURSE,)))
    n.batch("bed", "koji", since=-600)
    n.log("bed", "stage", stage="naka")
    n.play(20, dry=35.0, wet=27.0)
    now = n.start + 60 * n.minute
    assert air_of(n.view, [BED, OTHER], now).word == "inside"  # type: ignore[union-attr]
    n.batch("other", "koji", since=0)
    found = air_of(n.view, [BED, OTHER], n.start + 60 * n.minute)
    assert found is not None and (found.of, found.word) == ("other", "dry")


def test_a_room_that_nobody_measures_has_no_air() -> None:
    n = night()
    (room,) = rooms(n.view, n.start)
    assert room.air is None and room.beds == ("bed",) and room.heater == "heater"


def test_a_bed_without_a_room_stands_by_itself() -> None:
    """And its own probes are its air."""
    alone = msgspec.structs.replace(BED, room=None)
    n = Night(house(alone, MID, Probe(id="dry", of="bed", measures="air"), courses=(COURSE,)))
    n.batch("bed", "koji", since=0)
    n.play(20, dry=33.0)
    (room,) = rooms(n.view, n.start + 60 * n.minute)
    assert room.id is None and room.air is not None and room.air.dry == 33.0
    assert room.air.word == "unjudged"


def test_a_bed_is_not_reckoned_anew_every_second_but_after_an_entry() -> None:
    n, beds = night().play(120, **{"bed-mid": ramp(32.0, 0.5)}), Beds()
    now = n.start + 60 * n.minute
    (first,) = beds.now(n.view, now)
    assert beds.now(n.view, now + 5)[0] is first
    n.log("bed", "handwork")
    assert beds.now(n.view, now + 5)[0] is not first


def test_the_heat_that_a_rise_takes_needs_the_weight_of_the_rice() -> None:
    """100 kg of white rice that rise by a degree an hour: some 94 W, a tenth either way (by hand
    from Choi and Okos, tests/trade/test_koji.py)."""
    from types import SimpleNamespace

    known = SimpleNamespace(rice_kg=100.0)
    low, high = heat_of(known, (1.0, 1.0), 0.0) or (0.0, 0.0)  # type: ignore[arg-type]
    assert (low, high) == pytest.approx((0.9 * 93.77, 1.1 * 93.77), rel=2e-3)
    assert heat_of(SimpleNamespace(rice_kg=None), (1.0, 1.0), 0.0) is None  # type: ignore[arg-type]
