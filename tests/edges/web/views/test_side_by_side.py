"""A batch beside another: page, drawing, CSV and data."""

from __future__ import annotations

import csv
import html
import io
import re
import xml.etree.ElementTree as ET
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from kuraban.core import entries as e
from kuraban.core.facts import Logged
from kuraban.core.units import DAY
from kuraban.imports.importing import Import
from tests.edges.web.conftest import Browse, Browser, pages_of
from tests.edges.web.served import Served
from tests.imports.mangled import BATCH, BATCHES, OF_BATCHES
from tests.long_batch import COURSE, PLACE, SOE

BESIDE = f"/batches/{PLACE}/{int(SOE)}/beside"
OTHER = "No. 22"


@pytest.fixture(scope="module")
def two(half: Served, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """The long batch on day 18, and another that began in the next tank ten days after it."""
    lived = half.twin(tmp_path_factory.mktemp("two"))
    start = SOE + 10 * DAY
    lived.submit(Logged("two", "tank-4", e.BatchStart(batch=OTHER, course=COURSE), start, start))
    tome = start + 3 * DAY
    lived.submit(Logged("tome", "tank-4", e.StageMark(stage="tome"), tome, tome))
    sample = e.Sample(baume=7.8, alcohol=2.4)
    lived.submit(Logged("sample", "tank-4", sample, tome + 4 * DAY, tome + 4 * DAY))
    yield lived
    lived.close()


@pytest.fixture
def browser(two: Served, browse: Browse) -> Browser:
    return browse(app=pages_of(two).app)


def with_other(two: Served) -> str:
    return f"tank-4/{int(SOE + 10 * DAY)}"


@pytest.mark.parametrize("language", ["en", "ja"])
def test_both_are_laid_over_each_other(two: Served, browse: Browse, language: str) -> None:
    """With a table of the days, and the way to it from the sheet."""
    page = browse(language, app=pages_of(two).app)
    text = page.page(f"{BESIDE}?with={with_other(two)}&from=tome")
    assert OTHER in text and "<polyline" in text and "beside.svg" in text
    assert f'href="{BESIDE}"' in page.page(BESIDE.removesuffix("/beside"))


def test_the_batch_is_beside_its_course_where_nothing_else_is_chosen(browser: Browser) -> None:
    """Or beside whatever else there is; an unknown one is not found."""
    assert browser.get(BESIDE).status_code == 200
    assert "its course" in browser.page(f"{BESIDE}?with=course")
    assert browser.get(f"{BESIDE}?with=tank-9/1").status_code == 404
    assert browser.get(f"{BESIDE}?with=../etc").status_code == 404


def test_the_drawing_is_a_document(two: Served, browser: Browser) -> None:
    """The other as a dashed line, where it was measured."""
    for asked in ("course", with_other(two)):
        answer = browser.get(f"{BESIDE}.svg", params={"with": asked, "size": "hand"})
        assert ET.fromstring(answer.content).tag.endswith("svg")


def test_the_table_says_how_far_apart_they_are(two: Served, browser: Browser) -> None:
    """By moromi day: on day 5 the one had Baume 7.8 and so had the other."""
    text = browser.get(f"{BESIDE}.csv", params={"with": with_other(two)}).text
    rows = list(csv.reader(io.StringIO(text.removeprefix("\ufeff"))))
    column = rows[0].index("Baumé: difference")
    assert {row[0]: row[column] for row in rows}["5"] == "0"
    told = browser.get(f"/api/v1{BESIDE}", params={"with": with_other(two)}).json()
    day = next(one for one in told if one["day"] == 5)
    assert day["baume"] == {"one": 7.8, "other": 7.8, "apart": 0.0}


def test_counted_from_soe_the_first_days_meet(two: Served, browser: Browser) -> None:
    told = browser.get(f"/api/v1{BESIDE}", params={"with": "course", "from": "soe"}).json()
    assert [one["day"] for one in told][:3] == [1, 2, 3]
    assert told[3]["morning"]["other"] is not None


def test_the_houses_best_are_a_band_and_can_be_laid_beside(
    two: Served, browse: Browse, tmp_path: Path
) -> None:
    """The neighbour is pressed and marked on its sheet: then it stands behind today's batch, on
    its sheet and beside it."""
    with closing(two.twin(tmp_path)) as own:
        own.submit(Logged("end", "tank-4", e.BatchEnd(), own.clock(), own.clock(), "aki"))
        page = browse(app=pages_of(own).app)
        sheet = f"/batches/{with_other(two)}"
        assert 'class="best"' not in page.page(BESIDE)
        form = re.search(r'name="batch" value="([^"]+)"><input type="hidden" name="since" '
                         r'value="([^"]+)"', page.page(sheet))  # fmt: skip
        assert form is not None and form[1] == OTHER
        sent = page.post("/log/tank-4", data={
            "entry": "best", "batch": form[1], "since": html.unescape(form[2]),
            "back": "batches", "token": page.token(),
        })  # fmt: skip
        assert sent.status_code == 303
        assert "one of our best" in page.page(sheet) and "Mark as" not in page.page(sheet)
        text = page.page(f"{BESIDE}?with=best")
        assert "the middle of our best (1)" in text and 'class="best"' in text
        assert 'class="best"' in page.page(BESIDE.removesuffix("/beside"))
        told = page.get(f"/api/v1{BESIDE}", params={"with": "best"}).json()
        day = next(one for one in told if one["day"] == 5)
        assert day["baume"] == {"one": 7.8, "other": 7.8, "apart": 0.0}


def test_a_season_from_before_the_watch_stands_beside_this_one(
    two: Served, browse: Browse, tmp_path: Path
) -> None:
    """Imported while the pages are served: it is among the batches, and can be laid beside."""
    with closing(two.twin(tmp_path)) as own:
        page = browse(app=pages_of(own).app)
        assert "No. 1999" not in page.page("/batches")
        table = tmp_path / "batches.csv"
        table.write_text(OF_BATCHES + BATCH.replace("8,", "No. 1999,", 1), "utf-8")
        with closing(Import(own.engine.view.house, own.path, own.clock())) as importing:
            importing.table(table, BATCHES, lambda count: None, lambda count: None)
        assert "No. 1999" in page.page("/batches")
        (old,) = re.findall(r'value="(tank-3/\d+)"[^>]*>[^<]*No. 1999', page.page(BESIDE))
        text = page.page(f"{BESIDE}?with={old}")
        assert "No. 1999" in text and "<polyline" in text
        own.path.with_name("kuraban.past").unlink()
        assert "No. 1999" not in page.page("/batches")
