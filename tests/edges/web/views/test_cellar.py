"""The cellar: what needs a person first, then one row a tank in the order they stand."""

from __future__ import annotations

import dataclasses
import re

import pytest

from kuraban.core import entries as e
from kuraban.core.facts import Logged
from kuraban.core.views.snapshot import BatchNow, PlaceNow, PlanLine, Snapshot, StageAhead
from kuraban.edges.web.translator import Translator
from kuraban.edges.web.views import cellar
from kuraban.settings.catalogues import load_page_words
from tests.edges.web.conftest import Browse
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
    assert "Nothing needs anybody now." in cellar.parts(None, w, quiet, True)["needs"]  # type: ignore[arg-type]


def test_a_warm_tank_has_a_shape_a_sign_and_a_word(lived: Served) -> None:
    """Never colour alone (WCAG 2.2, 1.4.1)."""
    w = Translator(load_page_words(), "en", lived.settings.house, lived.clock())
    snapshot = lived.snapshot()
    warm = dataclasses.replace(snapshot.places[5], word="warm", difference=0.6)
    row = cellar.parts(None, w, dataclasses.replace(snapshot, places=(warm,)), True)  # type: ignore[arg-type]
    (html,) = (text for name, text in row.items() if name.startswith("row-"))
    assert "▲" in html and "+0.6" in html and "warm" in html


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
    """One tap each; koji is no tank, and a stir before the day turned counts for today."""
    browser = browse()
    assert "4 left" in browser.page("/round")
    answer = browser.tap("tank-3", entry="stir", back="round", id="r1")
    assert answer.headers["location"] == "/round?told=r1&of=tank-3#row-tank-3"
    text = browser.page(answer.headers["location"])
    assert "3 left" in text and 'name="of" value="r1"' in text
    assert "koji-bed-1" not in text


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
