"""Warm and cold: a product against the plan in force, told exactly when it should be."""

from __future__ import annotations

import random
import statistics

import msgspec
import pytest

from kuraban.core.detectors.product_band import deadband, off_delay
from kuraban.core.facts import Reading
from kuraban.core.planned_curve import Sides
from kuraban.core.probes.probe_state import ProbeState
from kuraban.core.site import Probe
from kuraban.core.units import HOUR, MINUTE
from tests.core.detectors.kit import (
    MID,
    TANK,
    WIDE,
    Night,
    Trace,
    cellar,
    course,
    house,
    noisy,
    ramp,
    saw,
    stage,
    step,
)

AIR = 6.0
OF_THE_PRODUCT = {"tank/warm", "tank/cold", "tank/far-warm", "tank/far-cold", "tank/trending-warm"}
ENTERS = 1
"""Minutes from a step to the moment from which it counts: the middle of the first seven readings
that show it whole."""
SHOWS = 4
"""Minutes until those readings are there."""


def tank(*stages: object, since: float = -600) -> Night:
    night = Night(cellar(stages=stages))  # type: ignore[arg-type]
    night.batch(since=since)
    return night


# ------------------------------------------------------------------------------ delay and return


@pytest.mark.parametrize(("celsius", "alarm"), [(10.6, "tank/warm"), (9.4, "tank/cold")])
def test_a_tank_outside_its_tolerance_is_told_exactly_at_the_delay(
    celsius: float, alarm: str
) -> None:
    night = tank().play(180, mid=step(10.0, celsius, 60), air=AIR)
    assert night.raised(alarm) == [60 + ENTERS + 60]
    assert night.alarms() == {alarm}
    assert night.pages(alarm)[0].role == "brewer"


def test_a_slow_drift_is_told_by_the_delay_after_its_true_exit() -> None:
    """0.1 K an hour: 0.5 K beyond the plan after five hours; the filter lags by three minutes."""
    night = tank().play(480, mid=ramp(10.0, 0.1), air=AIR)
    (raised,) = night.raised("tank/warm")
    assert 300 + 60 <= raised <= 300 + 60 + 5


def test_a_slow_drift_in_noisy_sixteenths_is_told_at_its_delay() -> None:
    """The exit is found from the line through the readings about it while the delay runs."""
    late = []
    for seed in range(20):
        night = tank().play(480, mid=noisy(ramp(10.0, 0.1), 0.03, seed), air=AIR)
        late.append(night.raised("tank/warm")[0] - (300 + 60))
    assert min(late) >= -12
    assert max(late) <= 10
    assert abs(statistics.median(late)) <= 5


def test_a_fast_drift_is_told_by_its_limit_before_the_delay_is_over() -> None:
    """Three degrees an hour leave the limit of 1.0 K after 20 minutes, and 20 more tell it."""
    night = tank().play(180, mid=ramp(10.0, 3.0, since=60), air=AIR)
    (far,) = night.raised("tank/far-warm")
    assert 80 + 20 <= far <= 80 + 20 + SHOWS
    assert far < 60 + 10 + 60


def test_an_exit_shorter_than_the_delay_wakes_nobody() -> None:
    night = tank().play(240, mid=step(10.0, 10.6, 60, 115), air=AIR)
    assert not night.alarms()


def test_a_saw_tooth_that_grazes_the_tolerance_wakes_nobody() -> None:
    """Normal on/off cooling, 0.3 K high, its peaks beyond the band for a sixth of the time."""
    night = tank().play(24 * 60, mid=saw(10.4, 0.3, 120), air=AIR)
    assert not {"tank/warm", "tank/far-warm"} & night.alarms()


@pytest.mark.parametrize("period", [40, 60, 90, 150])
def test_a_saw_tooth_whose_middle_left_the_band_is_told_once(period: float) -> None:
    """It dips inside every time before an ordinary on-delay is over, and is a true exit still."""
    night = tank().play(24 * 60, mid=saw(10.6, 0.3, period), air=AIR)
    steps = night.steps("tank/warm")
    assert [name for _, name in steps] == ["raised"]
    assert 60 <= steps[0][0] <= 180


