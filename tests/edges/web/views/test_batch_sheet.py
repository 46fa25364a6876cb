"""The sheet as page, paper, CSV and data."""

from __future__ import annotations

import csv
import html
import io
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from kuraban.core import entries as e
from kuraban.core.facts import Logged
from kuraban.core.views.batch_sheet import SheetDay
from kuraban.edges.web.programs.sheet_csv import clock_of
from kuraban.edges.web.translator import Translator
from kuraban.edges.web.views.batch_sheet import density
from kuraban.settings.catalogues import load_page_words
from tests.edges.web.conftest import Browse, Browser, pages_of
from tests.edges.web.served import Served
from tests.long_batch import PLACE, SOE, lived_batch, on_day

SHEET = f"/batches/{PLACE}/{int(SOE)}"


@pytest.fixture(scope="module")
def later(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """The long batch on the morning of day 22; nobody may change it."""
    lived = lived_batch(tmp_path_factory.mktemp("later"), on_day(22, 3))
    yield lived
    lived.close()


@pytest.fixture
def browser(later: Served, browse: Browse) -> Browser:
    return browse(app=pages_of(later).app)


@pytest.mark.parametrize("language", ["en", "ja"])
def test_the_sheet_says_that_it_is_no_statutory_book(
    later: Served, browse: Browse, language: str
) -> None:
    """And has a row for each day, in both languages."""
    text = browse(language, app=pages_of(later).app).page(SHEET)
    told = "not the statutory book" if language == "en" else "法定の帳簿ではありません"
    assert told in text
    assert text.count('<th scope="row">') == 25


def test_beside_it_stand_bmd_and_the_day_of_baume_zero(browser: Browser) -> None:
    text = re.sub(r"\s+", " ", browser.page(SHEET))
    assert "day 22: 33.0" in text  # 1.5 Baume, whole days
    found = re.search(r"about day (\d+) \(from day (\d+) to (\d+)\)", text)
    assert found is not None
    likely, earliest, latest = map(int, found.groups())
    assert earliest < likely < latest
    assert earliest < 31 < latest, "as that batch went on"


def test_the_place_leads_to_its_sheet(browser: Browser) -> None:
    answer = browser.get(f"/place/{PLACE}/sheet")
    assert answer.status_code == 303 and answer.headers["location"] == SHEET
    assert browser.get("/place/tank-4/sheet").status_code == 404


def test_the_csv_has_units_in_its_header(browser: Browser) -> None:
    """UTF-8 with its mark, a row a day, numbers with a point and a plain minus."""
    answer = browser.get(f"{SHEET}/sheet.csv")
    assert answer.text.startswith("\ufeff")
    rows = list(csv.reader(io.StringIO(answer.text.removeprefix("\ufeff"))))
    head, first = rows[0], rows[1]
    assert "Morning (°C, 06:00)" in head and "Alcohol (%)" in head and "Cooled (h)" in head
    assert all(len(row) == len(head) for row in rows) and len(rows) == 26
    assert first[head.index("Date")] == "2026-01-10" and first[head.index("Day")] == "-3"
    sample = next(row for row in rows if row[head.index("Day")] == "10")
    assert sample[head.index("Baumé")] == "5.30" and sample[head.index("SMV")] == "-53.0"


def test_a_remark_never_becomes_a_formula(later: Served, browse: Browse, tmp_path: Path) -> None:
    """A spreadsheet that opens the file reckons nothing of what somebody wrote."""
    folder = tmp_path / "own"
    folder.mkdir()
    own = later.twin(folder)
    now = own.clock()
    own.submit(Logged("f", PLACE, e.Look(foam='=HYPERLINK("x")'), now, now, "aki", "page"))
    text = browse(app=pages_of(own).app).get(f"{SHEET}/sheet.csv").text
    own.close()
    assert "'=HYPERLINK" in text and ",=HYPERLINK" not in text


def test_the_curve_shows_the_first_plan_faintly(browser: Browser) -> None:
    """An SVG for each light and size; a finger on it is told its points."""
    for query in ("", "?tone=night", "?size=hand"):
        answer = browser.get(f"{SHEET}/curve.svg{query}")
        assert answer.headers["content-type"] == "image/svg+xml"
        assert "stroke-opacity: 0.5" in answer.text
    told = browser.get(f"{SHEET}/curve.json").json()
    assert len(told["points"]) > 500 and len(told["points"][0]) == 4


def test_programs_have_the_same_sheet(browser: Browser) -> None:
    batches = browser.get("/api/v1/batches").json()
    assert [one["batch"] for one in batches] == ["No. 21"]
    sheet = browser.get(f"/api/v1/batches/{PLACE}/{batches[0]['key']}").json()
    assert sheet["batch"]["course"] == "moromi-slow-33"
    day = next(day for day in sheet["days"] if day["day"] == 10)
    assert day["baume"] == 5.3 and day["smv"] == -53.0
    assert sheet["days"][0]["work"][0]["entry"] == "batch-start" or sheet["days"][0]["work"]
    assert sheet["zero"]["earliest"] <= sheet["zero"]["likely"]


@pytest.mark.parametrize("path", [f"/batches/{PLACE}/1", "/batches/nowhere/1", f"{SHEET}0"])
def test_a_sheet_that_is_not_there_is_not_found(browser: Browser, path: str) -> None:
    assert browser.get(path).status_code == 404
    assert browser.get(f"/api/v1{path}").status_code == 404


def test_heavy_mash_is_told_in_baume_and_light_in_smv(later: Served) -> None:
    """Brewers change over at about 3 (common practice)."""
    w = Translator(load_page_words(), "en", later.settings.house, later.clock())

    def told(baume: float | None) -> str:
        return html.unescape(density(SheetDay(at=0.0, number=1, place=PLACE, baume=baume), w))

    assert (told(3.2), told(2.9), told(-0.3), told(None)) == ("Bé 3.2", "SMV −29", "SMV +3", "")


def test_a_clock_is_told_as_people_read_it() -> None:
    assert clock_of(6 * 3600.0) == "06:00" and clock_of(17.5 * 3600.0) == "17:30"
