"""How long a tank holds if cooling stopped now: textbook cases, fits, and what decides a ring."""

from __future__ import annotations

import math
from typing import Any

import msgspec
import numpy as np
import pytest
from scipy.optimize import curve_fit

from kuraban.core.forecast.time_to_limit import (
    Hours,
    alcohol_a_day,
    first_to_leave,
    hours_in_hand,
    hours_left,
)
from kuraban.core.notify.reports import evening_word
from kuraban.core.site import Place, PlaceKind, Probe
from kuraban.core.texts.messages import evening
from tests.core.detectors.kit import (
    AIR,
    CELLAR,
    MID,
    TANK,
    WORDS,
    ZONE,
    Night,
    cellar,
    course,
    house,
    noisy,
    saw,
    stage,
)
from tests.core.forecast.test_warming_rate import CHILLER, PERIOD, VALVE, shut
from tests.trade.reference import approach, time_to_reach


def warming(an_hour: float, *things: Any, minutes: float = 720, air: float = 8.0) -> Night:
    """A tank on its plan of 10 °C that warms by so much an hour whenever its valve is shut."""
    n = Night(cellar(CHILLER, VALVE, *things, cooler="chiller"))
    n.batch()
    trace = noisy(saw(10.0, an_hour * 1.6, PERIOD))
    return n.play(minutes, mid=trace, air=air, valve=shut)


def left(n: Night, place: str = "tank") -> Hours | None:
    found: Hours | None = hours_left(n.view, place, n.start + 60 * n.minute)
    return found


def in_hand(n: Night) -> float | None:
    return hours_in_hand(n.view, "chiller", n.start + 60 * n.minute)


@pytest.mark.parametrize("an_hour", [0.05, 0.08, 0.12, 0.17])
def test_a_tanks_own_warm_ups_bracket_the_truth(an_hour: float) -> None:
    """Half a degree of tolerance at the rates of a quiet and of a hot ferment (computed)."""
    n = warming(an_hour)
    found = left(n)
    assert found is not None and found.rests_on == "own warm-ups"
    truth = (10.5 - n.view.product("tank", n.start + 60 * n.minute)[0]) / an_hour
    assert found.soonest <= truth <= found.latest
    assert found.soonest > 0.5 * truth
    assert found.soonest <= found.limit_soonest and found.latest <= found.limit_latest


def test_a_first_order_body_is_bracketed_as_scipy_fits_it() -> None:
    """A tank without ferment goes towards its cellar: T = T∞ + (T0 - T∞)·exp(-t/τ).

    Lumped heat capacity, Incropera ch. 5; scipy's least squares finds τ and the crossing again.
    """
    tau, room = 80 * 3600.0, 18.0

    def body(minute: float) -> float:
        return approach(9.6, room, tau, 60 * minute)

    n = Night(cellar(CHILLER, VALVE, cooler="chiller"))
    n.batch()
    n.play(300, mid=lambda minute: round(body(minute), 3), air=room, valve=0.0)
    hours = np.arange(0, 5, 1 / 60)
    (fitted,), _ = curve_fit(
        lambda t, k: room + (9.6 - room) * np.exp(-t / k),
        hours,
        [body(60 * h) for h in hours],
        [50],
    )
    assert fitted == pytest.approx(tau / 3600, rel=1e-3)
    truth = time_to_reach(body(300), room, 10.5, fitted * 3600) / 3600
    found = left(n)
    assert found is not None and found.soonest <= truth <= found.latest


def test_a_ferment_that_feeds_on_its_warmth_is_allowed_for() -> None:
    """Rate r·(1 + 0.12·ΔT): the time to +1 K is ln(1.12)/(0.12·r), 5 % less than a line's."""
    n = warming(0.1)
    found = left(n)
    assert found is not None
    away = 11.0 - n.view.product("tank", n.start + 60 * n.minute)[0] - 0.05
    grown = math.log(1 + 0.12 * away) / (0.12 * found.fast)
    assert found.limit_soonest == pytest.approx(grown, abs=0.15)


