"""Variants of a house over one night, each by itself or all at once."""

from __future__ import annotations

import os

import pytest

from kuraban.cli.rehearse import Recordings
from kuraban.rehearse import Rehearsal, read_changes, rehearse, variants
from kuraban.settings.catalogues import load_words
from tests.journals import house as brewery
from tests.journals import recording

NIGHT = recording("slow-drift")
OTHERWISE = "delay=+30m", "tolerance=2", "warm=off"


@pytest.fixture
def rehearsed() -> list[Rehearsal]:
    return all_of()


def all_of() -> list[Rehearsal]:
    house, passed = brewery(), list[int]()
    done = rehearse(
        house, "kura", load_words(), Recordings((NIGHT,)),
        [read_changes([text], house) for text in OTHERWISE], passed=passed.append,
    )  # fmt: skip
    return list(done)


def test_each_variant_is_laid_beside_the_house_as_it_is(rehearsed: list[Rehearsal]) -> None:
    later, wider, left_out = rehearsed
    (pair,) = later.differing
    assert pair.later == pytest.approx(1800, abs=60)
    assert wider.conditions == left_out.conditions == {"warm": (1, 0)}


def test_any_number_of_processes_tells_the_same(
    rehearsed: list[Rehearsal], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(variants, "LITTLE", 0)
    monkeypatch.setattr(os, "cpu_count", lambda: 2)
    assert all_of() == rehearsed
