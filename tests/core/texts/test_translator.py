"""How templates become text."""

from __future__ import annotations

from zoneinfo import ZoneInfo

import pytest

from kuraban.core.texts.translator import Speech, Words, figure, fill
from kuraban.core.units import DAY, HOUR, MINUTE, parse_time

NOW = parse_time("2026-02-01T03:10:00+09:00")
SPEECH = Speech(
    Words.from_tables({
        "en": {
            "time": {
                "yesterday": "yesterday {clock}", "tomorrow": "tomorrow {clock}",
                "date": "{day} {month}", "range": "{start} to {end}",
                "months": "Jan Feb Mar Apr May Jun Jul Aug Sep Oct Nov Dec",
            },
            "span": {"soon": "now", "minutes": "{n} min", "hours": "{n} h", "days": "days"},
            "join": {"list": ", ", "more": "{names} and {n} more"},
            "unit": {"celsius": "{n} °C", "percent": "{n} %"},
        }
    }),
    "en",
    ZoneInfo("Asia/Tokyo"),
    NOW,
)  # fmt: skip


def test_what_is_unknown_is_left_out() -> None:
    """A bracket goes with its field; a sentence goes with a field that it cannot do without."""
    assert fill("{name} warm[: {value}][ (plan {plan})]", {"name": "T", "plan": "9"}) == (
        "T warm (plan 9)"
    )
    assert fill("{name} warm", {}) == ""


def test_a_name_with_braces_is_not_a_template() -> None:
    """What people typed is printed as they typed it."""
    assert fill("{name} warm", {"name": "{value} [x]"}) == "{value} [x] warm"


def test_both_languages_must_say_the_same() -> None:
    """A sentence forgotten in one language is found before anyone is woken by silence."""
    with pytest.raises(ValueError, match=r"ja: warm\.first is missing"):
        Words.from_tables({"en": {"warm": {"first": "x", "name": "y"}}, "ja": {"warm.name": "z"}})


@pytest.mark.parametrize("table", [{"warm": 3}, {"warm": {"first": ["x"]}}])
def test_a_catalogue_holds_texts_only(table: dict[str, object]) -> None:
    """A slip of the pen in a catalogue is named by its key."""
    with pytest.raises(ValueError, match="warm"):
        Words.from_tables({"en": table})


def test_no_catalogue_is_a_fault() -> None:
    """A watch without words cannot wake anyone."""
    with pytest.raises(ValueError, match="no message catalogue"):
        Words.from_tables({})


@pytest.mark.parametrize(
    ("value", "text"), [(0.61, "+0.6"), (-0.61, "−0.6"), (-0.04, "±0.0"), (0.0, "±0.0")]
)
def test_a_difference_is_signed(value: float, text: str) -> None:
    """Above and below the plan cannot be taken for each other."""
    assert figure(value, signed=True) == text


@pytest.mark.parametrize(
    ("ago", "text"),
    [
        (20 * MINUTE, "02:50"),
        (4 * HOUR, "23:10"),
        (14 * HOUR, "yesterday 13:10"),
        (-24 * HOUR, "tomorrow 03:10"),
        (3 * DAY, "29 Jan 03:10"),
    ],
)
def test_a_time_says_its_day_where_it_could_be_mistaken(ago: float, text: str) -> None:
    """The evening before is still this night; half a day away the day is named."""
    assert SPEECH.clock(NOW - ago) == text


@pytest.mark.parametrize(
    ("hours", "text"),
    [
        (-1.0, "now"), (0.1, "now"), (0.66, "40 min"), (1.49, "80 min"), (1.9, "1.5 h"),
        (2.0, "2 h"), (5.9, "5.5 h"), (11.9, "11 h"), (30.0, "days"), (float("inf"), "days"),
    ],
)  # fmt: skip
def test_nobody_is_promised_more_time_than_there_is(hours: float, text: str) -> None:
    """Hours left are rounded towards less."""
    assert SPEECH.span(hours) == text


def test_a_long_list_is_cut() -> None:
    """Thirty tanks do not push what to do off the screen."""
    assert SPEECH.names(map(str, range(6))) == "0, 1, 2, 3 and 2 more"
    assert SPEECH.names([]) is None


def test_a_value_carries_its_unit() -> None:
    """Degrees to a tenth, humidity whole; a wet-bulb difference is told in degrees."""
    shown = [SPEECH.measure(10.46, unit) for unit in ("°C", "K", "%RH", "W")]
    assert shown == ["10.5 °C", "10.5 °C", "10 %", "10 W"]
    assert SPEECH.measure(None) is None


def test_a_moment_is_told_once() -> None:
    """From 03:10 to 03:10 is 03:10."""
    assert SPEECH.stretch(NOW, NOW + 20) == "03:10"
    assert SPEECH.stretch(NOW, NOW + HOUR) == "03:10 to 04:10"