def test_a_plan_that_rises_gives_time_and_one_that_falls_takes_it() -> None:
    """What counts is product against plan."""
    found = {}
    for way in (-0.02, 0.0, 0.02):
        plan = stage(celsius=10.0 - 10 * way, rate=way, hours=720)
        n = Night(cellar(CHILLER, VALVE, cooler="chiller", stages=(plan,)))
        n.batch(since=0)
        n.play(600, mid=noisy(saw(10.0, 0.1, PERIOD)), air=8.0, valve=shut)
        found[way] = left(n)
    soonest = [found[way].soonest for way in (-0.02, 0.0, 0.02)]  # type: ignore[union-attr]
    assert soonest == sorted(soonest) and soonest[0] < soonest[2] - 0.5


def test_beyond_its_tolerance_nothing_is_left() -> None:
    n = warming(0.1)
    n.play(900, mid=noisy(10.8), air=8.0, valve=0.0)
    found = left(n)
    assert found is not None and found.soonest == found.latest == 0.0 < found.limit_soonest


def test_a_cellar_that_warmed_shortens_the_pessimistic_end() -> None:
    cold, warm = warming(0.06), warming(0.06)
    cold.play(729, mid=10.0, air=8.0, valve=0.0)
    warm.play(729, mid=10.0, air=14.0, valve=0.0)
    one, two = left(cold), left(warm)
    assert one is not None and two is not None and two.soonest < one.soonest


def test_too_little_record_and_no_samples_is_a_wide_guess_that_decides_nothing() -> None:
    """Litres and the cellar's air are known: it is shown; the chiller's ring does not wait."""
    n = Night(cellar(CHILLER, VALVE, cooler="chiller"))
    n.batch()
    n.play(60, mid=10.0, air=8.0, valve=0.0)
    found = left(n)
    assert found is not None and found.rests_on == "course" and not found.decides
    assert in_hand(n) is None


def sampled(n: Night, *, baume: bool = False) -> None:
    for minute, alcohol in ((-1440, 10.0), (0, 11.0)):
        fields = {"baume": 14.0 - alcohol} if baume else {"alcohol": alcohol}
        n.log("tank", "sample", at=minute, **fields)


def test_two_samples_tell_the_rate_of_the_ferment() -> None:
    """1 %/day is 100 W in a cubic metre of liquid and about 0.08 K/h in a mash.

    24 kcal a mol of sugar: Colombié, Malherbe and Sablayrolles 2007, Food Control 18:953.
    """
    n = Night(cellar(CHILLER, cooler="chiller"))
    n.batch(since=-5000)
    n.play(30, mid=10.0, air=10.0)
    sampled(n)
    found = left(n)
    assert found is not None and found.rests_on == "samples" and found.decides
    assert found.slow < 0.085 < found.fast
    assert in_hand(n) == found.soonest
    assert found.soonest < (10.5 - 10.0) / 0.085 < found.latest


def test_the_fall_of_baume_tells_it_more_roughly() -> None:
    """About 1 % a degree, in one batch."""
    n = Night(cellar(CHILLER, cooler="chiller"))
    n.batch(since=-5000)
    n.play(30, mid=10.0, air=10.0)
    sampled(n, baume=True)
    assert alcohol_a_day(n.view, "tank", n.start + 1800) == pytest.approx((0.7, 1.5))


def test_samples_from_before_an_addition_count_no_more() -> None:
    n = Night(cellar(CHILLER, cooler="chiller"))
    n.batch(since=-5000)
    sampled(n)
    n.log("tank", "addition", what="late-water", litres=40)
    assert alcohol_a_day(n.view, "tank", n.start + 60) is None


@pytest.mark.parametrize("lacking", ["product", "batch", "air", "litres"])
def test_unknown_is_unknown(lacking: str) -> None:
    n = Night(cellar(CHILLER, cooler="chiller", litres=None if lacking == "litres" else 1400))
    if lacking != "batch":
        n.batch(since=-5000)
    product, air = (None if lacking == name else 10.0 for name in ("product", "air"))
    n.play(30, mid=lambda minute: product, air=lambda minute: air)
    assert left(n) is None and in_hand(n) is None