def test_a_return_takes_the_deadband_and_the_off_delay() -> None:
    """Inside the tolerance by less than 0.1 K it has not returned; by more, after 15 minutes.

    Deadband and off-delay as OPC 10000-9 Annex B.1.5 means them; 1 % of a span of 0 to 50 °C,
    which EEMUA 191 gives for temperatures, would be 0.5 K and hide a slow mash's return.
    """
    night = tank().play(150, mid=step(10.0, 10.6, 60), air=AIR)
    night.play(240, mid=10.45, air=AIR)
    assert night.stands("tank/warm")
    night.play(300, mid=10.38, air=AIR)
    (over,) = night.over("tank/warm")
    assert 240 + 15 <= over <= 240 + 15 + SHOWS


def test_a_short_dip_inside_ends_no_alarm() -> None:
    night = tank().play(150, mid=step(10.0, 10.6, 60), air=AIR)
    night.play(162, mid=10.2, air=AIR).play(300, mid=10.6, air=AIR)
    assert night.steps("tank/warm") == [(121, "raised")]


@pytest.mark.parametrize(("tolerance", "band"), [(0.3, 0.1), (0.5, 0.1), (1.0, 0.2), (3.5, 0.7)])
def test_the_deadband_is_a_fifth_of_the_tolerance_and_at_least_a_tenth_of_a_degree(
    tolerance: float, band: float
) -> None:
    assert deadband(tolerance) == pytest.approx(band)


def test_the_off_delay_is_a_quarter_of_the_delay_and_at_most_a_quarter_of_an_hour() -> None:
    assert off_delay(30 * MINUTE) == 7.5 * MINUTE
    assert off_delay(90 * MINUTE) == 15 * MINUTE


def test_each_side_has_its_own_tolerance() -> None:
    """The first addition's tank may read 9 °C that evening without anything being wrong, where
    12 are planned (common practice); a degree and a half above is another matter."""
    soe = stage("soe", 12.0, tolerance=Sides(3.5, 1.0), limit=Sides(4.5, 2.0))
    assert not tank(soe).play(400, mid=9.0, air=AIR).alarms()
    assert tank(soe).play(400, mid=13.5, air=AIR).alarms() == {"tank/warm"}
    assert tank(soe).play(400, mid=8.2, air=AIR).alarms() == {"tank/cold"}


def test_the_plan_may_rise_and_the_product_with_it() -> None:
    rising = stage(rate=0.2)
    night = tank(rising, since=0).play(600, mid=ramp(10.0, 0.2), air=AIR)
    assert not night.alarms()


# -------------------------------------------------------------------------------- what never may


def _stirred(night: Night) -> None:
    night.log("tank", "stir", within="5h")


def _let_run(night: Night) -> None:
    night.log("tank", "let-run", within="8h", more=8)


def _aimed(night: Night) -> None:
    night.log("tank", "aim", celsius=18.0, by_minute=360, then="level")


def _resettled(night: Night) -> None:
    night.log("tank", "stage", stage="later")


@pytest.mark.parametrize("deed", [_stirred, _let_run, _aimed, _resettled])
def test_no_mask_aim_let_run_or_settling_moves_what_the_course_never_allows(deed: object) -> None:
    """Never above 16 °C: told at once, whatever was logged."""
    loose = {"tolerance": Sides(9, 9), "limit": Sides(9, 9)}
    stages = (stage(celsius=14.0, **loose), stage("later", 14.0, settle=9 * HOUR, **loose))
    night = tank(*stages).play(60, mid=14.0, air=AIR)
    deed(night)  # type: ignore[operator]
    night.play(240, mid=ramp(14.0, 1.0, since=60), air=AIR)
    (raised,) = night.raised("tank/far-warm")
    assert 180 < raised <= 180 + SHOWS
    assert night.evidence("tank/far-warm") == ("never",)


