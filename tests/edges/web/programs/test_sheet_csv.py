"""The sheet of a batch as CSV, for whoever reckons with it."""

from __future__ import annotations

import pytest

from kuraban.core.views.batch_sheet import SheetDay
from kuraban.edges.web.programs.sheet_csv import cells, clock_of
from kuraban.edges.web.translator import Translator
from kuraban.settings.catalogues import load_page_words
from tests.edges.web.served import Served


def test_a_figure_that_is_not_known_is_an_empty_cell(lived: Served) -> None:
    """And no zero; one that is zero is one without a sign."""
    w = Translator(load_page_words(), "en", lived.settings.house, lived.clock())
    day = SheetDay(at=lived.clock(), number=1, place="tank-3", day=-1, baume=-0.001)
    told = cells(day, w)
    assert told[1:4] == ["1", "-1", ""]
    assert told[4:8] == ["", "", "", ""] and told[8] == "0.00"


@pytest.mark.parametrize(("seconds", "clock"), [(21600.0, "06:00"), (63000.0, "17:30")])
def test_a_clock_is_written_with_its_zero(seconds: float, clock: str) -> None:
    assert clock_of(seconds) == clock
