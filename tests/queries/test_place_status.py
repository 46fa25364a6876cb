"""How a place stands, in the one word that pages and terminal share."""

from __future__ import annotations

import pytest

from kuraban.core.units import HOUR, MINUTE
from kuraban.queries.place_status import banded_word, going_of, held_of, word_of
from kuraban.queries.status import PLAINLY
from tests.core.house import MASH, mashing

STAGE = MASH.stages[2]


@pytest.mark.parametrize(
    ("apart", "word"),
    [
        (None, "unknown"), (0.3, "as-planned"), (-0.3, "as-planned"), (0.31, "little-warm"),
        (-0.4, "little-cold"), (0.6, "warm"), (-0.6, "cold"), (1.1, "far-warm"),
        (-1.1, "far-cold"),
    ],
)  # fmt: skip
def test_a_product_stands_by_notice_tolerance_and_limit(apart: float | None, word: str) -> None:
    assert word_of(apart, STAGE) == word and word in PLAINLY


@pytest.mark.parametrize(
    ("value", "word", "apart"),
    [(1.0, "in-band", 0.0), (8.0, "in-band", 0.0), (9.5, "warm", 1.5), (0.0, "cold", -1.0),
     (None, "unknown", None)],
)  # fmt: skip
def test_a_store_stands_by_its_band(value: float | None, word: str, apart: float | None) -> None:
    assert banded_word(value, (1.0, 8.0)) == (word, apart)
    assert banded_word(value, None) == ("unknown", None)


def test_what_rests_goes_nowhere() -> None:
    assert [going_of(rate) for rate in (None, 0.0, 0.5, -0.5)] == [None, "level", "up", "down"]


def test_work_settling_and_let_run_hold_the_judgement() -> None:
    night = mashing().run(10)
    view, now = night.engine.view, night.now

    def held() -> tuple[str | None, float | None]:
        batch = view.batch("tank-3", now)
        assert batch is not None
        return held_of(view, "tank-3", batch, now)

    assert held() == (None, None)
    night.log("tank-3", "let-run", for_="2h", more=0.5)
    assert held() == ("let-run", now + 2 * HOUR)
    night.log("tank-3", "stir")
    assert held() == ("masked", now + 30 * MINUTE)
    night.log("tank-4", "batch-end")
    night.log("tank-4", "batch-start", batch="5", course="mash", stage="tome")
    batch = view.batch("tank-4", now)
    assert batch is not None
    assert held_of(view, "tank-4", batch, now) == ("settling", now + 3 * HOUR)