def test_beyond_what_the_course_never_allows_nothing_is_waited_for_on_the_cold_side_either() -> (
    None
):
    loose = stage(celsius=4.0, tolerance=Sides(3, 3), limit=Sides(4, 4))
    night = tank(loose).play(240, mid=ramp(4.0, -1.0, since=60), air=1.0)
    (raised,) = night.raised("tank/far-cold")
    assert 120 < raised <= 120 + SHOWS


@pytest.mark.parametrize(("celsius", "edge", "inward"), [(14.0, 16.0, -1), (5.0, 3.0, 1)])
def test_at_the_edge_of_what_is_never_allowed_it_is_one_alarm(
    celsius: float, edge: float, inward: int
) -> None:
    """It is over once the product is a tenth of a degree inside."""
    loose = stage(celsius=celsius, tolerance=Sides(9, 9), limit=Sides(9, 9))
    alarm = "tank/far-warm" if inward < 0 else "tank/far-cold"
    wobble = lambda m: edge - 0.06 * inward if m % 40 < 20 else edge + 0.06 * inward  # noqa: E731
    night = tank(loose).play(20, mid=celsius, air=AIR).play(240, mid=wobble, air=AIR)
    assert len(night.raised(alarm)) == 1 and not night.over(alarm)
    night.play(300, mid=edge + 0.14 * inward, air=AIR)
    assert len(night.over(alarm)) == 1


# ------------------------------------------------------------------------------ settling and masks


def test_while_a_stage_settles_nothing_is_told_and_then_at_once() -> None:
    """The time outside ran on beneath."""
    night = tank(stage(settle=3 * HOUR), since=0).play(300, mid=10.7, air=AIR)
    assert night.raised("tank/warm") == [180]


def test_a_stage_settles_from_its_last_rice() -> None:
    """Rice two hours after the mark: three hours from the rice, not from the mark."""
    night = tank(stage(settle=3 * HOUR), since=0).play(120, mid=10.7, air=AIR)
    night.log("tank", "addition", what="rice")
    night.play(400, mid=10.7, air=AIR)
    assert night.raised("tank/warm") == [300]


def test_a_stir_holds_the_telling_and_the_time_outside_runs_on() -> None:
    """Due at 121; stirred from 70 for two hours, and twenty minutes more."""
    night = tank().play(70, mid=step(10.0, 10.6, 60), air=AIR)
    night.log("tank", "stir", within="2h")
    night.play(300, mid=10.6, air=AIR)
    assert night.raised("tank/warm") == [70 + 120 + 20]


def test_a_stirred_tank_wakes_nobody() -> None:
    night = tank().play(70, mid=10.0, air=AIR)
    night.log("tank", "stir")
    night.play(95, mid=10.7, air=AIR).play(300, mid=10.2, air=AIR)
    assert not night.alarms()


def test_an_alarm_that_stands_does_not_end_under_a_mask() -> None:
    """Cold spots of a stir are no return."""
    night = tank().play(150, mid=step(10.0, 10.6, 60), air=AIR)
    night.log("tank", "stir", within="1h")
    night.play(225, mid=10.2, air=AIR)
    assert night.stands("tank/warm")
    night.play(260, mid=10.2, air=AIR)
    assert night.over("tank/warm") == [150 + 60 + 20]


# ---------------------------------------------------------------------------- let-run and new aims


def test_whoever_lets_it_run_is_judged_by_from_that_moment() -> None:
    """At 10.7 and 0.4 more: quiet at 11.0, told at 11.2 after the limit's delay."""
    night = tank().play(150, mid=step(10.0, 10.7, 60), air=AIR)
    night.log("tank", "let-run", within="6h", more=0.4, by="aki")
    assert not night.stands("tank/warm")
    night.play(300, mid=11.0, air=AIR)
    assert night.raised("tank/warm") == [121]
    night.play(360, mid=11.2, air=AIR)
    assert night.raised("tank/warm")[1:] == [300 + 20]  # two thirds of the step suffice


def test_a_let_run_guards_the_other_side_of_its_moment_as_well() -> None:
    night = tank().play(150, mid=step(10.0, 10.7, 60), air=AIR)
    night.log("tank", "let-run", within="6h", more=0.4)
    night.play(240, mid=10.2, air=AIR)
    assert night.raised("tank/cold") == [150 + ENTERS + 20]


