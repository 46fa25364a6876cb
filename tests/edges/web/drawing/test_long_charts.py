"""Curves of many days."""

from __future__ import annotations

import dataclasses
import json

import pytest

from kuraban.core.units import DAY
from kuraban.core.views.snapshot import PlanLine, Stretch
from kuraban.edges.web.drawing import long_charts as lines
from kuraban.edges.web.drawing.long_charts import Drawn, days_of
from kuraban.edges.web.translator import Translator
from kuraban.settings.catalogues import load_page_words
from tests.edges.web.served import Served

T0 = 1768338000.0
"""A turn of the brewery day, 06:00 in Tokyo."""


@pytest.fixture
def drawn(lived: Served) -> Drawn:
    """Thirty days on a level plan of 10 °C, re-drawn to 9.5."""
    stretch = Stretch(stage="moromi", title={}, start=T0, end=None, below=0.5, above=0.5)
    plan = PlanLine(points=((T0, 9.5), (T0 + 40 * DAY, 9.5)), stretches=(stretch,))
    return Drawn(
        house=lived.settings.house, title="No. 21", start=T0, end=T0 + 30 * DAY,
        points=tuple((T0 + n * 3600.0, 9.6) for n in range(600)), step=3600.0, plan=plan,
        faint=((T0, 10.0), (T0 + 40 * DAY, 10.0)),
        days=tuple((T0 + n * DAY, n + 1) for n in range(30)),
        w=Translator(load_page_words(), "en", lived.settings.house, T0 + 25 * DAY),
    )  # fmt: skip


def test_a_long_curve_names_every_fifth_day(drawn: Drawn) -> None:
    """Thirty labels would lie over one another; a phone has room for fewer."""
    svg = lines.svg(drawn).decode()
    assert all(f">day {n}<" in svg for n in (1, 5, 10, 25))
    assert ">day 2<" not in svg
    small = lines.svg(dataclasses.replace(drawn, size="hand")).decode()
    assert ">day 10<" in small and ">day 5<" not in small


def test_a_short_curve_names_every_day(drawn: Drawn) -> None:
    svg = lines.svg(dataclasses.replace(drawn, end=T0 + 5 * DAY)).decode()
    assert all(f">day {n}<" in svg for n in (1, 2, 3, 4, 5))


def test_the_days_go_on_beyond_those_that_are_known(lived: Served) -> None:
    """Counted on, and after −1 comes 1."""
    house = lived.settings.house
    assert [n for _, n in days_of(house, ((T0, -1),), T0, T0 + 2 * DAY)] == [-1, 1, 2]


def test_a_finger_is_told_time_measured_and_plan(drawn: Drawn) -> None:
    """Shares of the shown span; what lies outside of it is left out."""
    answer = lines.readout(drawn.w, T0, T0 + DAY, drawn.points, drawn.plan)
    told = json.loads(bytes(answer.body))
    assert len(told["points"]) == 25
    assert told["points"][12][0] == 0.5
    assert told["points"][12][2:] == ["9.6", "9.5"]
    (left, wide), (narrow_left, _) = told["across"]["page"], told["across"]["hand"]
    assert 0 < left < narrow_left < 0.2 and 0.8 < wide < 1
