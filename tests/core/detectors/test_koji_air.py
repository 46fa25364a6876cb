"""The air of a koji room: damp or dry for the bed's stage, by wet bulb or by humidity."""

from __future__ import annotations

import msgspec
import pytest

from kuraban.core.course import AirBand
from kuraban.core.site import Place, Probe
from kuraban.trade.psychrometry import STILL_AIR, depression, relative_humidity
from tests.core.detectors.kit import EVENING, Night, course, house, koji, noisy, step

NOON = EVENING + 12 * 3600
BED = Place(id="bed", kind="koji-bed", name="Koji bed 1", room="muro")
SECOND = Place(id="second", kind="koji-bed", name="Koji bed 2", room="muro")
MURO = Place(id="muro", kind="room", name="Koji room")
INSIDE = Probe(id="inside", of="bed", measures="product")
DRY = Probe(id="dry", of="muro", measures="air")
WET = Probe(id="wet", of="muro", measures="wet-bulb")
DAMP = Probe(id="damp", of="muro", measures="humidity")
BY_DEPRESSION = AirBand(wet_bulb_depression=(3.0, 7.0))
BY_HUMIDITY = AirBand(humidity=(55.0, 75.0))


def muro(*probes: Probe, air: AirBand = BY_DEPRESSION, beds: tuple[Place, ...] = (BED,)) -> Night:
    shape = course(koji(air=air), course_id="koji", never=(20.0, 46.0), whither="koji-bed")
    night = Night(house(*beds, MURO, INSIDE, *probes, courses=(shape,)), start=NOON)
    night.batch("bed", "koji")
    return night


@pytest.mark.parametrize(("wet", "alarm"), [(33.0, "bed/humid"), (26.0, "bed/dry"), (30.0, None)])
def test_wet_and_dry_bulb_tell_damp_and_dry_air_after_half_an_hour(
    wet: float, alarm: str | None
) -> None:
    night = muro(DRY, WET).play(120, inside=noisy(36.0), dry=35.0, wet=step(30.0, wet, 30))
    assert night.alarms() == ({alarm} if alarm else set())
    if alarm:
        (raised,) = night.raised(alarm)
        assert 60 <= raised <= 60 + 6
        assert [page.role for page in night.pages(alarm)] == ["crew"]
        assert night.evidence(alarm) == (f"depression={35.0 - wet:.1f}",)


@pytest.mark.parametrize(("humidity", "alarm"), [(90.0, "bed/humid"), (40.0, "bed/dry")])
def test_a_humidity_probe_stands_in_for_the_wick(humidity: float, alarm: str) -> None:
    """35 °C and 90 % are 1.5 K of depression, 40 % ten and more."""
    night = muro(DRY, DAMP).play(120, inside=noisy(36.0), dry=35.0, damp=humidity)
    assert night.alarms() == {alarm}
    assert night.evidence(alarm) == (f"depression={depression(35.0, humidity):.1f}",)


def test_air_dripping_with_water_is_damp_when_no_wick_says_so() -> None:
    """A humidity probe at 99.5 % is no dried-out wick."""
    night = muro(DRY, DAMP).play(120, inside=noisy(36.0), dry=35.0, damp=99.5)
    assert night.alarms() == {"bed/humid"}


@pytest.mark.parametrize(("wet", "alarm"), [(34.0, "bed/humid"), (25.0, "bed/dry"), (30.0, None)])
def test_a_band_of_humidity_is_judged_from_wet_and_dry_bulb_as_well(
    wet: float, alarm: str | None
) -> None:
    """In still air 35/34 is 92.4 %, 35/25 is 34.7 %, 35/30 is 64.7 % (A = 0.0012 /K)."""
    night = muro(DRY, WET, air=BY_HUMIDITY).play(120, inside=noisy(36.0), dry=35.0, wet=wet)
    assert night.alarms() == ({alarm} if alarm else set())
    if alarm:
        assert night.evidence(alarm) == (f"humidity={relative_humidity(35.0, wet, STILL_AIR):.1f}",)


# JIS Z 8806 with A = 0.000662 for a ventilated bulb and Sonntag's saturation pressure at
# 1013.25 hPa, calculated; a tolerance of 0.3 takes in WMO-No. 8 Annex 4.B as well.
JIS = ((28, 26, 85.37), (30, 25, 66.74), (32, 28, 73.84), (35, 30, 69.49), (35, 32, 80.98),
       (38, 34, 76.24), (40, 35, 71.68), (40, 38, 88.00))  # fmt: skip


@pytest.mark.parametrize(("dry", "wet", "humidity"), JIS)
def test_what_the_two_bulbs_say_is_what_the_standard_says(
    dry: float, wet: float, humidity: float
) -> None:
    assert relative_humidity(dry, wet) == pytest.approx(humidity, abs=0.3)
    assert depression(dry, humidity) == pytest.approx(dry - wet, abs=0.05)


