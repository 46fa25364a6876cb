"""Small drawings of a mash's figures."""

from __future__ import annotations

from dataclasses import replace

from kuraban.core.planned_curve import Target
from kuraban.edges.web.drawing.small_plots import beside, small
from tests.core.views.test_side_by_side import sampled


def test_the_highest_stands_at_the_top_and_the_first_day_at_the_left() -> None:
    found = small("bmd", [("one", ((1.0, 8.0), (3.0, 24.0)))])
    assert found is not None and found.lines == (("one", "34,88 334,8"),)
    assert (found.low, found.high, found.first, found.last) == (8.0, 24.0, 1.0, 3.0)


def test_one_point_is_no_drawing() -> None:
    assert small("bmd", [("one", ((1.0, 8.0),))]) is None
    assert small("bmd", [("one", ())]) is None


def test_a_band_goes_out_above_and_comes_back_below() -> None:
    found = small("baume", [("one", ())], [(1.0, 6.0, 8.0), (2.0, 5.0, 7.0)])
    assert found is not None and found.band == "34,8 334,35 334,88 34,61" and not found.lines


def test_the_line_that_the_house_draws_lies_on_bmd_and_on_alcohol() -> None:
    """By moromi day alone: counted from soe its days would be others."""
    own = sampled(0.0, 8.0, 7.0, 6.0)
    own = replace(
        own,
        days=tuple(replace(day, alcohol=18 - 2 * (day.baume or 0)) for day in own.days),
        target=Target(by_alcohol=((2.0, 8.0), (17.0, 0.0)), bmd=((1.0, 8.0), (20.0, 0.0))),
    )
    by_tome = {one.measure: dict(one.lines) for one in beside(own, None, [own], "tome")}
    assert set(by_tome) == {"morning", "baume", "bmd", "alcohol", "a-b"}
    assert "drawn" in by_tome["bmd"] and "drawn" in by_tome["a-b"]
    by_soe = {one.measure: dict(one.lines) for one in beside(own, None, [], "soe")}
    assert "drawn" not in by_soe["bmd"] and "other" not in by_soe["a-b"]
