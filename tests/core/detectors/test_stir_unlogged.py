"""A stir that nobody logged is seen by its step, and held as a logged one."""

from __future__ import annotations

import math
import random
from collections.abc import Callable

import pytest

from kuraban.core.effects import Message
from kuraban.core.plan.subject_state import STIR_SEEN, Mask
from kuraban.core.units import HOUR, MINUTE
from tests.core.detectors.kit import EVENING, cellar
from tests.core.detectors.kit import Night as Quiet
from tests.core.house import AWAKE, DUSK, Night, brewery, mashing

STIRRED = DUSK + 3 * HOUR
Curve = Callable[[float], float]


def stir(step: float, tau: float, seed: int, at: float = STIRRED) -> Curve:
    """K by which a stir moves the reading: a jump, a shaking, and the way back."""
    shake = random.Random(seed)
    lasts, wide = shake.uniform(5, 15) * MINUTE, shake.uniform(0.05, 0.1)

    def moved(now: float) -> float:
        if now < at:
            return 0.0
        trembles = wide * shake.uniform(-1, 1) if now < at + lasts else 0.0
        return step * math.exp(-(now - at) / (tau * MINUTE)) + trembles

    return moved


def night(curve: Curve, base: float = 10.0, creep: float = 0.0, grain: float = 1 / 16) -> Night:
    """Tank 3, planned at 10 °C, as a probe of that grain tells it; K an hour of creep."""
    lot = random.Random(7)

    def told(now: float) -> float:
        noisy = base + creep * (now - DUSK) / HOUR + curve(now) + lot.gauss(0.0, 0.02)
        return round(noisy / grain) * grain

    lived = mashing(brewery(AWAKE))
    lived.told["t3-mid"] = told
    return lived


def masks(lived: Night) -> list[Mask]:
    return [m for m in lived.engine.view.entry_log.of("tank-3").masks if m.why == STIR_SEEN]


@pytest.mark.parametrize("step", [-0.8, -0.4, -0.2, 0.2, 0.4, 0.8])
def test_a_jump_that_no_mash_can_make_is_a_stir_and_held_from_the_jump_on(step: float) -> None:
    lived = night(stir(step, 20, 1)).run(190)
    (mask,) = masks(lived)
    assert abs(mask.start - STIRRED) <= 2 * MINUTE
    assert mask.end - mask.start == 30 * MINUTE


def test_the_crew_is_asked_once_without_a_sound() -> None:
    late = STIRRED + 2 * HOUR
    twice = stir(0.5, 15, 1, late), stir(-0.5, 15, 2, late + 80 * MINUTE)
    lived = night(lambda now: twice[0](now) + twice[1](now)).run(420)
    assert len(masks(lived)) == 2
    asked = [m for m in lived.story if isinstance(m, Message) and "stirred, not logged" in m.title]
    assert [(m.person, m.step) for m in asked] == [("cho", "notice")]
    assert not lived.pages()


@pytest.mark.parametrize("seed", range(12))
def test_a_tank_near_its_edge_that_is_stirred_wakes_nobody(seed: int) -> None:
    """It comes back by itself, though some are out for longer than the delay."""
    lot = random.Random(seed)
    step, side = lot.uniform(0.15, 0.8), lot.choice((-1, 1))
    near = 10.0 + side * lot.uniform(0.3, 0.44)
    lived = night(stir(side * step, lot.uniform(10, 30), seed), near).run(420)
    assert not lived.pages()


@pytest.mark.parametrize("logged", [True, False])
def test_what_only_looked_like_a_stir_is_told_when_it_does_not_come_back(logged: bool) -> None:
    """It jumped out and stays: told once the delay is over, and dated from the jump."""
    lived = night(lambda now: 0.4 if now >= STIRRED else 0.0, 10.3).run(180)
    if logged:
        lived.log("tank-3", "stir", by="mio")
    lived.run(90)
    step = lived.step("tank-3/warm", "raised")
    assert STIRRED + 55 * MINUTE <= step.at <= STIRRED + 70 * MINUTE
    alarm = lived.engine.alarm_manager.alarm("tank-3", "warm")
    assert alarm.since is not None and alarm.since >= STIRRED - MINUTE


@pytest.mark.parametrize("logged", [True, False])
def test_a_true_exit_beneath_a_stir_is_told_in_time(logged: bool) -> None:
    """0.1 K an hour; the tank truly leaves half an hour after the stir."""
    lived = night(stir(0.5, 20, 3), 10.15, 0.1).run(180)
    if logged:
        lived.log("tank-3", "stir", by="mio")
    lived.run(200)
    left = DUSK + 3.5 * HOUR
    told = lived.step("tank-3/warm", "raised").at
    assert left + HOUR - 35 * MINUTE <= told <= left + HOUR + 15 * MINUTE


def test_the_residue_of_a_logged_stir_on_a_creeping_tank_is_not_told_hours_early() -> None:
    """0.03 K an hour from 0.06 K inside: it truly leaves two hours after the stir."""
    lived = night(stir(0.7, 28, 5), 10.35, 0.03).run(180)
    lived.log("tank-3", "stir", by="mio")
    lived.run(150)
    assert not lived.pages()
    lived.run(200)
    assert lived.step("tank-3/warm", "raised").at >= DUSK + 5.3 * HOUR


