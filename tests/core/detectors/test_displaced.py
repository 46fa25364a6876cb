"""A probe that reads the air instead of the product: told as that, and never as cold."""

from __future__ import annotations

import math

import msgspec
import pytest

from kuraban.core.plan.subject_state import STIR_SEEN
from kuraban.core.planned_curve import Sides
from kuraban.core.site import Place, PlaceKind, Probe
from kuraban.core.units import MINUTE
from tests.core.detectors.kit import (
    AIR,
    CELLAR,
    MID,
    TANK,
    Night,
    Trace,
    cellar,
    course,
    house,
    koji,
    noisy,
    ramp,
    stage,
    step,
)

ALARM = "mid/displaced"
NEVER_TOLD = {"tank/warm", "tank/cold", "tank/far-warm", "tank/far-cold", "tank/overcooling",
              "tank/trending-cold", "tank/addition-unlogged"}  # fmt: skip


def pulled(product: float, air: float, at: float, back: float = 1e9) -> Trace:
    """In air within five to ten minutes: a first-order probe of 150 s."""

    def trace(minute: float) -> float:
        if minute < at:
            return product
        gone = 1 - math.exp(-(min(minute, back) - at) / 2.5)
        away = product + (air - product) * gone
        return (
            away if minute < back else product + (away - product) * math.exp(-(minute - back) / 2.5)
        )

    return noisy(trace)


def tank(air: bool = True, **changes: object) -> Night:
    home = cellar(**changes) if air else house(TANK, CELLAR, MID, courses=(course(),))  # type: ignore[arg-type]
    night = Night(home)
    night.batch()
    return night


def quiet_but(night: Night) -> set[str]:
    return night.alarms() - {ALARM}


@pytest.mark.parametrize("air", [2.0, 6.0, 14.0, 20.0])
def test_a_probe_pulled_out_at_night_is_told_within_a_quarter_of_an_hour(air: float) -> None:
    night = tank().play(240, mid=pulled(10.0, air, 60), air=air)
    (raised,) = night.raised(ALARM)
    assert 60 < raised <= 75
    assert night.alarms() <= {ALARM, "tank/unwatched"}
    assert not NEVER_TOLD & night.alarms()


def test_at_the_temperature_of_the_air_three_minutes_are_enough() -> None:
    """All at once to the cellar's 5 °C: the filter holds nothing else four minutes later."""
    night = tank().play(120, mid=step(10.0, 5.0, 60), air=5.0)
    assert night.raised(ALARM) == [60 + 4 + 3]


def test_two_minutes_at_the_temperature_of_the_air_are_not() -> None:
    night = tank().play(120, mid=step(10.0, 5.0, 60, 65), air=5.0)
    assert not night.alarms()


def test_it_says_what_it_read_and_what_it_reads() -> None:
    night = tank().play(100, mid=pulled(10.0, 6.0, 60), air=6.0)
    assert set(night.evidence(ALARM)) == {"air=6.0", "was=10.0"}


def test_a_probe_pulled_out_beside_a_cellar_nearly_as_cold_is_told_as_nothing() -> None:
    """Air 0.5 K below the mash cannot be told from it; nobody is called for what is not known."""
    night = tank().play(300, mid=pulled(10.0, 9.55, 60), air=9.55)
    assert not night.alarms()


def test_a_probe_that_comes_out_during_a_stir_is_told_though_the_stir_is_not_over() -> None:
    """Dragged by the pole: to whoever logged work there within the hour, at any hour. A stir evens
    out layers, by a degree; it makes no five degrees."""
    night = tank().play(60, mid=noisy(10.0), air=5.0)
    night.log("tank", "stir", by="mio")
    night.play(240, mid=pulled(10.0, 5.0, 70), air=5.0)
    (raised,) = night.raised(ALARM)
    assert 75 <= raised <= 90
    assert not NEVER_TOLD & night.alarms()
    assert {page.person for page in night.pages(ALARM)} == {"mio"}


def test_out_after_a_stir_where_nothing_measures_the_air_it_is_no_cold_mash_either() -> None:
    night = tank(air=False).play(60, mid=noisy(10.0))
    night.log("tank", "stir", by="mio")
    night.play(240, mid=pulled(10.0, 4.0, 70))
    assert night.alarms() - {"tank/unwatched"} == {ALARM}


def test_layers_that_a_stir_evened_out_are_the_product() -> None:
    """Half a degree colder from then on: what the probe felt before was the top alone."""
    night = tank().play(60, mid=noisy(10.0), air=5.0)
    night.log("tank", "stir")
    night.play(240, mid=noisy(step(10.0, 9.2, 62)), air=5.0)
    assert ALARM not in night.alarms() and "tank/cold" in night.alarms()


