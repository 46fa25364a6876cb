"""A stir that nobody logged is seen by its step, and held as a logged one."""

from __future__ import annotations

import math
import random
from collections.abc import Callable

import pytest

from kuraban.core.effects import Message
from kuraban.core.plan.subject_state import STIR_SEEN, Mask
from kuraban.core.units import HOUR, MINUTE
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
