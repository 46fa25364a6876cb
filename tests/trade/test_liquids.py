"""Alcohol in water and sugar in water, against printed tables and a library of properties."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kuraban.errors import OutOfRange
from kuraban.trade import liquids
from kuraban.trade.liquids import alcohol_density, by_mass, sugar_density
from tests.trade.fluids import props

CELSIUS = (10, 15, 20, 25, 30)
# S1, % by mass: g/mL at 10, 15, 20, 25, 30 °C (from memory)
HANDBOOK = {
    0: (0.99973, 0.99913, 0.99823, 0.99708, 0.99568),
    5: (0.99098, 0.99032, 0.98938, 0.98817, 0.98670),
    10: (0.98393, 0.98304, 0.98187, 0.98043, 0.97875),
    15: (0.97800, 0.97669, 0.97514, 0.97334, 0.97133),
    20: (0.97252, 0.97068, 0.96864, 0.96639, 0.96395),
}
# S2: pure alcohol; % by volume at 20 °C, its share by mass there, kg/m³
PURE = ((20, 789.24), (40, 771.93))
OIML_AT_20 = ((0.080149, 984.71), (0.162135, 973.56))
# S3, % by mass: kg/m³ at 20 °C (from memory)
SUGAR = {10: 1038.1, 20: 1081.0, 30: 1127.0, 50: 1229.6}
# S4: what a hydrometer in % of sugar, right at 20 °C, is to be corrected by (from memory)
BRIX = {
    10: (-0.32, -0.38, -0.43, -0.48, -0.52),
    15: (-0.20, -0.22, -0.24, -0.26, -0.28),
    25: (0.27, 0.28, 0.30, 0.31, 0.32),
}

# S9, % by volume: % by weight, SG 25/25 and 15.56/15.56 °C in air, at the strengths of sake and of
# spirit
ALCOHOLOMETRIC = [
    (1, 0.80, 0.9985, 0.9985), (2, 1.59, 0.9970, 0.9970), (3, 2.39, 0.9956, 0.9956),
    (4, 3.19, 0.9941, 0.9942), (5, 4.00, 0.9927, 0.9928), (6, 4.80, 0.9914, 0.9915),
    (7, 5.61, 0.9901, 0.9902), (8, 6.42, 0.9888, 0.9890), (9, 7.23, 0.9875, 0.9878),
    (10, 8.05, 0.9862, 0.9866), (11, 8.86, 0.9850, 0.9854), (12, 9.68, 0.9838, 0.9843),
    (13, 10.50, 0.9826, 0.9832), (14, 11.32, 0.9814, 0.9821), (15, 12.14, 0.9802, 0.9810),
    (16, 12.96, 0.9790, 0.9800), (17, 13.79, 0.9778, 0.9789), (18, 14.61, 0.9767, 0.9779),
    (19, 15.44, 0.9756, 0.9769), (20, 16.27, 0.9744, 0.9759), (21, 17.10, 0.9733, 0.9749),
    (22, 17.93, 0.9721, 0.9739), (30, 24.67, 0.9622, 0.9653),
]  # fmt: skip


def apart() -> Iterator[tuple[str, float, float]]:
    """Every printed figure: what it is, how far ours is from it, and how far it may be."""
    for percent, row in HANDBOOK.items():
        for celsius, printed in zip(CELSIUS, row, strict=True):
            ours = alcohol_density(percent / 100, celsius)
            yield f"{percent} % at {celsius}", ours - 1000 * printed, 0.045
    for celsius, printed in PURE:
        yield f"pure at {celsius}", alcohol_density(1, celsius) - printed, 0.006
    for share, printed in OIML_AT_20:
        yield f"{share} at 20", alcohol_density(share, 20) - printed, 0.006
    for percent, printed in SUGAR.items():
        yield f"{percent} % of sugar", sugar_density(percent / 100, 20) - printed, 0.06
    for celsius, row in BRIX.items():
        for percent, printed in zip((0, 5, 10, 15, 20), row, strict=True):
            off = _hydrometer(percent / 100, celsius) - printed
            yield f"{percent} % of sugar at {celsius}", off, 0.012


def _hydrometer(share: float, celsius: float) -> float:
    """% of sugar at 20 °C less what floats at `celsius`, the glass growing by 25e-6 a K."""
    floats = sugar_density(share, celsius) * (1 + 25e-6 * (celsius - 20))
    steepness = (sugar_density(share + 0.01, 20) - sugar_density(share, 20)) / 1.0
    return (sugar_density(share, 20) - floats) / steepness


def test_every_printed_figure_is_met() -> None:
    assert [one for one in apart() if abs(one[1]) > one[2]] == []


@pytest.mark.parametrize("celsius", [5, 10, 15, 20, 25, 30])
@pytest.mark.parametrize("percent", [0, 5, 10, 15, 20])
def test_alcohol_stretches_as_a_library_has_it(celsius: float, percent: float) -> None:
    """Melinder 2010 by CoolProp, whose densities are good to 0.4: from 15 °C within 0.2 kg/m³."""
    share = by_mass(percent)
    fluid = f"INCOMP::MEA[{share}]" if share else "Water"
    here, at_15 = (props("D", "T", t + 273.15, "P", 101_325, fluid) for t in (celsius, 15))
    ours = alcohol_density(share, celsius) - alcohol_density(share, 15)
    assert ours == pytest.approx(here - at_15, abs=0.2)


def test_strength_by_volume_is_at_fifteen_degrees() -> None:
    """20 % by volume at 15 °C holds 200 mL of 0.7936 kg/L in a litre of 0.97517 (S1)."""
    assert by_mass(20) == pytest.approx(0.2 * 0.7936 / 0.97517, abs=2e-5)
    assert by_mass(0) == 0
    assert by_mass(100) == 1


@pytest.mark.parametrize(("percent", "weight", "at_25", "at_15"), ALCOHOLOMETRIC)
def test_the_alcoholometric_table_of_a_pharmacopoeia(
    percent: float, weight: float, at_25: float, at_15: float
) -> None:
    """69 printed figures of the same measurements as S1: by weight to 0.009 %, SG to 0.0001, two
    units of its last place; air makes 0.00002 of that."""
    share = by_mass(percent)
    assert 100 * share == pytest.approx(weight, abs=0.009)
    assert alcohol_density(share, 25) / alcohol_density(0, 25) == pytest.approx(at_25, abs=1.1e-4)
    ratio = alcohol_density(share, 15.56) / alcohol_density(0, 15.56)
    assert ratio == pytest.approx(at_15, abs=1.1e-4)


@given(st.floats(0, 22), st.floats(0.1, 5))
def test_more_alcohol_is_lighter_and_more_sugar_heavier(percent: float, more: float) -> None:
    assert alcohol_density(by_mass(percent + more), 15) < alcohol_density(by_mass(percent), 15)
    assert sugar_density((percent + more) / 100, 15) > sugar_density(percent / 100, 15)


def _mutants() -> list[tuple[str, tuple[int, ...]]]:
    tables: list[tuple[str, tuple[int, ...]]] = [("_AT_20", (i,)) for i in range(12)]
    for name in ("_OFF_20", "_SUGAR"):
        rows: Sequence[Sequence[float]] = getattr(liquids, name)
        tables += [(name, (i, j)) for i, row in enumerate(rows) for j, c in enumerate(row) if c]
    return tables


def _changed(table: object, where: tuple[int, ...]) -> object:
    if not where:
        assert isinstance(table, float)
        return table * 1.005
    assert isinstance(table, tuple)
    at, *rest = where
    return (*table[:at], _changed(table[at], tuple(rest)), *table[at + 1 :])


def _corrections() -> list[float]:
    """By how much, in SMV, sake and mash of all sorts read otherwise than at 15 °C."""
    return [
        1443 * (density(share, celsius) / density(share, 15) - 1)
        for density, most in ((alcohol_density, by_mass(22)), (sugar_density, 0.27))
        for share in (0.0, most / 2, most)
        for celsius in (5, 10, 20, 25, 30)
    ]


@pytest.mark.parametrize(("name", "where"), _mutants(), ids=str)
def test_a_wrong_coefficient_is_seen_or_moves_no_hydrometer(
    name: str, where: tuple[int, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Half a per cent in any of the 80: a printed figure is missed, or nothing moves by 0.02 SMV,
    a fifth of what a hydrometer shows; the higher powers hardly count in sake."""
    before = _corrections()
    monkeypatch.setattr(liquids, name, _changed(getattr(liquids, name), where))
    moved = max(abs(a - b) for a, b in zip(before, _corrections(), strict=True))
    seen = any(abs(off) > slack for _, off, slack in apart())
    assert seen or moved < 0.02


def test_all_sake_stays_below_22_per_cent() -> None:
    """Liquor Tax Act."""
    assert liquids.STRONGEST == 22.0


def test_what_no_table_holds_is_refused() -> None:
    for wrong in (
        lambda: alcohol_density(1.1, 20),
        lambda: alcohol_density(0.1, 50),
        lambda: sugar_density(0.8, 20),
        lambda: sugar_density(0.1, -1),
        lambda: by_mass(101),
    ):
        with pytest.raises(OutOfRange):
            wrong()