@pytest.mark.parametrize("hours", [0.7, 1.0, 1.4])
def test_a_probe_that_slides_out_within_an_hour_is_never_told_as_cold(hours: float) -> None:
    """No mash falls by 4 to 8 degrees an hour, however wide its valve is open."""
    slide = noisy(lambda m: 10.0 - 5.5 * min(max(m - 60, 0) / (60 * hours), 1.0))
    night = tank().play(240, mid=slide, air=4.5)
    assert night.raised(ALARM)[0] <= 60 + 60 * hours + 10
    assert not NEVER_TOLD & night.alarms()


def test_the_fastest_mash_there_is_makes_no_probe_displaced() -> None:
    """A jacket at full takes 0.9 K an hour out of it: that is cold, and told as cold."""
    night = tank().play(240, mid=noisy(ramp(10.0, -0.9, since=60)), air=4.0)
    assert ALARM not in night.alarms() and "tank/far-cold" in night.alarms()


def test_below_mash_and_air_alike_it_reads_no_air() -> None:
    """Ice water and koji went in early, and were logged half an hour later: 3 degrees, air 11."""
    odori, naka = stage("odori", 13.2, hours=24), stage("naka", 7.5, hours=24)
    night = tank(stages=(odori, naka))
    cold = noisy(lambda m: 13.2 - 10.0 * min(max(m - 60, 0) / 20, 1.0))
    night.play(85, mid=cold, air=11.0)
    night.log("tank", "addition", at=60, what="water-koji", litres=300, celsius=0.5)
    night.play(230, mid=cold, air=11.0)
    assert not night.stands(ALARM)
    assert not {"tank/unwatched", "tank/cold"} & night.alarms()


def test_a_stir_that_moves_the_mash_displaces_nothing() -> None:
    """A degree of layering evened within minutes, unlogged; half an hour on it is believed."""
    night = tank().play(400, mid=noisy(step(10.0, 9.0, 60)), air=2.0)
    assert ALARM not in night.alarms()
    assert "tank/cold" in night.alarms()
    (raised,) = night.raised("tank/cold")
    assert raised <= 60 + 60 + 10


def test_while_a_step_is_not_understood_it_counts_for_nothing() -> None:
    night = tank().play(75, mid=noisy(step(10.0, 8.8, 60)), air=2.0)
    assert night.view.product("tank", night.engine.now) is None
    night.play(100, mid=noisy(8.8), air=2.0)
    known = night.view.product("tank", night.engine.now)
    assert known is not None
    assert known[0] == pytest.approx(8.8, abs=0.1)


def test_a_step_that_comes_back_was_nothing() -> None:
    night = tank().play(240, mid=noisy(step(10.0, 8.0, 60, 70)), air=2.0)
    assert not night.alarms()


def test_without_a_probe_in_the_air_two_degrees_at_once_are_displaced() -> None:
    night = tank(air=False).play(200, mid=pulled(10.0, 5.0, 60))
    (raised,) = night.raised(ALARM)
    assert 75 <= raised <= 80
    assert not NEVER_TOLD & night.alarms()


def test_without_a_probe_in_the_air_a_smaller_step_is_the_product_after_all() -> None:
    night = tank(air=False).play(240, mid=noisy(step(10.0, 8.8, 60)))
    assert ALARM not in night.alarms()
    assert "tank/cold" in night.alarms()


def test_half_way_to_the_air_after_a_quarter_of_an_hour_is_no_product() -> None:
    """A probe half drawn up, its tip in the foam."""
    night = tank().play(240, mid=noisy(step(10.0, 6.0, 60)), air=4.0)
    assert night.stands(ALARM)
    assert not NEVER_TOLD & night.alarms()


def test_a_true_drift_towards_the_air_is_a_drift() -> None:
    """The fastest fall of a mash that runs off its plan: one degree an hour."""
    night = tank().play(240, mid=noisy(ramp(10.0, -1.0, since=60)), air=4.0)
    assert ALARM not in night.alarms()
    assert {"tank/cold", "tank/far-cold"} & night.alarms()


def test_put_back_into_the_mash_it_is_believed_after_a_quarter_of_an_hour() -> None:
    night = tank().play(300, mid=pulled(10.0, 5.0, 60, back=180), air=5.0)
    (over,) = night.over(ALARM)
    assert 180 + 15 <= over <= 180 + 25
    assert not NEVER_TOLD & night.alarms()
    assert night.view.product("tank", night.engine.now) is not None


