"""What a tank's own record tells of how it warms when nothing cools it."""

from __future__ import annotations

import msgspec
import pytest

from kuraban.core.forecast.warming_rate import (
    EVERY,
    Learned,
    _undisturbed,
    disturbed_since,
    learned,
)
from kuraban.core.site import Cooler, Place, Probe
from tests.core.detectors.kit import (
    AIR,
    CELLAR,
    MID,
    TANK,
    Night,
    cellar,
    course,
    house,
    noisy,
    saw,
    stage,
)

CHILLER = Cooler(id="chiller", kind="chilled-water", name="Chiller 1", rated_watts=1500)
VALVE = Probe(id="valve", of="tank", measures="valve", every=300)
RUNNING = Probe(id="running", of="chiller", measures="running", every=300)
PERIOD, HEIGHT = 120.0, 0.16
"""Minutes and K of a saw-tooth that rises 0.1 K an hour for 96 minutes."""


def shut(minute: float) -> float:
    """The valve that makes this saw-tooth: open while it falls."""
    return 0.0 if (minute % PERIOD) / PERIOD < 0.8 else 1.0


def cooled(minutes: float = 600, switch: Probe = VALVE, **more: object) -> Night:
    n = Night(cellar(CHILLER, switch, cooler="chiller"))
    n.batch()
    return n.play(minutes, mid=noisy(saw(10.0, HEIGHT, PERIOD)), air=8.0, **{switch.id: shut})


def of(n: Night) -> Learned | None:
    found: Learned | None = learned(n.view, "tank", n.start + 60 * n.minute)
    return found


def test_a_tank_that_is_cooled_now_and_then_shows_how_it_warms() -> None:
    found = of(cooled())
    assert found is not None
    assert found.typical == pytest.approx(0.1, abs=0.03)
    assert found.slowest <= found.typical <= found.fastest
    assert found.seconds > 4 * 3600 and found.air == pytest.approx(8.0)
    assert found.shut == pytest.approx(0.8, abs=0.05)


def test_a_cooler_that_does_not_run_is_as_good_as_a_shut_valve() -> None:
    """Its running signal says it; the tank has no valve that tells."""
    found = of(cooled(switch=RUNNING))
    assert found is not None and found.typical == pytest.approx(0.1, abs=0.03)


def test_without_valve_or_cooler_signal_nothing_is_learned() -> None:
    n = Night(cellar(CHILLER, cooler="chiller"))
    n.batch()
    n.play(600, mid=noisy(saw(10.0, HEIGHT, PERIOD)), air=8.0)
    assert of(n) is None


def test_what_was_learned_before_an_addition_is_forgotten() -> None:
    """It is another mash now; a little yeast makes no other."""
    n = cooled()
    n.log("tank", "addition", what="yeast", kg=0.1)
    assert of(n) is not None
    n.log("tank", "addition", what="water", litres=200)
    n.play(620, mid=10.0, air=8.0, valve=0.0)
    assert of(n) is None
    assert disturbed_since(n.view, "tank", n.start + 60 * 620) == n.start + 60 * 600


def test_a_stir_within_a_stretch_is_left_out() -> None:
    n = Night(cellar(CHILLER, VALVE, cooler="chiller"))
    n.batch()
    n.play(120, mid=lambda minute: 10 + 0.1 * minute / 60, air=8.0, valve=0.0)
    n.log("tank", "stir")
    n.play(360, mid=lambda minute: 10.5 + 0.1 * minute / 60, air=8.0, valve=0.0)
    found = of(n)
    assert found is not None and found.fastest == pytest.approx(0.1, abs=0.01)


