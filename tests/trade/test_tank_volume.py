"""Room in a tank."""

from __future__ import annotations

import math

import pytest

from kuraban.errors import OutOfRange
from kuraban.trade.tank_volume import dip_at, litres_at, room, upright

CALIBRATED = ((0.0, 3020.0), (20.0, 2680.0), (60.0, 1990.0), (150.0, 410.0))


def test_an_upright_tank_is_a_cylinder() -> None:
    """1.9 m across and 1.8 m high with 1 m of mash, as one accident report gives it (S18: Safety
    and health information, 2023): 2,835 L of 5,104, the surface 80 cm below the rim (by hand)."""
    brim = math.pi / 4 * 19 * 19 * 18
    assert brim == pytest.approx(5104, abs=1)
    dips = upright(180, brim)
    assert litres_at(dips, 80) == pytest.approx(2835, abs=1)
    assert dip_at(dips, 2835) == pytest.approx(80, abs=0.1)


def test_between_two_dips_the_litres_lie_on_a_line() -> None:
    """As a calibration table is read (common practice): halfway from 2,680 to 1,990 is 2,335."""
    assert litres_at(CALIBRATED, 40) == pytest.approx(2335)
    assert litres_at(CALIBRATED, 0) == 3020 and litres_at(CALIBRATED, 150) == 410
    assert dip_at(CALIBRATED, 2335) == pytest.approx(40)
    assert dip_at(CALIBRATED, 100) is None
    with pytest.raises(OutOfRange, match="0 to 150 cm"):
        litres_at(CALIBRATED, 151)


def test_a_foaming_yeast_takes_half_to_three_quarters_of_a_tank() -> None:
    """Three quarters in one account (S17: Gauntner, Sake World no. 81, 2006), half to two thirds in
    another (Sake Street 2024, "Non-foaming yeast")."""
    found = room(3000, 2000)
    assert found.foaming == (1500, 2250)
    assert found.foaming[0] <= 2 / 3 * 3000 <= found.foaming[1]


def test_gas_lifts_the_mash() -> None:
    """By a twentieth (common practice): 2,900 L of 3,000 run over by 45."""
    assert room(3000, 2900).left == pytest.approx(-45)
    assert room(3000, 2800).left == pytest.approx(60)


def test_a_tank_without_height_or_litres_is_refused() -> None:
    for height, brim in ((0, 3000), (180, 0)):
        with pytest.raises(OutOfRange):
            upright(height, brim)
    with pytest.raises(OutOfRange, match="litres of the tank"):
        room(0, 100)
