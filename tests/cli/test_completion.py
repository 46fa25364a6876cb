"""A shell completes what the house has."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from tests.cli.forked import Forked


@pytest.mark.parametrize(
    ("line", "offered"),
    [
        ("kuraban history tank-", {"tank-1", "tank-6"}), ("kuraban page-test a", {"aki"}),
        ("kuraban duty swap ", {"aki", "sho", "ken"}), ("kuraban log kb1", {"kb1-a", "kb1-b"}),
        ("kuraban reckon left star", {"starter-1"}), ("kuraban reckon koji koji-b", {"koji-bed-1"}),
        ("kuraban reckon progress tank-", {"tank-2"}), ("kuraban log tank-3 sti", {"stir"}),
        ("kuraban courses show moromi-", {"moromi-slow-33"}),
        ("kuraban log tank-3 batch-start course=moromi-", {"course=moromi-slow-33"}),
    ],
)  # fmt: skip
def test_places_people_and_courses_are_offered(
    site: Path, tmp_path: Path, line: str, offered: set[str]
) -> None:
    words = {"COMP_WORDS": line, "COMP_CWORD": str(len(line.split(" ")) - 1)}
    env = {**os.environ, **words, "_KURABAN_COMPLETE": "complete_bash",
           "KURABAN_SITE_FILE": str(site)}  # fmt: skip
    _, told = Forked([], tmp_path, env, tmp_path).ended()
    assert offered <= set(told.split()), told