def test_a_mash_that_warmed_while_its_probe_hung_out_is_told_when_it_is_back() -> None:
    """The time it hung out proves nothing; from its return on the delay runs."""
    night = tank().play(120, mid=pulled(10.0, 5.0, 60), air=5.0)
    night.play(400, mid=noisy(11.2), air=5.0)
    assert night.over(ALARM)
    assert {"tank/warm", "tank/far-warm"} & night.alarms()


def test_washed_at_sixty_degrees_is_no_product() -> None:
    """Above 45 °C in a tank is never product: pressed, or being washed."""
    night = tank().play(200, mid=noisy(step(10.0, 60.0, 60, 110)), air=6.0)
    assert night.stands(ALARM) or night.over(ALARM)
    assert "washed" in night.evidence(ALARM)
    assert not NEVER_TOLD & night.alarms()


def test_five_degrees_within_ten_minutes_are_never_product() -> None:
    """Up from 10 to 18 in a cellar of 6: no air explains it, and no mash does it."""
    night = tank().play(200, mid=noisy(step(10.0, 18.0, 60)), air=6.0)
    (raised,) = night.raised(ALARM)
    assert raised <= 80
    assert not NEVER_TOLD & night.alarms()


# ------------------------------------------------------------------------------------------ koji

BED = Place(id="bed", kind="koji-bed", name="Koji bed 1", room="muro")
MURO = Place(id="muro", kind="room", name="Koji room")
IN_BED = Probe(id="inside", of="bed", measures="product")
DRY = Probe(id="dry", of="muro", measures="air")


def bed(celsius: float = 40.0) -> Night:
    warm = course(koji(celsius), course_id="koji", never=(20.0, 46.0), whither="koji-bed")
    night = Night(house(BED, MURO, IN_BED, DRY, courses=(warm,)))
    night.batch("bed", "koji")
    return night


def test_a_koji_bed_without_heat_is_cold_and_not_displaced() -> None:
    """Six degrees an hour while the room cools with it."""
    night = bed().play(
        180, inside=noisy(ramp(40.0, -6.0, since=60)), dry=noisy(ramp(32.0, -8.0, since=50))
    )
    assert "inside/displaced" not in night.alarms()
    (raised,) = night.raised("bed/cold")
    assert 70 + 15 <= raised <= 70 + 15 + 6


def test_a_probe_lifted_out_of_the_koji_is_displaced() -> None:
    night = bed().play(120, inside=pulled(40.0, 32.0, 60), dry=noisy(32.0))
    (raised,) = night.raised("inside/displaced")
    assert raised <= 75
    assert not {"bed/cold", "bed/far-cold"} & night.alarms()


def test_koji_worked_by_hand_falls_and_rises_and_displaces_nothing() -> None:
    """The work lowers it by 1.5 K; logged."""
    night = bed().play(60, inside=noisy(40.0), dry=noisy(32.0))
    night.log("bed", "handwork", by="mio")
    night.play(100, inside=noisy(step(40.0, 38.3, 65)), dry=noisy(32.0))
    night.play(200, inside=noisy(ramp(38.6, 1.2, since=100)), dry=noisy(32.0))
    assert "inside/displaced" not in night.alarms()


# ------------------------------------------------------------------------- taken out and put back


def test_a_probe_taken_out_and_put_back_with_a_word_tells_nothing() -> None:
    night = tank().play(60, mid=noisy(10.0), air=5.0)
    night.log("mid", "probe-out", by="mio")
    night.play(100, mid=pulled(10.0, 5.0, 61), air=5.0)
    night.log("mid", "probe-in", by="mio")
    night.play(240, mid=noisy(10.0), air=5.0)
    assert not night.alarms()
    assert night.view.product("tank", night.engine.now) is not None


def test_right_after_it_is_put_back_it_is_not_believed_yet() -> None:
    """The filter still holds the air."""
    night = tank().play(60, mid=noisy(10.0), air=5.0)
    night.log("tank", "probe-out")
    night.play(100, mid=pulled(10.0, 5.0, 61), air=5.0)
    night.log("tank", "probe-in")
    night.play(104, mid=noisy(10.0), air=5.0)
    assert night.view.product("tank", night.engine.now) is None
    night.play(115, mid=noisy(10.0), air=5.0)
    assert night.view.product("tank", night.engine.now) is not None


