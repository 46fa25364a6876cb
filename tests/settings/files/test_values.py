"""The kinds of value in site and course files, and what is said of those that do not fit."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import TypeAdapter, ValidationError

from kuraban.core.planned_curve import AirBand, Sides
from kuraban.settings.files import values


def read(kind: Any, value: object) -> Any:
    return TypeAdapter(kind).validate_python(value)


@pytest.mark.parametrize(
    ("kind", "value", "meant"),
    [
        (values.Duration, "90m", 5400.0),
        (values.Duration, "0s", 0.0),
        (values.Clock, "06:00", 21600.0),
        (values.Hours, ["18:00", "08:00"], (64800.0, 28800.0)),
        (values.Band, [1, 8.5], (1.0, 8.5)),
        (values.Allowed, 0.5, Sides(0.5, 0.5)),
        (values.Allowed, {"below": 0.5, "above": 0.4}, Sides(0.5, 0.4)),
        (values.Title, "添", {"en": "添", "ja": "添"}),
        (values.Points, [["0h", 12], ["1d", 13.5]], ((0.0, 12.0), (86400.0, 13.5))),
        (values.Air, {"humidity": [60, 80]}, AirBand(humidity=(60.0, 80.0))),
        (values.Air, {"wet_bulb_depression": [3, 6]}, AirBand((3.0, 6.0))),
        (values.Topic, "meters/chiller-1", "meters/chiller-1"),
        (values.Pointer, "/a~1b/~0", "/a~1b/~0"),
        (values.Timezone, "Europe/Vienna", "Europe/Vienna"),
    ],
)
def test_values_as_people_write_them(kind: Any, value: object, meant: object) -> None:
    """Inside the watch they are seconds and degrees."""
    assert read(kind, value) == meant


@pytest.mark.parametrize(
    ("kind", "value"),
    [
        (values.Id, "Tank 3"),
        (values.Id, "-tank"),
        (values.Words, ""),
        (values.Words, "a\nb"),
        (values.Words, "x" * 201),
        (values.Duration, 20),
        (values.Duration, "20 min"),
        (values.SomeTime, "0m"),
        (values.Clock, "6:00"),
        (values.Hours, ["18:00"]),
        (values.Hours, ["18:00", "18:00"]),
        (values.Band, [8, 1]),
        (values.Band, [8, 8]),
        (values.Band, [float("nan"), 8]),
        (values.Band, [1, 200]),
        (values.Positive, 0),
        (values.Positive, True),
        (values.Offset, 30),
        (values.Allowed, {"below": 1}),
        (values.Allowed, {"below": 1, "abov": 1}),
        (values.Allowed, -0.1),
        (values.Title, {}),
        (values.Title, {"de": "Gabe"}),
        (values.Points, []),
        (values.Points, [["0h"]]),
        (values.Points, [["1h", 12], ["1h", 13]]),
        (values.Air, {}),
        (values.Air, {"humidity": [60, 120]}),
        (values.Topic, "meters/#"),
        (values.Topic, "/meters"),
        (values.Pointer, "a/b"),
        (values.Pointer, "/a~2"),
        (values.Timezone, "Tokyo/Asia/Moon"),
        (values.Timezone, "../etc/passwd"),
    ],
)
def test_a_value_that_does_not_fit_says_what_would_be_right(kind: Any, value: object) -> None:
    """Both texts are there, and neither is a bare type name."""
    with pytest.raises(ValidationError) as refused:
        read(kind, value)
    (error,) = refused.value.errors()
    assert error["type"] == "fault"
    assert error["ctx"]["wrong"] and error["ctx"]["right"]


JUNK = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=12),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner),
    max_leaves=6,
)
KINDS = [
    values.Id, values.Words, values.Duration, values.Clock, values.Hours, values.Band,
    values.Allowed, values.Title, values.Points, values.Air, values.Topic, values.Pointer,
    values.Positive,
]  # fmt: skip


@given(value=JUNK, kind=st.sampled_from(KINDS))
def test_whatever_stands_in_a_file_is_a_value_or_a_fault(value: object, kind: Any) -> None:
    """No text in a site file makes the watch fall over."""
    try:
        read(kind, value)
    except ValidationError as refused:
        assert all(error["type"] == "fault" for error in refused.errors())


def test_the_nearest_spelling_is_offered() -> None:
    """Only if it is near."""
    assert values.nearest("tank-33", ["tank-3", "cellar"], "x") == 'did you mean "tank-3"?'
    assert values.nearest("moon", ["tank-3"], "known are tank-3") == "known are tank-3"