def test_when_the_let_run_ends_the_plan_counts_again() -> None:
    night = tank().play(150, mid=step(10.0, 10.7, 60), air=AIR)
    night.log("tank", "let-run", within="2h", more=0.4)
    night.play(400, mid=10.8, air=AIR)
    assert night.raised("tank/warm")[1:] == [
        150 + 120 + 60 - 4
    ]  # from the middle of the last readings on


def test_a_new_aim_is_what_the_product_is_judged_by() -> None:
    """A degree lower by morning, and the tank follows: out of the course, on the plan, quiet."""
    night = tank().play(30, mid=10.0, air=AIR)
    night.log("tank", "aim", celsius=9.0, by_minute=330)
    night.play(700, mid=noisy(lambda m: max(10.0 - (m - 30) / 300, 9.0)), air=AIR)
    assert not night.alarms()


def test_a_tank_that_stays_behind_a_new_aim_is_told() -> None:
    night = tank().play(30, mid=10.0, air=AIR)
    night.log("tank", "aim", celsius=9.0, by_minute=330, then="level")
    night.play(500, mid=10.0, air=AIR)
    (raised,) = night.raised("tank/warm")
    assert 180 + 60 <= raised <= 180 + 60 + 2


# ------------------------------------------------------------------------------- stages and batches


def test_a_new_stage_is_judged_anew() -> None:
    """What was nearly an alarm of the rest day is none of the second addition's."""
    stages = (stage("odori"), stage("naka", 10.0))
    night = tank(*stages).play(110, mid=10.6, air=AIR)
    night.log("tank", "stage", stage="naka")
    night.play(200, mid=10.6, air=AIR)
    assert night.raised("tank/warm") == [60, 110 + 60 - 4]
    assert night.over("tank/warm") == [110]


def test_a_batch_that_ended_is_judged_no_more() -> None:
    night = tank().play(150, mid=10.7, air=AIR)
    night.log("tank", "batch-end")
    assert not night.stands("tank/warm")
    night.play(400, mid=18.0, air=AIR)
    assert night.alarms() == {"tank/warm"}


def test_a_tank_out_of_service_is_not_judged_until_put_back() -> None:
    night = tank().play(30, mid=10.0, air=AIR)
    night.log("tank", "out-of-service", reason="valve being changed")
    night.play(300, mid=10.7, air=AIR)
    assert not night.alarms()
    night.log("tank", "in-service")
    night.play(400, mid=10.7, air=AIR)
    assert night.raised("tank/warm") == [300 + 60 - 4]


# ---------------------------------------------------------------------- what measures, and what not


def test_while_nothing_measures_it_the_product_keeps_its_last_state() -> None:
    night = tank().play(150, mid=step(10.0, 10.6, 60), air=AIR)
    night.play(330, air=AIR)
    assert night.steps("tank/warm") == [(121, "raised")]
    assert night.stands("tank/warm")


def test_a_probe_hauled_out_neither_clears_nor_raises() -> None:
    """Warm stands; the probe is pulled into a cellar of 6 °C: still warm, and never cold."""
    night = tank().play(150, mid=step(10.0, 10.6, 60), air=AIR)
    night.play(400, mid=AIR, air=AIR)
    assert night.steps("tank/warm") == [(121, "raised")]
    assert "tank/cold" not in night.alarms()
    assert night.stands("mid/displaced")


def test_a_hand_thermometer_counts_while_no_probe_does() -> None:
    """Outside by hand, and nothing better for an hour: told; after four hours it says nothing."""
    night = tank().play(30, mid=10.0, air=AIR).play(60, air=AIR)
    night.log("tank", "check", celsius=10.8, by="mio")
    night.play(130, air=AIR)
    assert night.raised("tank/warm") == [60 + 60]
    assert night.view.product("tank", night.start + 299 * 60) == (10.8, night.start + 3600)
    assert night.view.product("tank", night.start + 301 * 60) is None


