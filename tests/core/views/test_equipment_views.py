"""What is told of a bed and of a cooler never changes, and says what is not known."""

from __future__ import annotations

import dataclasses

import pytest

from kuraban.core.views.equipment_views import BedNow, CoolerNow, WorkDone


def test_what_a_work_did_is_after_less_before() -> None:
    """Nothing, while one of them is not known."""
    work = WorkDone(entry="1", kind="handwork", at=0.0, before=34.0, after=33.2)
    assert work.moved == pytest.approx(-0.8)
    assert dataclasses.replace(work, after=None).moved is None


def test_what_returns_is_compared_with_what_was_supplied() -> None:
    """Without one of the two there is no difference."""
    one = CoolerNow(id="c", name="C", kind="chilled-water", heats=False, supply=3.0, back=5.5)
    assert one.difference == 2.5
    assert dataclasses.replace(one, back=None).difference is None


def test_a_bed_that_is_shown_stays_as_it_was() -> None:
    with pytest.raises(dataclasses.FrozenInstanceError):
        BedNow(place="bed", begun=0.0, goal=36.0).goal = 37.0  # type: ignore[misc]
