"""What a probe says and what of it is believed."""

from __future__ import annotations

import random
from statistics import fmean, median, pstdev

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kuraban.core.facts import Reading
from kuraban.core.probes.probe_state import (
    KEPT,
    KEPT_BRIEFLY,
    SPARE,
    PlaceState,
    ProbeState,
    Series,
)
from kuraban.core.site import Place, Probe
from kuraban.core.units import MINUTE
from tests.core.house import DUSK
from tests.kept import kept_and_read

PROBE = Probe(id="t3-mid", of="tank-3", measures="product")
TANK = Place(id="tank-3", kind="tank", name="Tank 3")


def hear(
    probe_state: ProbeState, *values: float, start: float = DUSK, every: float = MINUTE
) -> ProbeState:
    for number, value in enumerate(values):
        at = start + number * every
        probe_state.hear(Reading(probe_state.probe.id, at, value, at))
    return probe_state


# --------------------------------------------------------------------------------------- the series


@given(st.lists(st.tuples(st.integers(0, 50), st.integers(0, 3)), max_size=60))
def test_a_series_is_in_the_order_of_time_however_it_came(points: list[tuple[int, int]]) -> None:
    """The first value of a moment stays; the same again is nothing, another is a conflict."""
    series, kept = Series(), {}
    for at, value in points:
        known = kept.setdefault(at, value)
        wanted = {"new"} if len(kept) > len(series.times) else {"same" if known == value else
                                                               "conflict"}  # fmt: skip
        assert {series.add(float(at), float(value))} == wanted
    assert list(zip(series.times, series.values, strict=True)) == sorted(kept.items())


@given(st.lists(st.integers(0, 50), unique=True), st.integers(0, 50), st.integers(0, 50))
def test_a_stretch_of_a_series_has_both_its_ends(times: list[int], low: int, high: int) -> None:
    series = Series()
    for at in times:
        series.add(float(at), at / 2)
    assert list(series.since(low, high)[0]) == [t for t in sorted(times) if low <= t <= high]
    before = [t for t in times if t <= low]
    assert series.before(low) == (max(before) / 2 if before else None)


def test_a_series_forgets_the_day_before_yesterday() -> None:
    series = Series()
    for minute in range(5 * 24 * 60):
        series.add(minute * MINUTE, 10.0)
    kept = series.times[-1] - series.times[0]
    assert KEPT <= kept <= KEPT + SPARE + MINUTE


def test_a_series_is_the_same_after_a_restart() -> None:
    series = Series()
    for minute in (0, 1, 3, 2):
        series.add(minute * MINUTE, 10.0 + minute / 16)
    series.kept = KEPT_BRIEFLY
    again = kept_and_read(series)
    assert list(again.times) == [0.0, 60.0, 120.0, 180.0] and again.values == series.values
    assert (again.inserted, again.kept) == (1, KEPT_BRIEFLY)
    assert again.add(4 * MINUTE, 10.0) == series.add(4 * MINUTE, 10.0) == "new"


# -------------------------------------------------------------------------------- one probe's value


def test_two_wrong_readings_in_seven_do_not_move_the_value() -> None:
    probe_state = hear(ProbeState(PROBE), 10.0, 10.1, 10.0, 23.0, 10.1, -5.0, 10.0)
    assert probe_state.value == pytest.approx(10.0, abs=0.1)


def test_noise_passes_at_less_than_half() -> None:
    """Mean of the middle three of seven, Gaussian noise: 0.41 of its standard deviation."""
    lots = random.Random(7)
    probe_state, seen = ProbeState(PROBE), []
    for number in range(20000):
        at = DUSK + number * MINUTE
        probe_state.hear(Reading("t3-mid", at, lots.gauss(10, 0.1), at))
        if number > 7:
            assert probe_state.value is not None
            seen.append(probe_state.value)
    assert fmean(seen) == pytest.approx(10, abs=0.005)
    assert pstdev(seen) / 0.1 == pytest.approx(0.41, abs=0.02)


def test_a_steady_ramp_lags_three_readings() -> None:
    probe_state = hear(ProbeState(PROBE), *(10 + 0.1 * number for number in range(30)))
    assert probe_state.value == pytest.approx(10 + 0.1 * 26)


def test_a_value_between_two_steps_of_a_probe_is_found_between_them() -> None:
    probe_state = hear(ProbeState(PROBE), *(10.0 if n % 2 else 10.0625 for n in range(20)))
    assert probe_state.value is not None and 10.0 < probe_state.value < 10.0625


@pytest.mark.parametrize("count", [1, 2, 3, 4, 5, 6])
def test_few_readings_are_taken_as_well_as_they_can_be(count: int) -> None:
    values = [10.0, 10.4, 10.2, 10.8, 10.1, 10.3][:count]
    probe_state = hear(ProbeState(PROBE), *values)
    wanted = values[-1] if count < 3 else median(values)
    if count == 5:
        wanted = fmean(sorted(values)[1:4])
    assert probe_state.value == pytest.approx(wanted)