def test_put_back_without_a_word_it_is_believed_by_itself() -> None:
    night = tank().play(60, mid=noisy(10.0), air=5.0)
    night.log("mid", "probe-out", by="mio")
    night.play(90, mid=pulled(10.0, 5.0, 61), air=5.0).play(112, mid=noisy(10.0), air=5.0)
    assert night.view.product("tank", night.engine.now) is not None
    assert not night.play(240, mid=noisy(10.0), air=5.0).alarms()


def test_a_probe_that_was_forgotten_outside_is_asked_about_after_an_hour() -> None:
    night = tank().play(60, mid=noisy(10.0), air=5.0)
    night.log("mid", "probe-out", by="mio")
    night.play(240, mid=pulled(10.0, 5.0, 61), air=5.0)
    (raised,) = night.raised(ALARM)
    assert 120 <= raised <= 122
    assert not NEVER_TOLD & night.alarms()


def test_forgotten_and_then_put_back_with_a_word_it_is_over() -> None:
    night = tank().play(60, mid=noisy(10.0), air=5.0)
    night.log("mid", "probe-out", by="mio")
    night.play(180, mid=pulled(10.0, 5.0, 61), air=5.0)
    night.log("mid", "probe-in", by="mio")
    night.play(300, mid=noisy(10.0), air=5.0)
    assert night.over(ALARM)
    assert night.view.product("tank", night.engine.now) is not None


def test_two_takings_out_are_two() -> None:
    night = tank().play(60, mid=noisy(10.0), air=5.0)
    for begin in (60, 200):
        night.log("mid", "probe-out")
        night.play(begin + 30, mid=pulled(10.0, 5.0, begin), air=5.0)
        night.log("mid", "probe-in")
        night.play(begin + 140, mid=noisy(10.0), air=5.0)
    assert not night.alarms()


def test_with_two_probes_the_other_one_goes_on_measuring() -> None:
    twin = msgspec.structs.replace(MID, id="low")
    night = Night(cellar(twin))
    night.batch()
    night.play(300, mid=pulled(10.0, 5.0, 60), low=noisy(10.05, seed=2), air=5.0)
    assert night.alarms() == {ALARM}
    night.play(480, mid=noisy(5.0), low=noisy(10.8, seed=2), air=5.0)
    assert "tank/warm" in night.alarms()


def test_a_batch_that_ended_forgets_it() -> None:
    night = tank().play(120, mid=pulled(10.0, 5.0, 60), air=5.0)
    night.log("tank", "batch-end")
    assert not night.stands(ALARM)


def test_an_addition_that_was_logged_displaces_nothing() -> None:
    """Water and koji bring 13.5 down to 9.5 in a cellar of 8; the plan of the stage says so."""
    stages = (stage("odori", 13.5), stage("naka", 9.5, settle=3 * 60 * MINUTE))
    night = Night(cellar(stages=stages))
    night.batch()
    night.play(60, mid=noisy(13.5), air=8.0)
    night.log("tank", "addition", what="water-koji", by="mio")
    night.log("tank", "stage", stage="naka", by="mio")
    night.play(240, mid=noisy(step(13.5, 9.5, 65)), air=8.0)
    assert not night.alarms()


def test_air_is_measured_by_a_probe_of_the_tank_where_no_room_has_one() -> None:
    beside = msgspec.structs.replace(AIR, of="tank")
    night = Night(house(TANK, CELLAR, MID, beside, courses=(course(),)))
    night.batch()
    night.play(120, mid=pulled(10.0, 5.0, 60), air=5.0)
    assert night.raised(ALARM)[0] <= 75


@pytest.mark.parametrize(("moved", "doubted"), [(0.7, False), (0.85, True)])
def test_eight_tenths_at_once_are_no_mash(moved: float, doubted: bool) -> None:
    night = tank().play(66, mid=step(10.0, 10.0 - moved, 60), air=2.0)
    assert (night.view.product("tank", night.engine.now) is None) is doubted


def test_a_step_that_goes_elsewhere_is_believed_after_half_an_hour() -> None:
    """The filter shows it at minute 64; from 94 on it is the product."""
    night = tank().play(94, mid=step(10.0, 9.0, 60), air=2.0)
    assert night.view.product("tank", night.engine.now) is None
    night.play(96, mid=9.0, air=2.0)
    assert night.view.product("tank", night.engine.now) is not None


@pytest.mark.parametrize(("to", "told"), [(6.0, True), (7.0, False)])
def test_three_fifths_of_the_way_to_the_air_are_no_product_after_a_quarter_of_an_hour(
    to: float, told: bool
) -> None:
    """From 10 °C towards a cellar of 4."""
    night = tank().play(76, mid=step(10.0, to, 60), air=4.0)
    assert not night.alarms()
    night.play(82, mid=to, air=4.0)
    assert (ALARM in night.alarms()) is told