def test_a_drift_that_began_in_an_outage_is_told_once_a_current_reading_agrees() -> None:
    """Two hours without network; the board tells them all at once, outside since minute 100, and
    the youngest of them are of now."""
    night = tank().play(60, mid=10.0, air=AIR).play(180, air=AIR)
    kept = [
        {"value": 10.2 if minute < 100 else 10.7, "at": night.moment(minute)}
        for minute in range(60, 180)
    ]
    night.send("reading/mid", msgspec.json.encode(kept).decode())
    night.play(190, mid=10.7, air=AIR)
    (raised,) = night.raised("tank/warm")
    assert 180 <= raised <= 180 + SHOWS


def test_an_outage_whose_end_is_fine_again_is_history() -> None:
    night = tank().play(60, mid=10.0, air=AIR).play(180, air=AIR)
    kept = [{"value": 10.7, "at": night.moment(minute)} for minute in range(60, 170)]
    night.send("reading/mid", msgspec.json.encode(kept).decode())
    night.play(400, mid=10.1, air=AIR)
    assert not OF_THE_PRODUCT & night.alarms()


def test_a_kept_message_of_the_broker_judges_nothing() -> None:
    night = tank().play(60, mid=10.0, air=AIR)
    night.send("reading/mid", "18.0", retained=True)
    night.play(180, mid=10.0, air=AIR)
    assert not night.alarms()


def test_several_probes_are_judged_by_their_middle() -> None:
    """One of three that stands a degree too high moves nothing."""
    others = (msgspec.structs.replace(MID, id="low"), msgspec.structs.replace(MID, id="high"))
    night = Night(cellar(*others))
    night.batch()
    night.play(300, mid=10.0, low=9.9, high=11.2, air=AIR)
    assert not {"tank/warm", "tank/far-warm"} & night.alarms()


def test_every_alarm_of_one_side_is_one_incident() -> None:
    """Warm, then far: the second message says so, and one incident it stays."""
    night = tank().play(400, mid=ramp(10.0, 0.5, since=60), air=AIR)
    assert [m for _, m in night.steps("tank/warm")] == ["raised"]
    assert [m for _, m in night.steps("tank/far-warm")] == ["raised"]
    assert {page.role for page in night.pages("tank/warm")} == {"brewer"}


# ----------------------------------------------------------------------------- the filter's figures


def through(values: list[float], every: float = 60.0) -> list[float]:
    probe_state = ProbeState(Probe(id="p", of="tank", measures="product", every=every))
    found = []
    for number, value in enumerate(values):
        probe_state.hear(Reading("p", number * every, value, number * every))
        assert probe_state.value is not None
        found.append(probe_state.value)
    return found


@pytest.mark.parametrize(("every", "share"), [(60.0, 0.41), (300.0, 0.67)])
def test_noise_passes_the_filter_at_the_stated_share(every: float, share: float) -> None:
    """20 000 Gaussian readings; the median of three alone has 0.67 of their spread."""
    lot = random.Random(3)
    passed = through([lot.gauss(10.0, 1.0) for _ in range(20_000)], every)[10:]
    assert statistics.stdev(passed) == pytest.approx(share, abs=0.012)


@pytest.mark.parametrize(("every", "lag", "outliers"), [(60.0, 3, 2), (300.0, 1, 1)])
def test_the_filter_lags_and_forgives_as_stated(every: float, lag: int, outliers: int) -> None:
    straight = [10.0 + 0.01 * number for number in range(40)]
    assert through(straight, every)[-1] == pytest.approx(straight[-1 - lag])
    spoiled = [10.0] * 20
    for number in range(outliers):
        spoiled[10 + number] = 60.0
    assert through(spoiled, every) == [10.0] * 20


def test_quantised_flat_data_flags_itself_never() -> None:
    """A probe that flips between two sixteenths: a Hampel filter with a MAD of nothing would call
    every flip an outlier; this one finds the value between the two steps."""
    passed = through([20.0 + (number % 9 == 0) / 16 for number in range(900)])
    assert max(passed) <= 20.0 + 1 / 16
    assert statistics.mean(passed) < 20.0 + 0.5 / 16


