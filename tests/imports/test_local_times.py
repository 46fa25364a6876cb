"""The times of a table, whatever the clocks did."""

from __future__ import annotations

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from kuraban.core.units import HOUR, MINUTE, parse_time
from kuraban.edges.table_reader import Cell
from kuraban.imports.local_times import LocalTimes, read_clock, read_moment

BERLIN = ZoneInfo("Europe/Berlin")


@pytest.mark.parametrize(
    "told",
    [
        "2025-02-01 03:10", "2025/2/1 3:10", "2025/02/01 03:10:00", "2025年2月1日 3時10分",
        "２０２５／２／１　３：１０", "1.2.2025 03:10", "2025-02-01T03:10", 45689.13194444444,
        datetime(2025, 2, 1, 3, 10), "45689.13194444444",
    ],
)  # fmt: skip
def test_one_moment_in_many_spellings(told: Cell) -> None:
    assert read_moment(told, None, 0.0) == datetime(2025, 2, 1, 3, 10)


def test_an_offset_is_kept_and_a_form_is_followed() -> None:
    at = parse_time("2025-02-01T03:10:00+09:00")
    assert read_moment("2025-02-01T03:10:00+09:00", None, 0.0).timestamp() == at
    assert read_moment("1769883000", None, 0.0).timestamp() == 1769883000.0
    assert read_moment("02/01/2025 3:10 AM", "%m/%d/%Y %I:%M %p", 0.0) == datetime(
        2025, 2, 1, 3, 10
    )


def test_a_day_alone_is_the_turn_of_its_brewery_day() -> None:
    assert read_moment("2025-02-01", None, 6 * HOUR) == datetime(2025, 2, 1, 6)
    assert read_moment("01/02/2025", "%d/%m/%Y", 6 * HOUR) == datetime(2025, 2, 1, 6)
    assert read_moment("2025-02-01 24:00", None, 0.0) == datetime(2025, 2, 2)


def test_a_time_of_day_has_a_cell_of_its_own() -> None:
    for told in ("3:10", "03:10:00", "3時10分", 0.13194444444):
        assert round(read_clock(told).total_seconds()) == 3 * HOUR + 10 * MINUTE
    with pytest.raises(ValueError, match="write it as 03:10"):
        read_clock("soon")


def doubled(backward: bool) -> tuple[list[float], LocalTimes]:
    """Every ten minutes of the night of 26 October 2025, as a logger's clock showed them."""
    start = datetime(2025, 10, 26, tzinfo=BERLIN).timestamp()
    moments = [start + n * 600.0 for n in range(30)]
    if backward:
        moments.reverse()
    times = LocalTimes(BERLIN, backward)
    shown = [datetime.fromtimestamp(at, BERLIN).replace(tzinfo=None, fold=0) for at in moments]
    assert [times.moment(one, "") for one in shown] == moments
    return moments, times


@pytest.mark.parametrize("backward", [False, True])
def test_an_hour_that_came_twice_is_read_as_first_and_second(backward: bool) -> None:
    """From the oldest to the newest and from the newest to the oldest: no moment is lost."""
    _, times = doubled(backward)
    assert times.first.total() == times.second.total() == 6


def test_an_hour_that_never_was_is_read_by_the_clock_of_before() -> None:
    times, shown = LocalTimes(BERLIN), datetime(2025, 3, 30, 1, 50)
    found = [times.moment(shown + timedelta(minutes=10 * n), "") for n in range(6)]
    assert [later - found[0] for later in found] == [600.0 * n for n in range(6)]
    assert times.missing.total() == 5
