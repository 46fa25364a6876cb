"""Times as people type them with wet hands."""

from __future__ import annotations

from datetime import datetime
from zoneinfo import ZoneInfo

import pytest

from kuraban.cli.moments import ahead, moment
from kuraban.errors import ConfigurationError

TOKYO = ZoneInfo("Asia/Tokyo")


def tokyo(text: str) -> float:
    return datetime.fromisoformat(text).replace(tzinfo=TOKYO).timestamp()


NOW = tokyo("2026-02-11 03:10")


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        ("-20m", "2026-02-11 02:50"),
        ("22:10", "2026-02-10 22:10"),
        ("03:10", "2026-02-11 03:10"),
        ("03:14", "2026-02-11 03:14"),
        ("03:20", "2026-02-10 03:20"),
        ("2026-02-09 18:00", "2026-02-09 18:00"),
        ("2026-02-09", "2026-02-09 00:00"),
        ("2026-02-10T18:00:00Z", "2026-02-11 03:00"),
        ("20m", "2026-02-11 02:50"),
        ("12hours", "2026-02-10 15:10"),
        ("2 days", "2026-02-09 03:10"),
        ("１２時間", "2026-02-10 15:10"),
        ("+20m", "2026-02-11 03:30"),
        ("yesterday", "2026-02-10 00:00"),
        ("Yesterday 18:30", "2026-02-10 18:30"),
        ("today", "2026-02-11 00:00"),
        ("昨日", "2026-02-10 00:00"),
        ("now", "2026-02-11 03:10"),
        ("２２：１０", "2026-02-10 22:10"),
        ("2:10", "2026-02-11 02:10"),
        (str(tokyo("2026-02-09 18:00")), "2026-02-09 18:00"),
    ],
)
def test_a_typed_time_is_the_latest_that_fits(typed: str, meant: str) -> None:
    """What is logged has been: "22:10" at three in the morning was yesterday."""
    assert moment(typed, "--at", TOKYO, NOW) == tokyo(meant)


@pytest.mark.parametrize(
    ("typed", "meant"),
    [("06:00", "2026-02-11 06:00"), ("03:00", "2026-02-12 03:00"), ("3h", "2026-02-11 06:10")],
)
def test_an_aim_lies_ahead(typed: str, meant: str) -> None:
    assert ahead(typed, "by", TOKYO, NOW) == tokyo(meant)


@pytest.mark.parametrize("typed", ["soon", "25:00", "20m ago", "", "2210"])
def test_what_is_no_time_says_what_would_be_right(typed: str) -> None:
    with pytest.raises(ConfigurationError, match=r"--at.*write"):
        moment(typed, "--at", TOKYO, NOW)


def test_where_there_is_no_now_a_time_of_day_means_nothing() -> None:
    """A recording has its own days."""
    with pytest.raises(ConfigurationError, match="2026-02-11 06:00"):
        moment("22:10", "--until", TOKYO)