@pytest.mark.parametrize("air", [BY_DEPRESSION, BY_HUMIDITY])
@pytest.mark.parametrize("wet", [34.8, 35.0, 35.2])
def test_a_dried_out_wick_says_nothing(air: AirBand, wet: float) -> None:
    """It reads as the dry bulb does, and looks like fog; no damp room."""
    night = muro(DRY, WET, air=air).play(240, inside=noisy(36.0), dry=35.0, wet=step(30, wet, 30))
    assert not night.alarms()


def test_it_has_returned_by_the_deadband_and_a_quarter_of_an_hour() -> None:
    night = muro(DRY, WET).play(90, inside=noisy(36.0), dry=35.0, wet=33.0)
    night.play(120, inside=noisy(36.0), dry=35.0, wet=31.9)
    assert night.stands("bed/humid")
    night.play(150, inside=noisy(36.0), dry=35.0, wet=31.0)
    (over,) = night.over("bed/humid")
    assert 120 + 15 <= over <= 120 + 20


def test_the_later_lot_counts() -> None:
    """Two beds in one room: the younger lot wants it damp, the older one has to take it."""
    early = koji(air=AirBand(wet_bulb_depression=(3.0, 9.0)))
    late = koji(34.0, "toko", air=AirBand(wet_bulb_depression=(1.0, 2.5)))
    shapes = (
        course(early, course_id="koji", never=(20, 46), whither="koji-bed"),
        course(late, course_id="young", never=(20, 46), whither="koji-bed"),
    )
    other = Probe(id="other", of="second", measures="product")
    night = Night(house(BED, SECOND, MURO, INSIDE, other, DRY, WET, courses=shapes), start=NOON)
    night.batch("bed", "koji", since=-2000)
    night.batch("second", "young", since=-100)
    night.play(120, inside=noisy(36.0), other=noisy(34.0), dry=35.0, wet=33.0)
    assert not night.alarms()
    night.play(240, inside=noisy(36.0), other=noisy(34.0), dry=35.0, wet=30.0)
    assert night.alarms() == {"second/dry"}


def test_a_stage_without_an_air_band_is_not_judged() -> None:
    shape = course(koji(air=None), course_id="koji", never=(20, 46), whither="koji-bed")
    night = Night(house(BED, MURO, INSIDE, DRY, WET, courses=(shape,)), start=NOON)
    night.batch("bed", "koji")
    assert not night.play(120, inside=noisy(36.0), dry=35.0, wet=34.0).alarms()


def test_without_a_batch_the_air_of_the_room_is_nobodys() -> None:
    night = Night(house(BED, MURO, DRY, WET, courses=()), start=NOON)
    assert not night.play(120, dry=35.0, wet=34.0).alarms()


def test_while_koji_is_worked_the_air_may_be_what_it_is() -> None:
    night = muro(DRY, WET).play(30, inside=noisy(36.0), dry=35.0, wet=30.0)
    night.log("bed", "handwork", within="45m", by="mio")
    night.play(80, inside=noisy(36.0), dry=35.0, wet=33.5)
    assert not night.alarms()


def test_a_bed_with_its_own_hygrometer_needs_no_room() -> None:
    alone = msgspec.structs.replace(BED, room=None)
    own = (msgspec.structs.replace(DRY, of="bed"), msgspec.structs.replace(DAMP, of="bed"))
    shape = course(koji(), course_id="koji", never=(20, 46), whither="koji-bed")
    night = Night(house(alone, INSIDE, *own, courses=(shape,)), start=NOON)
    night.batch("bed", "koji")
    night.play(120, inside=noisy(36.0), dry=35.0, damp=40.0)
    assert night.alarms() == {"bed/dry"}


@pytest.mark.parametrize(
    ("wet", "alarms"),
    [(32.0, set()), (32.1, {"bed/humid"}), (28.0, set()), (27.9, {"bed/dry"})],
)
def test_the_band_itself_is_right(wet: float, alarms: set[str]) -> None:
    """Three to seven degrees of depression."""
    assert muro(DRY, WET).play(120, inside=noisy(36.0), dry=35.0, wet=wet).alarms() == alarms


@pytest.mark.parametrize(
    ("humidity", "alarms"),
    [(75.0, set()), (75.5, {"bed/humid"}), (55.0, set()), (54.5, {"bed/dry"})],
)
def test_the_band_of_humidity_itself_is_right(humidity: float, alarms: set[str]) -> None:
    night = muro(DRY, DAMP, air=BY_HUMIDITY)
    assert night.play(120, inside=noisy(36.0), dry=35.0, damp=humidity).alarms() == alarms


def test_damp_air_is_told_at_half_an_hour_and_no_sooner() -> None:
    night = muro(DRY, WET).play(30, inside=noisy(36.0), dry=35.0, wet=30.0)
    night.play(58, inside=noisy(36.0), dry=35.0, wet=33.0)
    assert not night.alarms()
    night.play(66, inside=noisy(36.0), dry=35.0, wet=33.0)
    assert night.alarms() == {"bed/humid"}