def test_whoever_asks_first_changes_nothing() -> None:
    """Within ten minutes everybody is told the same, asked before or not: a page or a replay."""
    asked, quiet = cooled(), cooled()
    for minute in range(601, 620):
        for n in (asked, quiet):
            n.play(minute, mid=10.1, air=8.0, valve=0.0)
        of(asked)
    assert of(asked) == of(quiet)
    assert learned(asked.view, "tank", asked.start + 619 * 60 // EVERY * EVERY) == of(asked)


def test_late_readings_count_once_they_came() -> None:
    """A backfill of the night's middle is learned from like the rest."""
    n = Night(cellar(CHILLER, VALVE, cooler="chiller"))
    n.batch()
    trace = lambda minute: None if 100 <= minute < 300 else 10 + 0.1 * minute / 60  # noqa: E731
    n.play(420, mid=trace, air=8.0, valve=0.0)
    before = of(n)
    rows = ",".join(
        f'{{"value":{10 + 0.1 * m / 60:.3f},"at":"{n.moment(m)}"}}' for m in range(100, 300)
    )
    n.send("reading/mid", f"[{rows}]")
    after = of(n)
    assert before is not None and after is not None
    assert after.fastest == pytest.approx(0.1, abs=0.01) and after.seconds > before.seconds


@pytest.mark.parametrize(
    ("entry", "fields", "touches"),
    [
        ("addition", {"what": "water", "litres": 20}, True),
        ("addition", {"what": "yeast", "kg": 0.1}, False),
        ("addition", {"what": "lactic-acid", "litres": 1}, False),
        ("stir", {}, False),
        ("check", {"celsius": 10}, False),
        ("split", {"to": ["tank", "second"]}, True),
    ],
)
def test_what_makes_another_mash_of_it(
    entry: str, fields: dict[str, object], touches: bool
) -> None:
    second = Place(id="second", kind="tank", name="Tank 4")
    n = Night(cellar(CHILLER, VALVE, second, cooler="chiller"))
    n.batch(since=-600)
    n.play(60, mid=10.0, air=8.0, valve=0.0)
    n.log("tank", entry, **fields)
    since = disturbed_since(n.view, "tank", n.start + 3600)
    assert since == n.start + (3600 if touches else -600 * 60)
    assert disturbed_since(n.view, "tank", n.start + 3599) == n.start - 600 * 60, "not before it"


def test_mash_that_comes_from_elsewhere_makes_another_one_of_it() -> None:
    """And the tank that it left is another one only when something comes into it."""
    second = Place(id="second", kind="tank", name="Tank 4")
    for entry, fields in (("move", {"to": "tank"}), ("merge", {"into": "tank"})):
        n = Night(cellar(CHILLER, VALVE, second, cooler="chiller"))
        if entry == "merge":
            n.batch(since=-600)
        n.batch("second", since=-600)
        n.play(60, mid=10.0, air=8.0, valve=0.0)
        n.log("second", entry, **fields)
        now = n.start + 3600
        assert disturbed_since(n.view, "tank", now) == now
        assert disturbed_since(n.view, "second", now) == n.start - 600 * 60


@pytest.mark.parametrize(
    ("rated", "resting", "learns"),
    [(1500, 74.0, True), (1500, 76.0, False), (None, 59.0, True), (None, 61.0, False)],
)
def test_a_cooler_rests_below_a_twentieth_of_its_rated_draw_or_sixty_watts(
    rated: float | None, resting: float, learns: bool
) -> None:
    chiller = Cooler(id="chiller", kind="chilled-water", name="Chiller 1", rated_watts=rated)
    power = Probe(id="power", of="chiller", measures="power", every=300)
    n = Night(cellar(chiller, power, cooler="chiller"))
    n.batch()
    draw = lambda minute: resting if shut(minute) < 0.5 else 1400.0  # noqa: E731
    n.play(600, mid=noisy(saw(10.0, HEIGHT, PERIOD)), air=8.0, power=draw)
    assert (of(n) is not None) is learns


@pytest.mark.parametrize(("minutes", "learns"), [(60, True), (50, False)])
def test_half_an_hour_beyond_the_time_of_the_cold_wall_is_a_warm_up(
    minutes: float, learns: bool
) -> None:
    """25 minutes belong to the wall."""
    n = Night(cellar(CHILLER, VALVE, cooler="chiller"))
    n.batch()
    n.play(120, mid=10.0, air=8.0, valve=1.0)
    n.play(120 + minutes, mid=lambda m: 10 + 0.1 * (m - 120) / 60, air=8.0, valve=0.0)
    n.play(240, mid=10.1, air=8.0, valve=1.0)
    assert (of(n) is not None) is learns


def test_what_is_learned_of_ten_hours_to_the_figure() -> None:
    """Five turns of two hours; of the 96 minutes shut 71 count, in points of five minutes."""
    for n in (cooled(), cooled(switch=RUNNING)):
        found = of(n)
        assert found == pytest.approx((24000.0, 0.06818, 0.07321, 0.1, 8.0, 0.83333), abs=1e-5)


def test_thirteen_hours_back_is_as_far_as_it_is_learned_from() -> None:
    """Of a warm-up of 90 minutes an hour must be left, the cold wall's time and half an hour."""
    for until, learns in ((810, True), (830, False)):
        n = Night(cellar(CHILLER, VALVE, cooler="chiller"))
        n.batch()
        n.play(90, mid=lambda m: 10 + 0.1 * m / 60, air=8.0, valve=0.0)
        n.play(until, mid=lambda m: 10.1, air=8.0, valve=1.0)
        assert (of(n) is not None) is learns


def test_the_cold_wall_of_a_starter_is_over_after_a_quarter_of_an_hour() -> None:
    for kind, learns in (("starter", True), ("tank", False)):
        place = msgspec.structs.replace(TANK, kind=kind, cooler="chiller")
        shape = course(stage(), whither=kind)
        n = Night(house(place, CELLAR, MID, AIR, CHILLER, VALVE, courses=(shape,)))
        n.batch()
        n.play(60, mid=10.0, air=8.0, valve=1.0)
        n.play(110, mid=lambda m: 10 + 0.1 * (m - 60) / 60, air=8.0, valve=0.0)
        n.play(180, mid=10.08, air=8.0, valve=1.0)
        assert (of(n) is not None) is learns


def test_a_probe_that_speaks_too_seldom_shows_no_warm_up() -> None:
    """Five points of five minutes at least; one every ten minutes gives four in 35."""
    slow = msgspec.structs.replace(MID, every=600.0)
    for minutes, learns in ((62, False), (85, True)):
        place = msgspec.structs.replace(TANK, cooler="chiller")
        n = Night(house(place, CELLAR, slow, AIR, CHILLER, VALVE))
        n.batch()
        n.play(60, mid=10.0, air=8.0, valve=1.0)
        n.play(60 + minutes, mid=lambda m: 10 + 0.1 * (m - 60) / 60, air=8.0, valve=0.0)
        n.play(180, mid=10.1, air=8.0, valve=1.0)
        assert (of(n) is not None) is learns


def test_one_wild_reading_of_five_minutes_moves_no_slope() -> None:
    """The least and the greatest of five are left out."""
    n = Night(cellar(CHILLER, VALVE, cooler="chiller"))
    n.batch()
    wild = lambda m: 13.0 if m == 58 else 10 + 0.1 * m / 60  # noqa: E731
    n.play(120, mid=wild, air=8.0, valve=0.0)
    found = of(n)
    assert found is not None and found.typical == pytest.approx(0.1, abs=0.002)


def test_a_valve_that_opened_and_then_fell_silent_was_open() -> None:
    """Its last word counts: nothing of the silence is taken for a warm-up."""
    spoke, silent = cooled(571), cooled(571)
    for n, valve in ((spoke, {"valve": 1.0}), (silent, {})):
        n.play(576, mid=noisy(10.1), air=8.0, valve=1.0)
        n.play(601, mid=noisy(10.1), air=8.0, **valve)
    one, two = of(spoke), of(silent)
    assert one is not None and two is not None
    assert (one.seconds, one.slowest, one.fastest) == (two.seconds, two.slowest, two.fastest)


@pytest.mark.parametrize(
    ("stirred", "counts"), [(200, [(25, 200), (230, 400)]), (54, [(84, 400)]), (345, [(25, 345)])]
)
def test_on_either_side_of_a_stir_half_an_hour_counts_and_no_less(
    stirred: float, counts: list[tuple[float, float]]
) -> None:
    """Of a valve that is shut from the start to minute 400; the wall is cold for 25 of them."""
    n = Night(cellar())
    n.batch()
    n.play(500)
    n.log("tank", "stir", at=stirred)
    spans = _undisturbed(n.view, "tank", [(n.start, n.start + 400 * 60)])
    assert [((a - n.start) / 60, (b - n.start) / 60) for a, b in spans] == counts
