"""Whoever is given a view of a probe or a place can write nothing through it."""

from __future__ import annotations

import pytest

from kuraban.core.probes.probe_state import PlaceState, ProbeState, Series
from kuraban.core.probes.probe_view import PlaceView, ProbeView, SeriesView
from tests.house import members_of


@pytest.mark.parametrize(
    ("view", "whole", "writing"),
    [
        (SeriesView, Series, {"add"}),
        (ProbeView, ProbeState, {"settle", "spoil", "hear"}),
        (PlaceView, PlaceState, {"refresh"}),
    ],
)
def test_a_view_shows_and_has_nothing_to_write_with(
    view: type, whole: type, writing: set[str]
) -> None:
    shown = members_of(view)
    assert shown and shown <= members_of(whole)
    assert writing <= members_of(whole) and not shown & writing
