"""Figures for a monitoring of one's own, in OpenMetrics 1.0."""

from __future__ import annotations

import dataclasses
import re

from kuraban.edges.web.programs.metrics import lines
from tests.edges.web.conftest import Browse
from tests.edges.web.served import Served

LINE = re.compile(
    r"(# (TYPE|UNIT|HELP) kuraban_\w+ .+"
    r'|kuraban_\w+(\{\w+="[^"\n]*"(,\w+="[^"\n]*")*\})? -?[0-9.e+-]+)'
)


def test_every_line_is_one_of_the_standard(lived: Served) -> None:
    """Metadata before samples, the unit at the name's end, and the end mark at the end."""
    text = "".join(lines(lived.snapshot(), lived.clock()))
    *body, last = text.splitlines()
    assert last == "# EOF" and text.endswith("\n")
    assert all(LINE.fullmatch(line) for line in body)
    for line in body:
        if line.startswith("# UNIT"):
            _, _, name, unit = line.split()
            assert name.endswith(f"_{unit}")


def test_product_plan_and_alarms_are_there(lived: Served) -> None:
    """By place and by condition."""
    text = "".join(lines(lived.snapshot(), lived.clock() + 5))
    assert "kuraban_judged_age_seconds 5\n" in text
    assert 'kuraban_product_celsius{place="tank-3"} 15.02' in text
    assert 'kuraban_alarm{subject="chiller-1",condition="stopped",state="acknowledged"' in text


def test_a_name_cannot_break_a_line(lived: Served) -> None:
    """Quotes and ends of lines are escaped."""
    snapshot = lived.snapshot()
    ring = dataclasses.replace(snapshot.rings[0], subject='a"\nkuraban_x 1')
    text = "".join(lines(dataclasses.replace(snapshot, rings=(ring,)), 0.0))
    assert r'subject="a\"\nkuraban_x 1"' in text


def test_they_are_served_as_what_they_are(browse: Browse) -> None:
    """By the content type of the standard."""
    answer = browse().get("/metrics")
    assert answer.headers["content-type"].startswith("application/openmetrics-text; version=1.0.0")
