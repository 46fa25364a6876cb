"""Figures and lengths as people type them, on any keyboard."""

from __future__ import annotations

from contextlib import suppress

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kuraban.core.intake.typed_figures import figure, narrow, span


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        ("10.5", 10.5), ("10,5", 10.5), ("１０．５", 10.5), ("１０，５", 10.5), ("10.5℃", 10.5),
        ("10.5 °C", 10.5), ("10.5C", 10.5), ("−1.5", -1.5), ("－１．５", -1.5), ("-20", -20.0),
        ("15.2%", 15.2), ("１５度", 15.0), ("+0.3 K", 0.3), (".5", 0.5), ("1e3", 1000.0),
        (" 7 ", 7.0), ("1400L", 1400.0), ("600 kg", 600.0), ("1,5", 1.5), ("12,25", 12.25),
    ],
)  # fmt: skip
def test_a_figure_is_read_as_it_was_meant(typed: str, meant: float) -> None:
    assert figure(typed) == meant


@pytest.mark.parametrize("typed", ["warm", "", "10.5.2", "10 5", "ten", "--5", "1 400"])
def test_what_is_no_figure_says_what_would_be(typed: str) -> None:
    with pytest.raises(ValueError, match=r"write one such as 10\.5"):
        figure(typed)


def test_what_may_be_two_figures_is_asked_back() -> None:
    """A comma before three digits is a thousand to some and a decimal to others."""
    with pytest.raises(ValueError, match=r"may be 1400 or 1\.400; write which"):
        figure("1,400")


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        ("90s", 90), ("20m", 1200), ("20 min", 1200), ("20 minutes", 1200), ("12h", 43200),
        ("12hours", 43200), ("12 hours", 43200), ("1h30m", 5400), ("1h 30m", 5400), ("2d", 172800),
        ("2 days", 172800), ("1.5h", 5400), ("1,5h", 5400), ("１２時間", 43200), ("20分", 1200),
        ("2日間", 172800), ("１２ｈ", 43200), ("12H", 43200), ("90 sec", 90), ("90秒", 90),
        ("1 second", 1), ("2 hr", 7200),
    ],
)  # fmt: skip
def test_a_length_of_time_is_read_as_it_was_meant(typed: str, meant: float) -> None:
    assert span(typed) == meant


@pytest.mark.parametrize("typed", ["12", "h", "", "12 moons", "12h3", "soon", "99999d"])
def test_what_is_no_length_says_what_would_be(typed: str) -> None:
    with pytest.raises(ValueError, match=r'write one such as "90s"'):
        span(typed)


@given(st.text(max_size=20))
def test_nothing_else_is_raised(text: str) -> None:
    for read in (figure, span, narrow):
        with suppress(ValueError):
            read(text)