@pytest.mark.parametrize(("to", "told"), [(8.0, True), (8.2, False)])
def test_where_nothing_measures_the_air_two_degrees_are(to: float, told: bool) -> None:
    night = tank(air=False).play(120, mid=step(10.0, to, 60))
    assert (ALARM in night.alarms()) is told


@pytest.mark.parametrize(("to", "told"), [(15.0, True), (14.8, False)])
def test_five_degrees_at_once_are_told_after_eight_minutes(to: float, told: bool) -> None:
    """No air is as warm as that; less than five may be hot water in the jacket."""
    night = tank().play(69, mid=step(10.0, to, 60), air=6.0)
    assert not night.alarms()
    night.play(74, mid=to, air=6.0)
    assert (ALARM in night.alarms()) is told


def test_back_by_more_than_half_of_the_step_it_was_nothing() -> None:
    """0.3 K from where it was: believed at once."""
    night = tank().play(75, mid=step(10.0, 9.0, 60, 68), air=2.0)
    assert night.view.product("tank", night.engine.now) is not None


def test_put_back_it_is_believed_a_quarter_of_an_hour_after_the_filter_shows_it() -> None:
    night = tank().play(180, mid=step(10.0, 5.0, 60), air=5.0)
    night.play(240, mid=10.0, air=5.0)
    (over,) = night.over(ALARM)
    assert 180 + 15 <= over <= 180 + 20


STARTER = msgspec.structs.replace(TANK, kind="starter")
COOLED = course(
    stage("hot", 56.0, hours=6),
    stage("cooled", 56.0, hours=3, rate=-11.3, tolerance=Sides(3.0, 3.0), limit=Sides(5.0, 5.0)),
    never=(2.0, 62.0), whither="starter",
)  # fmt: skip


def hot_starter() -> Night:
    night = Night(house(STARTER, CELLAR, MID, AIR, courses=(COOLED,)))
    night.batch(stage="hot", since=0)
    night.play(120, mid=noisy(56.0), air=6.0)
    night.log("tank", "stage", stage="cooled")
    return night


def test_a_hot_starter_that_is_cooled_as_planned_has_lost_no_probe() -> None:
    """From 56 °C by 11 K an hour, two degrees behind in the middle; a mash alone cannot."""

    def cooled(minute: float) -> float:
        planned = 56.0 - 11.3 * (minute - 120) / 60
        return planned + 2.0 * math.sin(math.pi * min(minute - 120, 180) / 180)

    night = hot_starter().play(290, mid=noisy(cooled), air=6.0)
    assert not night.alarms()


def test_a_probe_pulled_while_a_starter_is_cooled_is_told_once_it_is_beyond_the_plan() -> None:
    """It falls to the room within minutes, far below where cooling by hand can be."""
    pull = pulled(46.0, 6.0, 173)
    night = hot_starter()
    night.play(173, mid=noisy(lambda m: 56.0 - 11.3 * (m - 120) / 60), air=6.0)
    night.play(230, mid=pull, air=6.0)
    assert ALARM in night.alarms()
    assert not {"tank/cold", "tank/far-cold"} & night.alarms()


def test_what_no_course_heats_is_being_washed() -> None:
    """Above 45 °C in a mash of 10 °C; 64 °C in sake that its course heats is that sake."""
    heated = course(stage("heat", 15.0, hours=1, rate=49.0, tolerance=Sides(8.0, 8.0),
                          limit=Sides(10.0, 10.0)), never=(0.0, 72.0))  # fmt: skip
    night = Night(house(TANK, CELLAR, MID, AIR, courses=(heated,)))
    night.batch(since=0)
    night.play(59, mid=noisy(lambda m: 15.0 + 49.0 * m / 60), air=12.0).play(80, mid=64.0, air=12.0)
    assert ALARM not in night.alarms()
    assert ALARM not in night.play(90, mid=72.0, air=12.0).alarms(), "as hot as its course allows"
    mash = tank().play(60, mid=10.0, air=8.0).play(120, mid=64.0, air=8.0)
    assert ALARM in mash.alarms()


# -------------------------------------------------------------------------------- what it answers


