"""The cellar: what needs a person first, then one row a tank in the order they stand."""

from __future__ import annotations

import dataclasses
import re

import msgspec
import pytest

from kuraban.core import entries as e
from kuraban.core.facts import Logged
from kuraban.core.units import HOUR, parse_time
from kuraban.core.views.snapshot import (
    BatchNow,
    Leaving,
    PlaceNow,
    PlanLine,
    Ring,
    Snapshot,
    StageAhead,
)
from kuraban.edges.web.translator import Translator
from kuraban.edges.web.views import cellar
from kuraban.settings.catalogues import load_page_words
from tests.edges.web.conftest import Browse, context_of
from tests.edges.web.served import Served

TANKS = ["tank-1", "tank-2", "tank-3", "tank-4", "tank-5", "tank-6", "koji-bed-1"]


def test_tanks_stand_in_their_order(browse: Browse) -> None:
    """As on the trade's sheet, then the rooms."""
    rows = re.findall(r'<li id="row-([a-z0-9-]+)">', browse().page("/"))
    assert rows == [*TANKS, "cellar", "koji-room", "koji-store"]


@pytest.mark.parametrize(("language", "word"), [("en", "as planned"), ("ja", "予定どおり")])
def test_a_row_tells_product_difference_plan_and_batch(
    browse: Browse, language: str, word: str
) -> None:
    """By number, sign and word; readable without script."""
    text = browse(language).page("/")
    row = text[text.index('id="row-tank-3"') : text.index('id="row-tank-4"')]
    assert "15.0" in row and "±0.0" in row and word in row
    assert "No. 9" in row and "10" in row


def test_what_needs_a_person_stands_first(browse: Browse) -> None:
    """Before the tanks; with who has it."""
    text = browse().page("/")
    assert text.index("Chiller 1 stopped") < text.index('id="row-tank-1"')
    assert "Ken has it" in text


def test_a_quiet_brewery_is_a_quiet_page(lived: Served) -> None:
    """An empty list says what it would show."""
    w = Translator(load_page_words(), "en", lived.settings.house, lived.clock())
    quiet = dataclasses.replace(lived.snapshot(), rings=())
    assert "Nothing needs anybody now." in cellar.parts(context_of(lived), w, quiet, True)["needs"]


def test_a_warm_tank_has_a_shape_a_sign_and_a_word(lived: Served) -> None:
    """Never colour alone (WCAG 2.2, 1.4.1)."""
    w = Translator(load_page_words(), "en", lived.settings.house, lived.clock())
    snapshot = lived.snapshot()
    warm = dataclasses.replace(snapshot.places[5], word="warm", difference=0.6)
    seen = dataclasses.replace(snapshot, places=(warm,))
    row = cellar.parts(context_of(lived), w, seen, True)
    (html,) = (text for name, text in row.items() if name.startswith("row-"))
    assert "▲" in html and "+0.6" in html and "warm" in html


def test_each_row_has_its_last_day_in_its_band(browse: Browse) -> None:
    """People would rather look than read."""
    text = browse().page("/")
    row = text[text.index('id="row-tank-5"') : text.index('id="row-tank-6"')]
    assert row.count("<path") == 2 and 'class="band"' in row


def test_the_ring_with_the_least_time_left_stands_first(lived: Served) -> None:
    """Of two tanks that are warm, the one that has ten minutes; both are one line each."""
    snapshot = lived.snapshot()
    rings, places = [], []
    tanks = [place for place in snapshot.places if place.kind == "tank"][:3]
    for place, hours in zip(tanks, (2.0, 0.2, 1.0), strict=True):
        leaving = Leaving(side="warm", edge="limit", soonest=hours)
        places.append(dataclasses.replace(place, leaving=leaving))
        rings.append(
            Ring(
                subject=place.id, condition="warm", name=place.name, urgency="wake", side="warm",
                state="unacknowledged", title={"en": "t"}, body={"en": "b"}, place=place.id,
            )
        )  # fmt: skip
    seen = dataclasses.replace(snapshot, places=tuple(places), rings=tuple(rings))
    assert [one.subject for one in cellar.urgent(seen, "unacknowledged")] == [
        "tank-2", "tank-3", "tank-1",
    ]  # fmt: skip
    w = Translator(load_page_words(), "en", lived.settings.house, lived.clock())
    needs = cellar.parts(context_of(lived), w, seen, True)["needs"]
    assert needs.count("<details") == 3 and " open>" not in needs


def test_what_is_over_needs_nobody_and_is_told_as_over(browse: Browse) -> None:
    """From when to when, and never the present value under the title of the past."""
    text = browse().page("/")
    over = text[text.index('id="over-head"') :]
    assert "probe out?" in over and "From 22:34 to 23:31." in over
    needs = text[text.index('id="needs"') : text.index('id="tanks"')]
    assert "probe out?" not in needs


