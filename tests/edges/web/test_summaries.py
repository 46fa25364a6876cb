"""Where old values are summaries, whoever looks at them is told."""

from __future__ import annotations

import csv
import dataclasses
import io
import json
from collections.abc import Callable

import pytest

from kuraban.core.effects import Turn
from kuraban.core.facts import Reading
from kuraban.core.units import DAY, HOUR, parse_time
from kuraban.edges.web.server import Pages
from kuraban.store.journal import Journal
from kuraban.store.upkeep.retention import Bounds
from tests.edges.web.conftest import Browse, Browser
from tests.edges.web.served import Served

PLACE, PROBE = "tank-3", "t3-mid"
FULL, MINUTES = 20 * DAY, 50 * DAY
"""So long readings stay at full length, and their minutes thereafter."""


@pytest.fixture
def old(served: Served, pages: Callable[[], Pages]) -> Callable[[], Pages]:
    """A mash of seventy days, a reading every ten minutes."""
    now = served.clock()
    times = [now - 70 * DAY + 600.0 * n for n in range(6 * 24 * 69)]
    facts = [Reading(PROBE, at, 10 + n % 7 / 10, at) for n, at in enumerate(times)]
    journal = Journal.open(served.path)
    journal.commit(Turn(now=now, facts=facts))
    while journal.summarise(Bounds(now, now - FULL, now - MINUTES)):
        pass
    journal.close()

    def make() -> Pages:
        made, snapshot = pages(), served.snapshot()
        places = tuple(
            dataclasses.replace(one, batch=dataclasses.replace(one.batch, since=now - 55 * DAY))
            if one.id == PLACE and one.batch is not None
            else one
            for one in snapshot.places
        )
        made.hub.put(dataclasses.replace(snapshot, places=places))
        return made

    return make


def browser_of(old: Callable[[], Pages], browse: Browse, language: str = "en") -> Browser:
    found = browse(language, app=old().app)
    assert isinstance(found, Browser)
    return found


@pytest.mark.parametrize(
    ("language", "told"),
    [("en", ("one value in ten minutes, extremes kept", "one value a minute, extremes kept")),
     ("ja", ("以前は10分に1点", "以前は1分に1点"))],
)  # fmt: skip
def test_the_page_of_a_place_says_from_when_its_values_are_summaries(
    old: Callable[[], Pages], browse: Browse, language: str, told: tuple[str, str]
) -> None:
    """Under its curve and before its table, for the range that is shown; of today nothing."""
    browser = browser_of(old, browse, language)
    text = browser.page(f"/place/{PLACE}?range=batch")
    assert all(text.index(one) < text.index("<table>") for one in told)
    assert not any(one in browser.page(f"/place/{PLACE}") for one in told)


@pytest.mark.parametrize("kind", ["json", "jsonl", "csv"])
def test_every_value_that_programs_get_says_what_it_stands_for(
    served: Served, old: Callable[[], Pages], browse: Browse, kind: str
) -> None:
    """A reading, a minute, or ten; in the order of time."""
    start = served.clock() - 60 * DAY
    address = f"/api/v1/places/{PLACE}/readings?start={start}&format={kind}"
    text = browser_of(old, browse).page(address)
    rows = _rows(text, kind)
    of_probe = [row for row in rows if row["probe"] == PROBE]
    assert [row["at"] for row in of_probe] == sorted(row["at"] for row in of_probe)
    for row in of_probe:
        age = served.clock() - parse_time(row["at"])
        if age < FULL - DAY:
            assert row["stands_for"] == "reading"
        elif FULL + DAY < age < MINUTES - DAY:
            assert row["stands_for"] == "minute"
        elif age > MINUTES + DAY:
            assert row["stands_for"] == "ten minutes"


def _rows(text: str, kind: str) -> list[dict[str, str]]:
    if kind == "csv":
        return list(csv.DictReader(io.StringIO(text)))
    if kind == "jsonl":
        return [json.loads(line) for line in text.splitlines()]
    found: list[dict[str, str]] = json.loads(text)
    return found


def test_the_table_of_a_place_is_downloaded_for_the_range_that_it_shows(
    served: Served, browse: Browse
) -> None:
    """Not always for a day."""
    day, morning = (browse().page(f"/place/{PLACE}?range={asked}") for asked in ("day", "morning"))
    began = int(served.clock() - 24 * HOUR)
    assert f"format=csv&amp;start={began}" in day
    assert f"format=csv&amp;start={int(served.snapshot().day_turned)}" in morning