def test_what_it_answers_from_the_step_to_the_return() -> None:
    """All at once to the cellar's 5 °C at 60; back in the mash at 100."""
    night = tank()
    assert night.why(ALARM) == ["lacks: no-value"]
    night.play(60, mid=10.0, air=5.0)
    calm = ["seen: room-air value=5", "lacks: no-step edge=0.8 unit=K wanted=11"]
    assert night.why(ALARM) == calm
    night.play(65, mid=5.0, air=5.0)
    seen = ["seen: room-air value=5", "seen: before value=10"]
    assert night.why(ALARM) == [*seen, "lacks: in-doubt value=-5 unit=K since=62 wanted=30"]
    night.play(100, mid=5.0, air=5.0)
    assert night.why(ALARM) == ["stands", *seen, "ends: over-since wanted=15"]
    alarm = night.engine.alarm_manager.alarm("mid", "displaced")
    assert (alarm.value, alarm.planned, alarm.since) == (5.0, 10.0, night.start + 62 * MINUTE)
    night.play(110, mid=10.0, air=5.0)
    assert night.why(ALARM) == ["stands", *seen, "ends: over-since since=103 wanted=15"]
    night.play(130, mid=10.0, air=5.0)
    assert night.over(ALARM) == [118]
    assert night.why(ALARM) == calm
    night.play(145, air=5.0)
    assert night.why(ALARM) == [calm[0], "lacks: no-value since=129"]
    night.log("tank", "batch-end")
    assert night.why(ALARM) == []


def test_what_it_answers_of_a_probe_taken_out_and_put_back() -> None:
    night = tank().play(60, mid=10.0, air=5.0)
    night.log("mid", "probe-out")
    out = ["seen: room-air value=5", "seen: before value=10"]
    night.play(70, mid=5.0, air=5.0)
    assert night.why(ALARM) == [*out, "lacks: taken-out since=60 until=120"]
    night.log("mid", "probe-in")
    night.play(75, mid=10.0, air=5.0)
    assert night.why(ALARM) == [*out, "lacks: put-back since=70 wanted=10"]
    night.play(79, mid=10.0, air=5.0)
    assert night.view.product("tank", night.engine.now) is None
    night.play(81, mid=10.0, air=5.0)
    assert night.view.product("tank", night.engine.now) is not None
    assert night.why(ALARM) == [
        "seen: room-air value=5",
        "lacks: no-step edge=0.8 unit=K wanted=11",
    ]


def test_what_it_answers_where_nothing_measures_the_air() -> None:
    night = tank(air=False).play(60, mid=10.0).play(93, mid=8.9)
    doubt = ["seen: before value=10", "lacks: in-doubt value=-1.1 unit=K since=64 wanted=30"]
    assert night.why(ALARM) == doubt
    night.play(95, mid=8.9)
    assert night.why(ALARM) == ["lacks: no-step edge=0.8 unit=K wanted=11"]
    stirs = [m for m in night.view.entry_log.of("tank").masks if m.why == STIR_SEEN]
    assert [m.start for m in stirs] == [night.start + 64 * MINUTE]


@pytest.mark.parametrize(("kind", "step"), [("starter", 1.2), ("koji-bed", 2), ("tank", 0.8)])
def test_each_kind_of_place_has_its_own_step(kind: PlaceKind, step: float) -> None:
    place = msgspec.structs.replace(TANK, kind=kind)
    shape = koji(30.0) if kind == "koji-bed" else stage()
    night = Night(house(place, CELLAR, MID, courses=(course(shape, whither=kind),)))
    night.batch()
    night.play(30, mid=10.0)
    assert night.why(ALARM) == [f"lacks: no-step edge={step} unit=K wanted=11"]
    night.play(40, mid=10.0 - step + 0.01)
    assert night.why(ALARM)[-1].startswith("lacks: no-step")
    night.play(46, mid=10.0 - 2 * step)
    assert night.why(ALARM)[-1].startswith("lacks: in-doubt")


# ------------------------------------------------------------------- the edges of being understood


def believed(night: Night, place: str = "tank") -> bool:
    return night.view.product(place, night.engine.now) is not None


def test_what_goes_along_with_its_plan_is_believed_all_the_while() -> None:
    """11 K an hour out of 56 °C: a step each time, and never in doubt."""
    night = hot_starter()
    for minute in range(130, 290, 5):
        night.play(minute, mid=lambda m: 56.0 - 11.3 * (m - 120) / 60, air=6.0)
        assert believed(night), minute


def test_half_way_back_is_not_back() -> None:
    """Half of the step of 0.8 K decides: 0.5 away it is in doubt still, 0.3 away it is not."""
    for back, known in ((9.5, False), (9.7, True)):
        night = tank().play(75, mid=lambda m, b=back: 10 if m < 60 else 9 if m < 68 else b, air=2.0)
        assert believed(night) is known


