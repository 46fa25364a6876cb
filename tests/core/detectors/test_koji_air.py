"""The air of a koji room: damp or dry for the bed's stage, by wet bulb or by humidity."""

from __future__ import annotations

import msgspec
import pytest

from kuraban.core.detectors.koji_air import wick_of
from kuraban.core.planned_curve import AirBand
from kuraban.core.site import Place, Probe
from kuraban.trade.psychrometry import DRAUGHTS, STILL_AIR, depression, relative_humidity
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


def test_what_it_answers_of_damp_air_from_the_first_word_to_the_return() -> None:
    """Three to seven degrees of depression are right; two of them from 36 on."""
    night = muro(DRY, WET)
    edge = "edge=3 unit=K wanted=30"
    assert night.why("bed/humid") == ["lacks: no-value", f"lacks: must-fall {edge}"]
    night.play(30, inside=36.0, dry=35.0, wet=30.0)
    assert night.why("bed/humid") == [f"lacks: must-fall value=5 {edge}"]
    assert night.why("bed/dry") == ["lacks: must-rise value=5 edge=7 unit=K wanted=30"]
    night.play(50, inside=36.0, dry=35.0, wet=33.0)
    seen = "seen: is-below value=2 edge=3 unit=K"
    assert night.why("bed/humid") == [
        seen, "lacks: runs-out until=66 lasted=14 wanted=30",
        "delay: since=36 how=seen spent=14 wanted=30 due=66",
    ]  # fmt: skip
    night.play(90, inside=36.0, dry=35.0, wet=33.0)
    over = "ends: over-above value=2 edge=3.3 unit=K wanted=15"
    assert night.why("bed/humid")[:3] == ["stands", seen, over]
    assert night.raised("bed/humid") == [66]
    alarm = night.engine.alarm_manager.alarm("bed", "humid")
    assert (alarm.value, alarm.since) == (2.0, night.start + 36 * 60)
    night.play(120, inside=36.0, dry=35.0, wet=31.7)
    assert night.over("bed/humid") == [112]
    night.log("bed", "batch-end")
    assert night.why("bed/humid") == night.why("bed/dry") == []


def test_what_it_answers_of_air_too_dry() -> None:
    night = muro(DRY, WET).play(20, inside=36.0, dry=35.0, wet=27.0)
    assert night.why("bed/dry")[0] == "seen: is-above value=8 edge=7 unit=K"
    night.play(90, inside=36.0, dry=35.0, wet=27.0)
    assert "ends: over-below value=8 edge=6.7 unit=K wanted=15" in night.why("bed/dry")
    night.play(120, inside=36.0, dry=35.0, wet=28.2)
    assert night.stands("bed/dry"), "two tenths are no return"


def test_what_it_answers_of_humidity_and_under_a_mask() -> None:
    night = muro(DRY, DAMP, air=BY_HUMIDITY).play(30, inside=36.0, dry=35.0, damp=60.0)
    assert night.why("bed/humid") == ["lacks: must-rise value=60 edge=75 unit=%RH wanted=30"]
    assert night.why("bed/dry") == ["lacks: must-fall value=60 edge=55 unit=%RH wanted=30"]
    night.play(75, inside=36.0, dry=35.0, damp=80.0)
    assert "ends: over-below value=80 edge=73 unit=%RH wanted=15" in night.why("bed/humid")
    night.log("bed", "handwork", within="45m")
    assert night.why("bed/humid")[-2] == "ends: held until=135"
    night.play(100, inside=36.0, dry=35.0, damp=70.0)
    assert night.stands("bed/humid"), "while it is worked nothing ends either"
    dry = muro(DRY, DAMP, air=BY_HUMIDITY).play(75, inside=36.0, dry=35.0, damp=50.0)
    assert "ends: over-above value=50 edge=57 unit=%RH wanted=15" in dry.why("bed/dry")


def test_what_it_answers_where_no_band_or_a_later_lot_counts() -> None:
    plain = koji(air=None)
    young = course(koji(34.0, "toko"), course_id="young", never=(20, 46), whither="koji-bed")
    shapes = (course(plain, course_id="koji", never=(20, 46), whither="koji-bed"), young)
    night = Night(house(BED, SECOND, MURO, INSIDE, DRY, WET, courses=shapes), start=NOON)
    night.batch("bed", "koji", since=-2000)
    assert night.why("bed/humid") == ["lacks: no-air-band"]
    night.batch("second", "young", since=-100)
    banded = Night(house(BED, SECOND, MURO, INSIDE, DRY, WET, courses=(young,)), start=NOON)
    banded.batch("bed", "young", since=-2000)
    assert banded.play(90, inside=36.0, dry=35.0, wet=33.0).stands("bed/humid")
    banded.batch("second", "young", since=85)
    banded.play(95, inside=36.0, dry=35.0, wet=33.0)
    assert banded.why("bed/humid") == banded.why("bed/dry") == ["lacks: later-lot"]
    assert not banded.stands("bed/humid")
    assert banded.why("second/humid")[0] == "seen: is-below value=2 edge=3 unit=K"


def test_beds_of_other_rooms_and_lots_of_the_same_hour_take_nothing_over() -> None:
    """A later lot next door, and one that began together with this one."""
    apart = msgspec.structs.replace(SECOND, room="cellar")
    hall = Place(id="cellar", kind="room", name="Cellar")
    shape = course(koji(), course_id="koji", never=(20, 46), whither="koji-bed")
    for second, since in ((apart, -100), (SECOND, -2000)):
        night = Night(house(BED, second, MURO, hall, INSIDE, DRY, WET, courses=(shape,)), NOON)
        night.batch("bed", "koji", since=-2000)
        night.batch("second", "koji", since=since)
        assert night.play(90, inside=36.0, dry=35.0, wet=33.0).stands("bed/humid")


@pytest.mark.parametrize(("wet", "known"), [(34.71, False), (34.69, True)])
def test_a_wick_is_wet_from_three_tenths_on(wet: float, known: bool) -> None:
    for air in (BY_DEPRESSION, BY_HUMIDITY):
        night = muro(DRY, WET, air=air).play(50, inside=36.0, dry=35.0, wet=wet)
        assert (night.why("bed/humid")[0] != "lacks: no-value") is known


def test_a_temperature_at_which_no_wick_is_reckoned_says_nothing() -> None:
    night = muro(DRY, DAMP).play(50, inside=36.0, dry=110.0, damp=50.0)
    assert night.why("bed/humid")[0].startswith("lacks: no-value")


def test_a_wick_in_a_draught_is_reckoned_as_one() -> None:
    """The first on the room or the bed; still air where none says otherwise."""
    fanned = msgspec.structs.replace(WET, draught="fan")
    own = msgspec.structs.replace(fanned, id="own", of="bed", draught="natural")
    home = house(BED, MURO, INSIDE, DRY, fanned, own)
    assert wick_of(home, None, "muro", "bed") == DRAUGHTS["fan"]
    assert wick_of(home, "bed") == DRAUGHTS["natural"] > DRAUGHTS["fan"]
    assert wick_of(home, None) == DRAUGHTS["still"]