def test_noise_alone_does_not_make_an_exit() -> None:
    """Just inside the tolerance, with the noise of a bad probe, for a night."""
    night = tank().play(720, mid=noisy(10.42, 0.06), air=AIR)
    assert not {"tank/warm", "tank/far-warm"} & night.alarms()


def test_a_starter_is_judged_by_its_own_delay() -> None:
    starter = msgspec.structs.replace(TANK, kind="starter")
    shubo = course(stage("peak", 21.0, tolerance=WIDE, limit=Sides(2, 2), delay=30 * MINUTE),
                   never=(2.0, 24.0), whither="starter")  # fmt: skip
    night = Night(house(starter, MID, courses=(shubo,)))
    night.batch()
    trace: Trace = ramp(21.0, 1.0)
    (raised,) = night.play(140, mid=trace).raised("tank/warm")
    assert 60 + 30 <= raised <= 60 + 30 + SHOWS


def test_nobody_is_woken_by_a_value_that_is_older_than_the_probes_rhythm() -> None:
    """Most probes fell silent at the end of a round; the mask ends, and nothing fresh measures."""
    night = tank().play(60, mid=noisy(10.0), air=AIR)
    night.log("tank", "stir")
    night.play(75, mid=noisy(11.4), air=AIR).play(98, air=AIR)
    assert not night.pages("tank/far-warm")


def test_the_next_value_decides_then() -> None:
    night = tank().play(60, mid=noisy(10.0), air=AIR)
    night.log("tank", "stir")
    night.play(75, mid=noisy(11.1), air=AIR).play(84, air=AIR)
    night.play(130, mid=noisy(11.1), air=AIR)
    assert night.raised("tank/far-warm")


# -------------------------------------------------------------------------------- what it answers

NAMES = ("tank/warm", "tank/cold", "tank/far-warm", "tank/far-cold")


def test_what_it_answers_within_its_tolerance_and_where_it_is_not_judged() -> None:
    night = tank()
    assert [night.why(name) for name in NAMES] == [["lacks: no-value"]] * 4
    night.play(60, mid=10.0, air=AIR)
    assert [night.why(name) for name in NAMES] == [
        ["lacks: must-rise value=10 edge=10.5 wanted=60"],
        ["lacks: must-fall value=10 edge=9.5 wanted=60"],
        ["lacks: must-rise value=10 edge=11 wanted=20"],
        ["lacks: must-fall value=10 edge=9 wanted=20"],
    ]
    night.play(120, air=AIR)
    assert [night.why(name) for name in NAMES] == [["lacks: no-value since=59"]] * 4
    night.log("tank", "out-of-service", reason="cleaned")
    assert [night.why(name) for name in NAMES] == [[]] * 4
    night.log("tank", "in-service")
    night.log("tank", "batch-end")
    assert [night.why(name) for name in NAMES] == [[]] * 4


def test_what_it_answers_while_the_delay_runs_and_while_it_stands() -> None:
    night = tank().play(60, mid=10.0, air=AIR).play(100, mid=10.6, air=AIR)
    seen = "seen: is-above value=10.6 edge=10.5"
    assert night.why("tank/warm") == [
        seen, "lacks: runs-out until=121 lasted=39 wanted=60",
        "delay: since=61 how=seen spent=39 wanted=60 due=121",
    ]  # fmt: skip
    night.play(150, mid=10.6, air=AIR)
    back = "ends: over-below value=10.6 edge=10.4 wanted=15"
    assert night.why("tank/warm")[:3] == ["stands", seen, back]
    alarm = night.engine.alarm_manager.alarm("tank", "warm")
    assert (alarm.value, alarm.planned, alarm.since) == (10.6, 10.0, night.start + 61 * MINUTE)
    assert alarm.worse == pytest.approx(0.6)
    night.play(220, mid=11.2, air=AIR)
    assert night.why("tank/far-warm")[:3] == [
        "stands", "seen: is-above value=11.2 edge=11",
        "ends: over-below value=11.2 edge=10.9 wanted=5",
    ]  # fmt: skip
    assert alarm.worse == pytest.approx(1.2)