def test_of_three_readings_the_middle_one_counts() -> None:
    """Whichever of them came last."""
    for values in ((10.0, 11.0, 13.0), (13.0, 10.0, 11.0), (11.0, 13.0, 10.0)):
        assert hear(ProbeState(PROBE), *values).value == 11.0


def test_a_probe_that_speaks_seldom_is_heard_sooner() -> None:
    """The median of the last three: one wrong reading does not move it."""
    slow = Probe(id="t3-mid", of="tank-3", measures="product", every=10 * MINUTE)
    probe_state = hear(ProbeState(slow), 10.0, 10.0, 10.0, 25.0, 10.1, every=600)
    assert probe_state.value == 10.1


def test_after_a_silence_the_old_values_count_no_more() -> None:
    probe_state = hear(ProbeState(PROBE), *[10.0] * 10)
    hear(probe_state, 12.0, start=DUSK + 30 * MINUTE)
    assert probe_state.value == 12.0


def test_a_leap_and_back_is_counted_against_the_probe() -> None:
    probe_state = hear(ProbeState(PROBE), *[10.0] * 7, 30.0, 10.0, 10.0)
    assert list(probe_state.bad) == [DUSK + 7 * MINUTE]
    stays = hear(ProbeState(PROBE), *[10.0] * 7, *[30.0] * 7)
    assert not stays.bad, "one that stays is no leap"


@pytest.mark.parametrize(("leap", "counts"), [(4.9, False), (5.2, True)])
def test_five_degrees_and_back_within_one_reading_are_a_leap(leap: float, counts: bool) -> None:
    probe_state = hear(ProbeState(PROBE), *[10.0] * 7, 10.0 + leap, 10.0, 10.0)
    assert bool(probe_state.bad) is counts is probe_state.leapt


@pytest.mark.parametrize(("heard", "lag"), [(2, 0.0), (3, 1.0), (5, 2.0), (7, 3.0), (20, 3.0)])
def test_a_value_stands_for_the_middle_of_the_readings_behind_it(heard: int, lag: float) -> None:
    """Minutes before the last of them, one reading a minute."""
    assert hear(ProbeState(PROBE), *[10.0] * heard).lag == lag * MINUTE


@pytest.mark.parametrize("how", ["late", "retained"])
def test_a_late_or_kept_reading_does_not_move_the_value(how: str) -> None:
    probe_state = hear(ProbeState(PROBE), *[10.0] * 5)
    heard = probe_state.heard
    at = DUSK + 5 * MINUTE
    probe_state.hear(Reading("t3-mid", at, 14.0, at, **{how: True}))  # type: ignore[arg-type]
    assert (probe_state.value, probe_state.heard) == (10.0, heard)


def test_an_older_reading_does_not_move_the_value_back() -> None:
    probe_state = hear(ProbeState(PROBE), *[10.0] * 5)
    assert probe_state.hear(Reading("t3-mid", DUSK + 90, 14.0, DUSK + 300)) == "new"
    assert probe_state.value == 10.0 and len(probe_state.series.times) == 6


def test_a_probe_is_believed_while_it_answers_and_nothing_speaks_against_it() -> None:
    probe_state = hear(ProbeState(PROBE), 10.0)
    assert probe_state.good(DUSK + 10 * MINUTE) and not probe_state.good(DUSK + 10 * MINUTE + 1)
    probe_state.suspect = frozenset({"wild"})
    assert probe_state.known(DUSK) is None
    probe_state.suspect = frozenset()
    assert probe_state.known(DUSK) == 10.0


# ---------------------------------------------------------------------------------- a place's value


def place(*values: float | None) -> PlaceState:
    probe_states = []
    for number, value in enumerate(values):
        probe = Probe(id=f"p{number}", of="tank-3", measures="product")
        probe_states.append(ProbeState(probe) if value is None else hear(ProbeState(probe), value))
    return PlaceState(TANK, probe_states)


@given(st.lists(st.floats(0, 40), min_size=1, max_size=5))
def test_the_product_of_several_good_probes_is_their_median(values: list[float]) -> None:
    probe_state = place(*values)
    probe_state.refresh(DUSK)
    assert probe_state.value == pytest.approx(median(values)) and probe_state.last_good == DUSK


def test_a_probe_that_is_not_believed_is_left_out() -> None:
    probe_state = place(10.0, 10.2, 19.0)
    probe_state.products[2].suspect = frozenset({"displaced"})
    probe_state.refresh(DUSK)
    assert probe_state.value == pytest.approx(10.1)


def test_with_nothing_good_left_the_last_believed_value_is_remembered() -> None:
    probe_state = place(10.0)
    probe_state.refresh(DUSK)
    probe_state.refresh(DUSK + 3600)
    assert probe_state.value is None and (probe_state.product, probe_state.last_good) == (
        10.0,
        DUSK,
    )