@pytest.mark.parametrize("way", [1, -1])
@pytest.mark.parametrize(("rate", "known"), [(1.6, True), (2.3, False)])
def test_what_goes_on_as_no_mash_can_is_not_accepted(way: int, rate: float, known: bool) -> None:
    """A degree at once, and on from there by 0.3 or 0.4 K in eleven minutes, away from the air."""
    goes = lambda m: 10.0 if m < 60 else 10.0 + way * (1.0 + rate * (m - 60) / 60)  # noqa: E731
    night = tank().play(97, mid=goes, air=10.0 - way * 8.0)
    assert believed(night) is known


def test_a_koji_probe_lifted_during_the_work_is_doubted_until_the_work_is_over() -> None:
    """It reads the room's 32 °C; whoever works there may have taken it out."""
    night = bed().play(60, inside=40.0, dry=32.0)
    night.log("bed", "handwork", within="45m")
    (mask,) = night.view.entry_log.of("bed").masks
    ends = (mask.end - night.start) / 60
    night.play(ends - 1, inside=32.0, dry=32.0)
    assert not believed(night, "bed") and "inside/displaced" not in night.alarms()
    night.play(ends + 6, inside=32.0, dry=32.0)
    assert "inside/displaced" in night.alarms()


def test_in_koji_no_step_is_taken_for_a_stir() -> None:
    night = bed().play(60, inside=40.0, dry=20.0)
    night.play(110, inside=lambda m: 37.9 if m < 67 else 38.9, dry=20.0)
    assert believed(night, "bed")
    assert not [m for m in night.view.entry_log.of("bed").masks if m.why == STIR_SEEN]


@pytest.mark.parametrize(("to", "stirred"), [(8.85, True), (8.75, False)])
def test_in_a_tank_a_step_of_up_to_twelve_tenths_was_a_stir(to: float, stirred: bool) -> None:
    night = tank(air=False).play(100, mid=step(10.0, to, 60))
    assert believed(night)
    masks = [m for m in night.view.entry_log.of("tank").masks if m.why == STIR_SEEN]
    assert bool(masks) is stirred


def test_two_degrees_by_an_addition_are_no_displaced_probe() -> None:
    """Nothing measures the air; the crew is asked about the addition instead."""
    odori, naka = stage("odori", 13.5, hours=30), stage("naka", 9.5, hours=24, settle=3 * 3600.0)
    night = Night(house(TANK, CELLAR, MID, courses=(course(odori, naka),)))
    night.batch()
    night.play(60, mid=13.5)
    night.play(230, mid=lambda m: 13.5 - 3.9 * min((m - 60) / 6, 1.0))
    assert night.alarms() == {"tank/addition-unlogged"}


@pytest.mark.parametrize(("back", "over"), [(9.0, True), (8.9, False)])
def test_without_air_it_is_back_within_a_degree_of_where_it_was(back: float, over: bool) -> None:
    night = tank(air=False).play(90, mid=step(10.0, 5.0, 60)).play(130, mid=back)
    assert bool(night.over(ALARM)) is over


@pytest.mark.parametrize(("back", "over"), [(11.0, True), (11.2, False)])
def test_beside_air_as_warm_as_the_mash_it_is_back_within_a_degree_too(
    back: float, over: bool
) -> None:
    """Washed at 60 °C in a cellar of 11; 0.4 K of way to the air say nothing."""
    night = tank().play(90, mid=step(10.0, 60.0, 60), air=11.0).play(140, mid=back, air=11.0)
    assert night.raised(ALARM) and bool(night.over(ALARM)) is over


def test_it_left_the_air_when_two_fifths_of_the_way_are_behind_it() -> None:
    """From 5 towards 10 °C: at 8.1 it is on its way back, at 7.9 it is not."""
    for reads, over in ((8.1, True), (7.9, False)):
        night = tank().play(90, mid=step(10.0, 5.0, 60), air=5.0).play(130, mid=reads, air=5.0)
        assert bool(night.over(ALARM)) is over


def test_put_back_without_a_word_it_is_no_longer_out_after_a_quarter_of_an_hour() -> None:
    night = tank().play(60, mid=10.0, air=5.0)
    night.log("mid", "probe-out")
    night.play(90, mid=5.0, air=5.0)
    states = []
    for minute in range(92, 116):
        night.play(minute, mid=10.0, air=5.0)
        states.append(bool(night.view.probe_states["mid"].suspect))
    assert states.index(False) + 92 == 110 and not any(states[states.index(False) :])


@pytest.mark.parametrize(("minute", "gone"), [(118, False), (121, True)])
def test_a_taking_out_lasts_an_hour(minute: float, gone: bool) -> None:
    night = tank().play(60, mid=10.0, air=5.0)
    night.log("mid", "probe-out")
    assert bool(night.play(minute, mid=5.0, air=5.0).raised(ALARM)) is gone