def test_one_unknown_tank_makes_the_coolers_hours_unknown() -> None:
    """Unknown wakes: the other one's eight hours are no comfort to it."""
    other = Place(id="other", kind="tank", name="Tank 4", cooler="chiller")
    n = warming(0.05, other, Probe(id="other-mid", of="other", measures="product"))
    assert in_hand(n) is not None
    n.batch("other")
    assert in_hand(n) is None
    assert first_to_leave(n.view, "chiller", n.start + 60 * n.minute) is None


def test_the_first_to_leave_is_named() -> None:
    n = warming(0.05)
    first = first_to_leave(n.view, "chiller", n.start + 60 * n.minute)
    assert first is not None and first[0] == "tank" and first[1].soonest == in_hand(n)


def test_a_room_that_a_cooler_keeps_is_not_known() -> None:
    """A store with a band warms in minutes or in hours: nobody can say."""
    store = Place(id="store", kind="cold-store", name="Store", band=(1.0, 8.0), cooler="chiller")
    n = warming(0.05, store, Probe(id="store-air", of="store", measures="air"))
    assert in_hand(n) is None


RUNNING = Probe(id="running", of="chiller", measures="running", every=60)


def chiller_stops(an_hour: float) -> Night:
    """The chiller falls silent at midnight with the valve calling for it."""
    tank = TANK.__class__(id="tank", kind="tank", name="Tank 3", room="cellar", litres=1400,
                          cooler="chiller")  # fmt: skip
    n = Night(house(tank, CELLAR, CHILLER, MID, AIR, VALVE, RUNNING))
    n.batch()
    trace = noisy(saw(9.9, an_hour * 1.6, PERIOD))
    n.play(720, mid=trace, air=8.0, valve=shut, running=lambda minute: 1.0)
    last = trace(719)
    return n.play(
        1320, mid=lambda minute: last + an_hour * (minute - 719) / 60, air=8.0, valve=1.0,
        running=0.0,
    )  # fmt: skip


def test_a_chiller_whose_tanks_hold_all_night_is_told_without_a_sound_and_rings_later() -> None:
    """More than eight hours in hand: one soundless message; below six it rings."""
    n = chiller_stops(0.035)
    told = n.messages("chiller/stopped")
    assert told[0].step == "notice" and told[0].title.startswith("Can wait")
    pages = n.pages("chiller/stopped")
    assert pages and pages[0].at > told[0].at + 3600
    assert not any(page.at < n.start + 60 * 720 for page in pages)


def test_a_chiller_whose_tank_is_hot_rings_at_once_and_says_how_long_it_holds() -> None:
    n = chiller_stops(0.12)
    first = n.messages("chiller/stopped")[0]
    assert first.step == "page" and "can wait about" in first.title


def test_the_evening_word_says_who_is_first_if_the_chiller_stops_tonight() -> None:
    """ "If Chiller 1 stops tonight, Tank 3 is the first to leave its tolerance, after 3 to 6 h"."""
    n = warming(0.1)
    word = evening_word(n.view, n.start + 60 * n.minute)
    (first,) = word.first
    assert (first.cooler, first.name, first.soonest) == ("Chiller 1", "Tank 3", in_hand(n))
    for language, lines in (("en", "Chiller 1 stops tonight, Tank 3 is"), ("ja", "Chiller 1が止")):
        text = evening(word, language, WORDS, ZONE).body
        assert lines in text
    few = f"after {int(first.soonest)} to {math.ceil(first.latest)} h"
    assert few in evening(word, "en", WORDS, ZONE).body


def test_a_chiller_whose_tanks_hold_through_the_night_is_no_word_for_the_evening() -> None:
    n = warming(0.02)
    assert evening_word(n.view, n.start + 60 * n.minute).first == ()