def test_what_it_answers_on_the_cold_side() -> None:
    night = tank(stage(tolerance=Sides(1.0, 0.5))).play(60, mid=10.0, air=AIR)
    night.play(150, mid=8.9, air=AIR)
    back = "ends: over-above value=8.9 edge=9.2 wanted=15"
    assert night.why("tank/cold")[:3] == ["stands", "seen: is-below value=8.9 edge=9", back]


def test_what_it_answers_under_a_mask() -> None:
    """Stirred at 60 for two hours: the delay runs out beneath, and the mask holds till 200."""
    night = tank().play(60, mid=10.0, air=AIR)
    night.log("tank", "stir", within="2h")
    night.play(70, mid=10.6, air=AIR)
    assert night.why("tank/warm")[1:3] == [
        "lacks: runs-out until=121 lasted=9 wanted=60", "lacks: held until=200",
    ]  # fmt: skip
    night.play(190, mid=10.6, air=AIR)
    assert night.why("tank/warm")[1] == "lacks: held until=200"
    settling = tank(stage(settle=3 * HOUR), since=0).play(100, mid=10.6, air=AIR)
    assert settling.why("tank/warm")[1] == "lacks: held until=180"


def test_what_it_answers_while_it_is_let_run() -> None:
    """From 10.7 by 0.4 more, warm or cold, with the limit's delay."""
    night = tank().play(150, mid=10.7, air=AIR)
    night.log("tank", "let-run", within="6h", more=0.4)
    assert [night.why(name) for name in NAMES] == [
        ["lacks: must-rise value=10.7 edge=11.1 wanted=20"],
        ["lacks: must-fall value=10.7 edge=10.3 wanted=20"],
        ["lacks: let-run value=0.4 edge=10.7 until=510"],
        ["lacks: let-run value=0.4 edge=10.7 until=510"],
    ]
    night.play(200, mid=11.2, air=AIR)
    assert night.why("tank/warm")[1:3] == [
        "seen: is-above value=11.2 edge=11.1", "ends: over-below value=11.2 edge=11 wanted=5",
    ]  # fmt: skip


@pytest.mark.parametrize(("celsius", "value", "alarm", "lines"), [
    (14.0, 16.2, "tank/far-warm", ["seen: is-above value=16.2 edge=16",
                                   "ends: over-below value=16.2 edge=16"]),
    (5.0, 2.8, "tank/far-cold", ["seen: is-below value=2.8 edge=3",
                                 "ends: over-above value=2.8 edge=3"]),
])  # fmt: skip
def test_what_it_answers_beyond_what_is_never_allowed(
    celsius: float, value: float, alarm: str, lines: list[str]
) -> None:
    loose = stage(celsius=celsius, tolerance=Sides(9, 9), limit=Sides(9, 9))
    night = tank(loose).play(60, mid=value, air=AIR)
    seen, over = lines
    assert night.why(alarm) == ["stands", seen, "seen: evidence word=never", over]
    near = night.why(alarm.replace("far-", ""))
    assert len(near) == 1 and near[0].startswith("lacks: must-")


def test_what_it_answers_where_a_stir_may_still_even_out() -> None:
    """Stirred, 1.1 K warmer since; held from 60 to 110, and then for the way back."""
    night = tank().play(60, mid=10.0, air=AIR)
    night.log("tank", "stir")
    night.play(75, mid=11.1, air=AIR).play(84, air=AIR)
    night.play(130, mid=11.1, air=AIR)
    assert night.why("tank/far-warm")[:2] == [
        "seen: is-above value=11.1 edge=11", "lacks: evens-out",
    ]  # fmt: skip
    (raised,) = night.play(200, mid=11.1, air=AIR).raised("tank/far-warm")
    assert raised == 132


def test_what_it_answers_when_the_next_value_is_awaited() -> None:
    """A probe that speaks every five minutes; its delay is over at 122, between two words. One
    that is late by more than one of them says nothing of now."""
    slow = msgspec.structs.replace(MID, every=5 * MINUTE)
    home = msgspec.structs.replace(cellar(), probes=(slow,))
    night = Night(home)
    night.batch()
    night.play(61, mid=10.0).play(114, mid=10.6)
    assert night.play(119).why("tank/warm")[0] == "seen: is-above value=10.6 edge=10.5"
    assert not night.play(130).alarms()
    assert night.why("tank/warm")[1:2] == ["lacks: stale since=110"]
    night.play(136, mid=10.6)
    assert night.raised("tank/warm") == [130]


