"""Readings of a table: one column a tank, or a column that names it."""

from __future__ import annotations

from contextlib import closing
from math import inf
from pathlib import Path

import pytest

from kuraban.core.units import parse_time
from kuraban.imports.mapping import Mapping
from kuraban.imports.readings import product_of
from kuraban.store.history import History
from tests.imports.conftest import Take
from tests.imports.mangled import LONG, WIDE, house

AT = parse_time("2025-01-20T10:00:00+09:00")


def told(past: Path, probe: str) -> list[tuple[float, float]]:
    with closing(History(past)) as history:
        return list(history.readings(probe, 0.0, inf))


def test_one_column_a_tank(take: Take, past: Path) -> None:
    """Each goes to the tank's product probe; an empty cell and a bus code are gaps."""
    found = take(WIDE, "time,Tank 3,Tank 5\n2025-01-20 10:00,10.5,\n2025-01-20 10:01,-127,10.7\n")
    assert (found.added.new, found.gaps) == (2, 2)
    assert told(past, "t3-mid") == [(AT, 10.5)]
    assert told(past, "t5-mid") == [(AT + 60, 10.7)]


def test_a_column_that_names_the_tank(take: Take, past: Path) -> None:
    """By its name, its id, or that of a probe."""
    rows = ("Tank 3,10.5", "tank-5,10.6", "t1-lower,10.7")
    take(LONG, "time,tank,temp\n" + "".join(f"2025-01-20 10:00,{row}\n" for row in rows))
    assert [told(past, probe)[0][1] for probe in ("t3-mid", "t5-mid", "t1-lower")] == [
        10.5, 10.6, 10.7,
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("how", "cell"), [({"unit": "°F"}, "50.9"), ({"unit": "K"}, "283.65"), ({"factor": 0.1}, "105")]
)
def test_degrees_become_celsius(take: Take, past: Path, how: dict[str, object], cell: str) -> None:
    mapping = Mapping(kind="readings", columns={"t": "time", "a": "tank-3"}, **how)  # type: ignore[arg-type]
    take(mapping, f"t,a\n2025-01-20 10:00,{cell}\n")
    assert told(past, "t3-mid") == [(AT, pytest.approx(10.5))]


def test_a_place_is_its_product_before_its_air() -> None:
    found = [product_of(house(), place) for place in ("tank-3", "cellar")]
    assert [probe and probe.id for probe in found] == ["t3-mid", "cellar-air"]