def noted(*samples: tuple[float, dict[str, float]]) -> Night:
    """A mash of many days of which samples were taken so many hours ago, now."""
    n = Night(cellar(CHILLER, cooler="chiller"))
    n.batch(since=-20 * 24 * 60)
    n.play(30, mid=10.0, air=10.0)
    for hours, figures in samples:
        n.log("tank", "sample", at=30 - 60 * hours, **figures)
    return n


def a_day(n: Night) -> tuple[float, float] | None:
    found: tuple[float, float] | None = alcohol_a_day(n.view, "tank", n.start + 60 * n.minute)
    return found


def test_two_determinations_of_alcohol_are_off_by_three_tenths_together() -> None:
    """2 % in two days; 0.85 to 1.15 a day."""
    n = noted((48, {"alcohol": 5.0}), (0, {"alcohol": 7.0}))
    assert a_day(n) == pytest.approx((0.85, 1.15))


def test_no_mash_makes_more_than_five_per_cent_a_day_nor_less_than_none() -> None:
    assert a_day(noted((24, {"alcohol": 5.0}), (0, {"alcohol": 15.0}))) == (5.0, 5.0)
    assert a_day(noted((24, {"alcohol": 5.0}), (0, {"alcohol": 5.0}))) == (0.0, 0.3)


def test_samples_are_half_a_day_apart_and_no_older_than_six_days() -> None:
    for hours, told in ((12, True), (11.9, False), (143.9, True), (144.1, False)):
        n = noted((hours, {"alcohol": 5.0}), (0, {"alcohol": 6.0}))
        assert (a_day(n) is not None) is told


def test_the_nearest_sample_that_lies_far_enough_back_counts() -> None:
    n = noted(
        (72, {"alcohol": 1.0}), (24, {"alcohol": 5.0}), (6, {"alcohol": 5.6}), (0, {"alcohol": 6.0})
    )
    assert a_day(n) == pytest.approx((0.7, 1.3))


def test_baume_that_does_not_fall_tells_nothing_and_smv_stands_for_it() -> None:
    """A degree of Baume is ten of SMV, the other way up."""
    assert a_day(noted((24, {"baume": 5.0}), (0, {"baume": 5.0}))) is None
    assert a_day(noted((24, {"baume": 5.0}), (0, {"baume": 6.0}))) is None
    assert a_day(noted((24, {"smv": -50.0}), (0, {"smv": -40.0}))) == pytest.approx((0.7, 1.5))
    assert a_day(noted((24, {"baume": 5.0}), (0, {"smv": -40.0}))) == pytest.approx((0.7, 1.5))


def test_alcohol_is_asked_before_baume() -> None:
    both = {"alcohol": 5.0, "baume": 5.0}, {"alcohol": 6.0, "baume": 1.0}
    assert a_day(noted((24, both[0]), (0, both[1]))) == pytest.approx((0.7, 1.3))


def test_an_own_record_of_three_hours_is_believed() -> None:
    """Every two hours the valve is shut for 96 minutes, of which 71 count: three turns of it."""
    short, long = warming(0.1, minutes=250), warming(0.1, minutes=500)
    assert (found := left(short)) is not None and found.rests_on == "course"
    assert not found.decides and found.record is None
    assert (found := left(long)) is not None and found.rests_on == "own warm-ups"
    assert found.decides and found.record is not None and found.record >= 3.0


def test_a_quiet_tank_is_never_believed_to_stand_still() -> None:
    """At 0.03 K an hour it takes sixteen hours at most, as far as anybody dares to say."""
    found = left(warming(0.0))
    assert found is not None and found.fast == 0.03
    assert 13.0 <= found.soonest <= 16.0 and math.isinf(found.latest)


# ------------------------------------------------------------------------------- figures, reckoned


def figures(found: Hours | None) -> list[float | None]:
    """Hours to the tolerance, sooner and later, to the limit, and the K/h, slow and fast."""
    assert found is not None
    return [found.soonest, found.latest, found.limit_soonest, found.limit_latest, found.slow,
            found.fast]  # fmt: skip