# ------------------------------------------------------------- what is well inside, and what is not


@pytest.mark.parametrize(("slope", "by", "alarm"), [
    (0.0, 0.6, "tank/warm"), (0.0, -0.6, "tank/cold"), (0.3, 0.6, "tank/warm"),
    (-0.3, -0.6, "tank/cold"), (0.3, 0.0, None), (-0.3, 0.0, None), (0.0, 0.3, None),
])  # fmt: skip
def test_after_hours_well_inside_a_step_is_told_at_its_delay(
    slope: float, by: float, alarm: str | None
) -> None:
    """Whatever was found calm before: beside a plan that stands, rises or falls."""
    rising = stage(rate=slope, hours=24)
    planned = lambda m: 10.0 + slope * m / 60 + (by if m >= 400 else 0.0)  # noqa: E731
    night = tank(rising, since=0).play(480, mid=planned, air=AIR)
    assert night.alarms() - {"tank/trending-warm", "tank/trending-cold"} == (
        {alarm} if alarm else set()
    )
    if alarm is not None:
        assert night.raised(alarm) == [400 + ENTERS + 60]


@pytest.mark.parametrize(("slope", "alarm"), [(-0.3, "tank/warm"), (0.3, "tank/cold")])
def test_a_product_that_stands_still_is_left_by_its_plan_after_hours_well_inside(
    slope: float, alarm: str
) -> None:
    """Half a degree apart after 100 minutes, told an hour later."""
    night = tank(stage(rate=slope, hours=24), since=0).play(175, mid=10.0, air=AIR)
    (raised,) = night.raised(alarm)
    assert 160 <= raised <= 160 + SHOWS


def test_an_alarm_that_stands_when_a_let_run_ends_is_judged_by_the_plan_again() -> None:
    """Warm by what it was let run; back on the plan, it is over after a quarter of an hour."""
    night = tank().play(60, mid=10.0, air=AIR)
    night.log("tank", "let-run", within="2h", more=0.4)
    night.play(130, mid=10.6, air=AIR)
    assert night.stands("tank/warm"), "0.6 where 0.4 were allowed"
    night.play(185, mid=10.6, air=AIR)
    assert night.stands("tank/warm"), "beyond the plan's half degree as well"
    night.play(240, mid=ramp(10.6, -1.2, since=185), air=AIR)
    (over,) = night.over("tank/warm")
    assert over == pytest.approx(195 + 15, abs=4), "a tenth inside by 195"


def test_two_and_a_half_hours_after_a_stir_no_layers_are_left() -> None:
    """Stirred at 60; 0.6 K beyond its limit at 200 may still be that stir's, at 215 it is not."""
    found = []
    for minute in (200, 215):
        night = tank().play(60, mid=10.0, air=AIR)
        night.log("tank", "stir")
        night.play(minute, mid=10.1, air=AIR)
        product = next(d for _, d in night.engine.registry.about["tank"] if "warm" in d.conditions)
        found.append(len(product._stirs(night.engine.now)))
    assert found == [1, 0]


@pytest.mark.parametrize("home", [85, 92])
def test_an_exit_that_a_stir_made_began_with_the_stir(home: float) -> None:
    """It was out for a while before, and lay inside for most of the ten minutes before the pole
    went in at 100: what counts is the hour from then."""
    night = tank().play(60, mid=10.0, air=AIR).play(home, mid=10.6, air=AIR)
    night.play(100, mid=10.45, air=AIR)
    night.log("tank", "stir")
    night.play(240, mid=10.8, air=AIR)
    assert night.raised("tank/warm") == [160]
    alarm = night.engine.alarm_manager.alarm("tank", "warm")
    assert alarm.since == night.start + 100 * MINUTE
