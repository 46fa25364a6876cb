"""The koji room's page: next work, air, one-tap works, lots side by side."""

from __future__ import annotations

import dataclasses
import re

import pytest

from kuraban.core.units import HOUR
from kuraban.edges.web.history_queries import Measured
from kuraban.edges.web.translator import Translator
from kuraban.edges.web.views import koji
from kuraban.settings.catalogues import load_page_words
from tests.edges.web.conftest import Browse
from tests.edges.web.served import Served

BED = "koji-bed-1"


def text_of(html: str) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", html))


@pytest.mark.parametrize(
    ("language", "words"),
    [("en", ("Reaches 41.0 °C at about", "wet-bulb difference", "in the hour after")),
     ("ja", ("41.0℃になるのは", "乾湿差", "1時間で"))],
)  # fmt: skip
def test_at_three_in_the_morning_it_says_whether_to_get_up(
    browse: Browse, language: str, words: tuple[str, ...]
) -> None:
    """When the bed comes to its figure by its own rise, its air, and what the last work did."""
    text = text_of(browse(language).page("/koji"))
    for word in words:
        assert word in text


def test_every_work_is_one_tap_and_one_tap_takes_it_back(browse: Browse, served: Served) -> None:
    """The tap leads back to the koji room, where it can be undone."""
    browser = browse()
    for entry, fields in (("handwork", {}), ("note", {"text": "Covered"})):
        answer = browser.tap(BED, entry=entry, back="koji", **fields)
        assert answer.status_code == 303
        where = answer.headers["location"]
        assert where.startswith("/koji?told=")
        page = browser.page(where)
        of = re.search(r'name="of" value="([^"]+)"', page)
        assert of is not None
        before = len(served.snapshot().bed(BED).works)  # type: ignore[union-attr]
        browser.tap(BED, entry="take-back", of=of[1], back="koji")
        after = len(served.snapshot().bed(BED).works)  # type: ignore[union-attr]
        assert after == before - 1


def test_a_bed_in_the_middle_has_its_next_work_as_the_largest_button(
    browse: Browse, served: Served
) -> None:
    """The course's next stages, by their names."""
    snapshot = served.snapshot()
    place = snapshot.place(BED)
    assert place is not None and place.batch is not None
    ahead = snapshot.place("tank-1").batch.plan.stretches[0]  # type: ignore[union-attr]
    batch = dataclasses.replace(
        place.batch, stage_due=snapshot.at + HOUR,
        ahead=({"id": "naka", "title": {"en": "Middle work"}},),  # type: ignore[arg-type]
    )  # fmt: skip
    assert ahead.title
    places = tuple(
        dataclasses.replace(one, batch=batch) if one.id == BED else one for one in snapshot.places
    )
    changed = dataclasses.replace(snapshot, places=places)
    w = Translator(load_page_words(), "en", served.settings.house, snapshot.at)
    parts = koji.parts(None, w, changed, True)  # type: ignore[arg-type]
    assert "Next: Middle work," in parts[f"bed-{BED}"] and "about" in parts[f"bed-{BED}"]


def test_every_button_is_a_form_with_its_own_id(browse: Browse) -> None:
    """A finger that taps twice writes one entry."""
    text = browse().page("/koji")
    ids = re.findall(r'name="id" value="([0-9a-f-]+)"', text)
    assert len(ids) == len(set(ids)) == len(re.findall('<form class="tap', text)) >= 6
    assert "style=" not in text and "onclick" not in text


def test_an_open_page_is_sent_air_bed_and_works(lived: Served) -> None:
    w = Translator(load_page_words(), "ja", lived.settings.house, lived.clock())
    parts = koji.parts(None, w, lived.snapshot(), True)  # type: ignore[arg-type]
    assert set(parts) == {"air-koji-room", f"bed-{BED}", f"works-{BED}"}
    assert "39." in parts[f"bed-{BED}"]


def test_the_curve_counts_its_hours_from_hikikomi(browse: Browse) -> None:
    """Where curves can be drawn; a tank has none here."""
    answer = browse().get(f"/koji/{BED}/curve.svg")
    assert answer.headers["content-type"] == "image/svg+xml" and "36 h" in answer.text
    assert browse().get("/koji/tank-1/curve.svg").status_code == 404


def test_an_hour_of_a_lot_is_the_median_of_what_was_read_in_it() -> None:
    points = [Measured(600.0 * n, 30.0 + n) for n in range(12)]
    cells = dict(koji.by_hour(points, [], 0.0, lambda at: 32.0))
    assert {hour: cell.measured for hour, cell in cells.items()} == {0: 32.5, 1: 38.5}
    assert cells[0].difference == 0.5


def test_programs_are_told_the_same(browse: Browse) -> None:
    (room,) = browse().get("/api/v1/koji").json()
    assert room["room"]["air"]["word"] == "inside"
    (bed,) = room["beds"]
    assert bed["place"]["id"] == BED and bed["bed"]["goal"] == 41.0


def test_without_its_journal_the_room_shows_the_present(served: Served, browse: Browse) -> None:
    browser = browse()
    served.path.write_bytes(b"no data base any more" * 100)
    text = browser.page("/koji")
    assert "cannot be read" in text and "39." in text