def full(celsius: float = 10.0, kind: PlaceKind = "tank", air: float = 8.0, litres: float = 1400,
         product: float | None = None) -> Night:  # fmt: skip
    """A place of that size as planned, nothing logged but its batch, in such a cellar."""
    place = msgspec.structs.replace(TANK, kind=kind, litres=litres, cooler="chiller")
    never = (-20.0, 16.0 if celsius < 20 else 80.0)
    shape = course(stage(celsius=celsius), whither=kind, never=never)
    n = Night(house(place, CELLAR, MID, AIR, CHILLER, courses=(shape,)))
    n.batch(since=-20 * 24 * 60)
    return n.play(30, mid=celsius if product is None else product, air=air)


EVER = math.inf


@pytest.mark.parametrize(("night", "hours"), [
    (full(), [4.5304, EVER, 9.2996, EVER, -0.0681, 0.0969]),
    (full(12.0), [4.9212, EVER, 10.1018, EVER, -0.1594, 0.0892]),
    (full(12.1), [2.7714, EVER, 5.6889, EVER, -0.1485, 0.1585]),
    (full(kind="starter"), [2.0916, EVER, 4.2938, EVER, -0.0526, 0.2102]),
    (full(air=20.0), [0.7872, 8.9056, 1.6158, 17.0017, 0.0618, 0.5613]),
    (full(litres=5000), [4.4093, EVER, 9.0511, EVER, -0.0365, 0.0995]),
    (full(product=9.6), [8.2359, EVER, 12.7315, EVER, -0.0498, 0.0984]),
    (full(15.8), [3.0445, EVER, 1.0327, EVER, -0.3175, 0.1443]),
])  # fmt: skip
def test_by_its_course_it_is_a_wide_range(night: Night, hours: list[float]) -> None:
    """A course kept cold up to 12 °C, a livelier one beyond, a starter; in a warm cellar, in a
    large tank, below its plan; and near what is never allowed, which comes before the limit.
    Figures as the textbook's formulas give them (`tests/trade`), for these ranges."""
    assert figures(left(night)) == pytest.approx(hours, abs=6e-4)


def test_by_samples_and_by_litres_the_range_is_narrower() -> None:
    plain, by_sample, by_litres = full(), full(), full()
    sampled(by_sample)
    by_litres.log("tank", "addition", what="water-koji", litres=400, at=0)
    found = figures(left(by_sample))
    assert found == pytest.approx([4.157, EVER, 8.5332, EVER, -0.0371, 0.1056], abs=6e-4)
    found = figures(left(by_litres))
    assert found == pytest.approx([4.7153, EVER, 9.6792, EVER, -0.0957, 0.0931], abs=6e-4)
    assert in_hand(plain) is None and in_hand(by_litres) is None
    assert in_hand(by_sample) == pytest.approx(4.157, abs=6e-4)


def test_by_its_own_record_it_is_off_by_a_seventh_and_a_warmer_cellar_quickens_it() -> None:
    found = warming(0.12)
    assert figures(left(found)) == pytest.approx(
        [3.4673, 7.6863, 6.6616, 13.9608, 0.0797, 0.1437], abs=6e-4
    )
    hours = left(found)
    assert hours is not None and (hours.record, hours.shut) == pytest.approx(
        (8.0, 0.8333), abs=1e-3
    )
    warm = warming(0.06).play(729, mid=10.0, air=14.0, valve=0.0)
    assert figures(left(warm)) == pytest.approx([1.2502, EVER, 2.566, EVER, 0.0, 0.3524], abs=6e-4)


@pytest.mark.parametrize(("product", "air", "known"), [
    (60.0, 60.0, True), (60.1, 20.0, False), (20.0, 60.1, False), (20.0, -10.1, False),
    (20.0, -10.0, True),
])  # fmt: skip
def test_beyond_sixty_and_ten_below_no_heat_is_reckoned(
    product: float, air: float, known: bool
) -> None:
    assert (left(full(product, kind="starter", air=air)) is not None) is known