def test_a_place_without_probes_has_no_value() -> None:
    silent = place(None)
    silent.refresh(DUSK)
    assert silent.value is None and silent.last_good is None


def test_a_place_has_lapsed_when_the_last_of_its_probes_is_no_measure_any_more() -> None:
    two = place(10.0, 10.2)
    two.refresh(DUSK)
    assert not two.lapsed(DUSK)
    two.products[0].suspect = frozenset({"stuck"})
    assert not two.lapsed(DUSK), "the other one measures"
    assert two.lapsed(DUSK + 3600)
    two.refresh(DUSK + 3600)
    assert not two.lapsed(DUSK + 3600), "nothing is left to lapse"


def test_a_probe_of_every_two_minutes_is_a_quick_one() -> None:
    """Seven readings; three of one that speaks less often, or measures no temperature."""
    for every, measures, width in (
        (120, "product", 7), (121, "product", 3), (60, "humidity", 3), (60, "air", 7),
    ):  # fmt: skip
        probe = Probe(id="t3-mid", of="tank-3", measures=measures, every=float(every))  # type: ignore[arg-type]
        assert len(hear(ProbeState(probe), *[10.0] * 20).window) == width


def test_a_hundred_faults_of_a_probe_are_remembered() -> None:
    probe_state = ProbeState(PROBE)
    for number in range(150):
        probe_state.spoil(DUSK + number)
    assert probe_state.bad == [DUSK + number for number in range(50, 150)]


def test_what_leaps_is_a_temperature() -> None:
    """Power goes from nothing to all and back within a reading."""
    drawn = Probe(id="t3-mid", of="tank-3", measures="power")
    assert not hear(ProbeState(drawn), *[10.0] * 7, 900.0, 10.0, 10.0).bad


def test_a_silence_of_just_its_length_breaks_nothing() -> None:
    probe_state = hear(ProbeState(PROBE), *[10.0] * 7)
    quiet = probe_state.silent_after
    hear(probe_state, 12.0, start=DUSK + 6 * MINUTE + quiet)
    assert probe_state.value == 10.0
    hear(probe_state, 12.0, start=DUSK + 6 * MINUTE + 2 * quiet + 1)
    assert probe_state.value == 12.0


def test_of_two_good_probes_the_product_is_between_them_as_of_the_later() -> None:
    two = place(10.0, 11.0)
    two.refresh(DUSK)
    assert (two.value, two.at, two.product) == (10.5, DUSK, 10.5)
    hear(two.products[0], 10.0, start=DUSK + 2 * MINUTE)
    two.refresh(DUSK + 2 * MINUTE)
    assert two.at == DUSK + 2 * MINUTE == two.last_good
    assert list(two.series.times) == [DUSK, DUSK + 2 * MINUTE]


def test_the_moment_of_a_product_is_the_middle_of_what_it_was_made_of() -> None:
    one = PlaceState(TANK, [hear(ProbeState(PROBE), *[10.0] * 7)])
    one.refresh(DUSK + 6 * MINUTE)
    assert (one.at, one.centre) == (DUSK + 6 * MINUTE, DUSK + 3 * MINUTE)
    late = hear(ProbeState(PROBE), *[10.0] * 3, start=DUSK + 4 * MINUTE)
    both = PlaceState(TANK, [one.products[0], late])
    both.refresh(DUSK + 6 * MINUTE)
    assert both.centre == DUSK + 3 * MINUTE


def test_a_probe_that_said_nothing_is_neither_fresh_nor_good() -> None:
    silent = ProbeState(PROBE)
    assert not silent.fresh(DUSK) and not silent.good(DUSK) and silent.known(DUSK) is None
    assert silent.lag == 0.0
    spoken = hear(silent, 10.0)
    assert spoken.fresh(DUSK + spoken.silent_after)
    assert not spoken.fresh(DUSK + spoken.silent_after + 1)


def test_whoever_brings_a_reading_hears_what_became_of_it() -> None:
    """New, known already, or against what is known: of now, late, kept by the broker, and older."""
    one = hear(ProbeState(PROBE), 10.0)
    for at, value, late, retained, became in (
        (DUSK, 10.0, False, False, "same"), (DUSK, 11.0, False, False, "conflict"),
        (DUSK - 60, 10.0, True, False, "new"), (DUSK - 60, 9.0, True, False, "conflict"),
        (DUSK + 60, 10.0, False, True, "new"), (DUSK + 120, 10.0, False, False, "new"),
        (DUSK + 90, 10.0, False, False, "new"), (DUSK + 120, 10.0, False, False, "same"),
    ):  # fmt: skip
        heard = Reading(PROBE.id, at, value, DUSK + 120, late=late, retained=retained)
        assert one.hear(heard) == became
    assert one.heard == DUSK + 120