@pytest.mark.parametrize("grain", [1 / 16, 0.1])
def test_noise_and_a_jacket_at_full_are_no_stir(grain: float) -> None:
    saw = night(lambda now: 0.3 * math.sin((now - DUSK) / HOUR * math.pi), grain=grain)
    assert not masks(saw.run(400))
    falls = night(lambda now: -0.9 * max(now - STIRRED, 0.0) / HOUR, grain=grain)
    assert not masks(falls.run(400))


def test_a_probe_that_leaves_its_mash_is_no_stir() -> None:
    """It goes on moving, at once or over an hour."""
    for tau in (3.0, 6.0, 30.0):
        out = night(lambda now, tau=tau: 5.0 * (1 - math.exp(-max(now - STIRRED, 0.0) / tau / 60)))
        out.run(200)
        assert not masks(out), tau


def test_what_jumped_while_nothing_was_heard_is_no_step() -> None:
    lived = night(lambda now: 0.4 if now >= STIRRED else 0.0)
    curve = lived.told["t3-mid"]
    assert callable(curve)
    gap = STIRRED - 9 * MINUTE, STIRRED
    lived.told["t3-mid"] = lambda now: None if gap[0] < now < gap[1] else curve(now)  # type: ignore
    assert not masks(lived.run(200))


# --------------------------------------------------------------------- edges, without any noise


def plain(minutes: float, trace: Curve, start: float = EVENING) -> Quiet:
    """A tank in a cellar whose probe says just that, by the minute."""
    lived = Quiet(cellar(), start)
    lived.batch()
    return lived.play(minutes, mid=trace, air=6.0)


def held(lived: Quiet) -> list[tuple[float, float]]:
    """Minutes between which a stir that nobody logged is held."""
    masks = lived.view.entry_log.of("tank").masks
    return [
        ((m.start - lived.start) / 60, (m.end - lived.start) / 60)
        for m in masks
        if m.why == STIR_SEEN
    ]


def jump(by: float, at: float = 60.0) -> Curve:
    return lambda minute: 10.0 + (by if minute >= at else 0.0)


@pytest.mark.parametrize(("curve", "seen"), [
    (jump(0.14), []), (jump(0.2), [60]), (jump(0.79), [60]), (jump(-0.79), [60]), (jump(0.81), []),
    (jump(0.4, 7), []), (jump(0.4, 8), [8]),
    (lambda m: 10.0 + 0.4 * min(max(m - 59, 0) / 3, 1), [61]),
    (lambda m: 10.0 + 0.4 * min(max(m - 59, 0) / 4, 1), []),
    (lambda m: 10.0 + 0.01 * (m - 60) if m < 60 else 10.4, [60]),
    (lambda m: 10.0 + 0.015 * (m - 60) if m < 60 else 10.4, []),
    (lambda m: 10.0 if m < 60 else 10.4 + (0.12 if m % 2 else -0.12), [60]),
    (lambda m: 10.0 if m < 60 else 10.4 + (0.13 if m % 2 else -0.13), []),
    (lambda m: jump(0.4)(m) + (0.06 if m % 2 else -0.06), [60]),
    (lambda m: jump(0.4)(m) + (0.07 if m % 2 else -0.07), []),
])  # fmt: skip
def test_what_a_stir_is_and_what_it_is_not(curve: Curve, seen: list[float]) -> None:
    """From 0.15 to 0.8 K, eight readings before it, gone in three minutes and not in four, from
    where it stood; it shakes by a quarter of a degree at most, and is four times its own noise."""
    assert [start for start, _ in held(plain(75, curve))] == seen


def test_it_is_seen_once_it_has_stood_for_two_minutes_and_held_for_half_an_hour() -> None:
    assert held(plain(62, jump(0.4))) == []
    assert held(plain(63, jump(0.4))) == [(60, 90)]


@pytest.mark.parametrize(("gap", "seen"), [(6, [65]), (7, [])])
def test_over_more_than_six_minutes_of_silence_anything_may_have_moved(
    gap: float, seen: list[float]
) -> None:
    lived = plain(60, jump(0.0))
    lived.play(59 + gap, air=6.0).play(80, mid=10.4, air=6.0)
    assert [start for start, _ in held(lived)] == seen


@pytest.mark.parametrize(("apart", "seen"), [(9, [60]), (16, [60, 76])])
def test_a_second_step_needs_its_own_time_before_it(apart: float, seen: list[float]) -> None:
    """Nothing is looked for within five minutes, and eight readings after them tell a new one."""
    lived = plain(110, lambda m: 10.0 + 0.35 * (m >= 60) + 0.35 * (m >= 60 + apart))
    assert [start for start, _ in held(lived)] == seen


def test_while_work_is_logged_or_it_is_let_run_no_stir_is_looked_for() -> None:
    for entry, fields, until, seen in (("addition", {"what": "yeast", "kg": 0.1}, 75, []),
                                       ("let-run", {"within": "1h", "more": 3}, 75, []),
                                       ("stir", {"within": "5m"}, 75, [])):  # fmt: skip
        lived = plain(58, jump(0.0))
        lived.log("tank", entry, **fields)
        lived.play(until, mid=jump(0.4), air=6.0)
        assert held(lived) == seen, entry


def test_the_crew_is_asked_again_after_six_hours_and_no_sooner() -> None:
    for apart, asked in ((300, 1), (365, 2)):
        curve = lambda m, n=apart: 10.0 + 0.3 * (60 <= m < 60 + n)  # noqa: E731
        lived = plain(60 + apart + 10, curve, EVENING + 10 * HOUR)
        assert len(held(lived)) == 2
        told = [m for m in lived.messages() if "stirred, not logged" in m.title]
        assert len(told) == asked
