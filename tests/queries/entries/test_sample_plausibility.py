"""What in an analysis or an addition is asked about."""

from __future__ import annotations

import pytest

from kuraban.core import entries as e
from kuraban.queries.entries.sample_plausibility import of_addition, of_sample

DAY = 86400.0
BEFORE = [(0.0, e.Sample(baume=6.0, alcohol=9.0)), (DAY, e.Sample(baume=5.0, alcohol=10.0))]


def asked(sample: e.Sample, after: float = 1.0) -> str:
    return " ".join(of_sample(sample, (1 + after) * DAY, BEFORE))


@pytest.mark.parametrize(
    "sample",
    [
        e.Sample(baume=4.2, alcohol=10.9, acidity=1.6),
        e.Sample(smv=-42),
        e.Sample(baume=5.0),
        e.Sample(baume=4.2, smv=-42, hydrometer_celsius=15),
    ],
)
def test_a_day_like_any_other_is_not_asked_about(sample: e.Sample) -> None:
    assert asked(sample) == ""


@pytest.mark.parametrize(
    ("sample", "word"),
    [
        (e.Sample(baume=0.5), "no mash moves so fast"),
        (e.Sample(baume=6.2), "no mash moves so fast"),
        (e.Sample(smv=-5), "no mash moves so fast"),
        (e.Sample(alcohol=16.0), "Alcohol 10.0 before and 16.0 now"),
        (e.Sample(alcohol=8.0), "Alcohol"),
        (e.Sample(baume=4.2, smv=42), "would be SMV −42"),
        (e.Sample(alcohol=23.0), "no mash ferments beyond 22"),
        (e.Sample(baume=4.5, hydrometer_celsius=60), "from 5 to 30"),
    ],
)
def test_a_slip_of_the_pen_is_asked_about(sample: e.Sample, word: str) -> None:
    """A sign, a decimal point, another tank's line; limits are common practice."""
    assert word in asked(sample)


def test_early_on_baume_may_rise() -> None:
    """Rice dissolves faster than the yeast eats, until Baume has once begun to fall."""
    assert not list(of_sample(e.Sample(baume=8.0), DAY, [(0.0, e.Sample(baume=6.0))]))


def test_after_three_days_three_times_as_much_may_have_happened() -> None:
    assert asked(e.Sample(baume=0.5), after=3.0) == ""


@pytest.mark.parametrize(
    ("addition", "litres", "word"),
    [
        (e.Addition(what="rice", kg=440, celsius=12), 900.0, ""),
        (e.Addition(what="rice", kg=600, celsius=12), 900.0, "do not go into 1400 L"),
        (e.Addition(what="late-water", litres=1500), None, "do not go into"),
        (e.Addition(what="water", litres=40, celsius=60), 900.0, "above 25"),
    ],
)
def test_an_addition_that_does_not_fit_is_asked_about(
    addition: e.Addition, litres: float | None, word: str
) -> None:
    told = " ".join(of_addition(addition, litres, 1400.0))
    assert word in told and bool(word) == bool(told)