def test_of_forty_tanks_those_outside_stand_first(lived: Served) -> None:
    """The others in two lines each, without what a tank's own page tells."""
    snapshot = lived.snapshot()
    tank = next(place for place in snapshot.places if place.kind == "tank")
    many = [dataclasses.replace(tank, id=f"t{n}", name=f"Tank {n}") for n in range(40)]
    many[30] = dataclasses.replace(many[30], word="warm", difference=0.7)
    seen = dataclasses.replace(snapshot, places=tuple(many), rings=())
    shown = cellar.shown(seen, context_of(lived))
    assert shown["short"] and [one.id for one in shown["outside"]] == ["t30"]
    w = Translator(load_page_words(), "en", lived.settings.house, lived.clock())
    rows = cellar.parts(context_of(lived), w, seen, True)
    assert "plan" in rows["row-t30"] and "plan" not in rows["row-t1"].replace("planned", "")


def test_what_is_not_watched_is_listed_with_its_reason(browse: Browse) -> None:
    """The starter is empty."""
    text = browse().page("/")
    assert re.search(r"no batch: <a href=\"/place/starter-1\">Starter 1</a>", text)


def test_the_stage_that_is_due_is_todays_work(lived: Served) -> None:
    """Before the day turns; later ones are not."""
    snapshot = lived.snapshot()
    due, later = _batch(snapshot.day_turns - 60), _batch(snapshot.day_turns + 60)
    places = tuple(
        PlaceNow(id=f"tank-{n}", name=f"Tank {n}", kind="tank", brews=True, batch=batch)
        for n, batch in enumerate((due, later))
    )
    found = cellar.due(dataclasses.replace(snapshot, places=places))
    assert [one.place.id for one in found] == ["tank-0"]


def _batch(stage_due: float) -> BatchNow:
    return BatchNow(
        name="9", title=None, course="c", since=0.0, stage="soe", stage_title={"en": "soe"},
        stage_since=0.0, stage_due=stage_due, ahead=(StageAhead(id="naka", title={"en": "naka"}),),
        plan=PlanLine(points=()),
    )  # fmt: skip


def test_the_handover_note_stands_until_the_next(served: Served, browse: Browse) -> None:
    """Written on the page, with who and when."""
    browser = browse()
    answer = browser.tap("watch", entry="note", text="Tank 5's valve sticks.", back="cellar")
    assert answer.headers["location"].startswith("/?told=")
    assert "Tank 5&#39;s valve sticks." in browser.page("/")
    now = served.clock()
    served.submit(Logged("n2", "watch", e.Note(text="Valve repaired."), now, now, by="ken"))
    text = browser.page("/")
    assert "Valve repaired." in text and "valve sticks" not in text


def test_the_round_ticks_tanks(served: Served, browse: Browse) -> None:
    """One tap each, with who and when; koji is no tank, and a stir before the round counts not."""
    browser = browse()
    assert "4 left" in browser.page("/round")
    answer = browser.tap("tank-3", entry="stir", back="round", id="r1", by="mio")
    assert answer.headers["location"] == "/round?told=r1&of=tank-3#row-tank-3"
    text = browser.page(answer.headers["location"])
    assert "3 left" in text and 'name="of" value="r1"' in text
    assert "koji-bed-1" not in text
    row = text[text.index('id="row-tank-3"') : text.index('id="row-tank-4"')]
    assert "✓" in row and "stirred 03:10 · Mio" in row and 'value="check"' in row


def test_each_round_of_the_day_starts_anew(served: Served) -> None:
    """At the house's own times; else with the day and with the evening word."""
    house, now = served.settings.house, served.clock()
    assert served.snapshot().day_turned < cellar.round_began(house, now)
    own = msgspec.structs.replace(house.site, rounds=(2.0 * HOUR, 14.0 * HOUR))
    begun = cellar.round_began(msgspec.structs.replace(house, site=own), now)
    assert begun == parse_time("2026-02-04T02:00:00+09:00")


def test_nothing_to_show_says_what_would_be_there(browse: Browse, served: Served) -> None:
    """Before the first batch."""
    snapshot = served.snapshot()
    empty = tuple(
        dataclasses.replace(p, batch=None, why="no-batch") for p in snapshot.places if p.brews
    )
    browser = browse()
    served.seen(dataclasses.replace(snapshot, places=empty))
    assert "A batch that is started stands here." in browser.page("/")
    assert "Those that have one stand here." in browser.page("/round")


def test_rows_are_of_a_picture_alone() -> None:
    """Nothing of the watch is asked again."""
    empty = Snapshot(at=0.0, site="Kura", day_turned=0.0, day_turns=1.0)
    assert cellar.rows(empty) == []
    assert cellar.unwatched(empty) == []