def test_a_probe_of_another_house_begins_anew() -> None:
    """In doubt, and then it hangs elsewhere: nothing of the old place is held against it."""
    night = tank().play(66, mid=step(10.0, 9.0, 60), air=2.0)
    assert not believed(night)
    detector = next(d for _, d in night.engine.registry.about["mid"] if "displaced" in d.conditions)
    detector.settle()
    assert detector.doubt is not None, "the same probe of the same house"
    detector.probe_state = None
    detector.settle()
    assert detector.doubt is None and detector.held is None


def test_half_way_to_the_air_is_still_at_the_air() -> None:
    """Colder than the cellar's 8.75 °C for five minutes, then half of the way to it."""
    wavers = lambda m: 10.0 if m < 60 else 8.0 if m < 65 else 9.375  # noqa: E731
    assert tank().play(120, mid=wavers, air=8.75).raised(ALARM) == [70]


def test_what_comes_home_to_its_plan_may_be_the_product_wherever_the_air_stands() -> None:
    """A mash 1.5 K too warm that is stirred down to its plan, in a cellar just as cold."""
    night = tank().play(200, mid=step(11.5, 10.2, 60), air=10.2)
    assert ALARM not in night.alarms() and believed(night)


def test_a_tank_of_sake_has_a_band_and_no_plan_to_go_along_with() -> None:
    night = Night(house(msgspec.structs.replace(TANK, band=(0.0, 12.0)), CELLAR, MID, AIR))
    assert night.play(120, mid=step(10.0, 5.0, 60), air=5.0).raised(ALARM) == [67]


@pytest.mark.parametrize(
    ("reads", "air", "over"),
    [(2.4, 1.0, False), (2.5, 1.0, True), (3.7, 5.0, False), (2.4, None, True)],
)
def test_hung_elsewhere_while_out_it_is_back_once_it_is_clear_of_the_air(
    reads: float, air: float | None, over: bool
) -> None:
    """What it measured in the other tank says nothing of this one: 1.4 K from the air decide."""
    other = msgspec.structs.replace(TANK, id="other", band=(0.0, 16.0))
    night = Night(cellar(other))
    night.batch()
    night.play(90, mid=step(10.0, 1.0, 60), air=1.0)
    night.rehang(MID, "other")
    quiet = {} if air is None else {"air": air}
    night.play(100, **quiet)
    night.play(140, mid=reads, **quiet)
    assert night.raised(ALARM) and bool(night.over(ALARM)) is over


def test_without_a_batch_nothing_is_held_against_a_probe() -> None:
    night = tank().play(66, mid=step(10.0, 9.0, 60), air=2.0)
    assert night.view.probe_states["mid"].suspect == {"step"}
    night.log("tank", "batch-end")
    assert not night.view.probe_states["mid"].suspect


@pytest.mark.parametrize(("silent", "doubted"), [(11, True), (12, False)])
def test_a_step_is_one_within_eleven_minutes(silent: float, doubted: bool) -> None:
    """A degree from one reading to the next: after a longer silence nobody knows how it went."""
    night = tank().play(61, mid=10.0, air=2.0).play(60 + silent, air=2.0)
    night.play(61 + silent, mid=9.0, air=2.0)
    assert ("step" in night.view.probe_states["mid"].suspect) is doubted


def test_a_warm_cask_does_more_than_a_stir_can() -> None:
    """Two degrees while it hangs in the tank are its own; the same at a stir are none of a mash."""
    for work, doubted in (("cask-in", False), ("stir", True)):
        night = tank().play(60, mid=10.0, air=2.0)
        night.log("tank", work)
        night.play(72, mid=12.0, air=2.0)
        assert ("step" in night.view.probe_states["mid"].suspect) is doubted


@pytest.mark.parametrize(("before", "doubted"), [(10.0, True), (9.3, False)])
def test_what_is_at_the_air_after_work_hangs_in_it_if_it_was_clear_of_it(
    before: float, doubted: bool
) -> None:
    """A cask goes in, and the probe reads the cellar's 8 °C: 2 K away it was pulled out with it,
    1.3 K away nobody can tell."""
    shape = stage(tolerance=Sides(0.1, 0.1))
    night = tank(stages=(shape,)).play(60, mid=before, air=8.0)
    night.log("tank", "cask-in")
    night.play(70, mid=8.2, air=8.0)
    assert ("step" in night.view.probe_states["mid"].suspect) is doubted
