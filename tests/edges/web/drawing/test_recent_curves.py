"""The last day of a place as a small curve: read once, then carried on; gaps stay gaps."""

from __future__ import annotations

import re

from kuraban.core.units import HOUR
from kuraban.edges.web.drawing.recent_curves import RecentCurves, Spark
from tests.edges.web.served import Served


def spark(
    served: Served, place: str, later: float = 0.0, known: RecentCurves | None = None
) -> Spark:
    shown = served.snapshot().place(place)
    assert shown is not None
    found = (known or RecentCurves(served.path)).spark(
        served.settings.house, shown, served.clock() + later
    )
    assert found is not None
    return found


def test_a_curve_stays_within_its_drawing(lived: Served) -> None:
    """96 wide, 30 high; the band about the plan lies under it, closed."""
    drawn = spark(lived, "tank-5")
    assert drawn.band.endswith("z")
    x, y = 0, 0
    for start, steps in re.findall(r"M(\d+ \d+)l([^Mz]*)", drawn.line):
        x, y = map(int, start.split())
        for right, down in re.findall(r"(-?\d+) ?(-?\d+)", steps):
            x, y = x + int(right), y + int(down)
            assert 0 <= x <= 96 and 0 <= y <= 30


def test_a_curve_is_small(lived: Served) -> None:
    """Forty of them fit into a page for a weak radio."""
    drawn = spark(lived, "tank-6")
    assert len(drawn.line) + len(drawn.band) < 400


def test_what_a_probe_told_outside_is_no_part_of_it(lived: Served) -> None:
    """Tank 2's probe hung in the cellar's air: its curve does not fall there, it has a gap."""
    assert spark(lived, "tank-2").line.count("M") == 2


def test_a_curve_is_carried_on(served: Served) -> None:
    """Later the same points stand further left."""
    known = RecentCurves(served.path)
    first = spark(served, "tank-5", 0.0, known)
    assert spark(served, "tank-5", 2 * HOUR, known) != first


def test_without_its_journal_a_row_has_no_curve(served: Served) -> None:
    known = RecentCurves(served.path.with_name("nowhere"))
    shown = served.snapshot().places[0]
    assert known.spark(served.settings.house, shown, served.clock()) is None
