"""The plan of the coming days, and the day's figures."""

from __future__ import annotations

import dataclasses
import html
import re
from collections.abc import Iterator
from pathlib import Path

import httpx
import msgspec
import pytest

from kuraban.core.planned_curve import Target
from kuraban.edges.web.views.replan import read
from tests.edges.web.conftest import Browse, Browser, pages_of
from tests.edges.web.served import Served
from tests.long_batch import PLACE

PLAN, SAMPLE = f"/place/{PLACE}/plan", f"/place/{PLACE}/sample"


@pytest.fixture
def watch(half: Served, tmp_path: Path) -> Iterator[Served]:
    """The same watch for one test alone."""
    folder = tmp_path / "own"
    folder.mkdir()
    own = half.twin(folder)
    yield own
    own.close()


@pytest.fixture
def browser(watch: Served, browse: Browse) -> Browser:
    return browse(app=pages_of(watch).app)


def mornings(browser: Browser) -> list[str]:
    return re.findall(r'name="(t\d+)"', browser.page(PLAN))


def send(browser: Browser, path: str, **fields: str) -> httpx.Response:
    return browser.post(path, data={**fields, "token": browser.token()})


def planned(watch: Served, at: float) -> float:
    batch = watch.engine.view.batch(PLACE, watch.clock())
    assert batch is not None
    return batch.plan.at(at)


@pytest.mark.parametrize("language", ["en", "ja"])
def test_the_coming_mornings_stand_with_plan_and_bmd(
    watch: Served, browse: Browse, language: str
) -> None:
    """Seven of them, or more; tomorrow is decided from BMD, so it stands beside."""
    browser = browse(language, app=pages_of(watch).app)
    text = browser.page(PLAN)
    assert len(re.findall(r'name="t\d+"', text)) == 7
    assert "BMD" in text and ("day 19" in text or "19日目" in text)
    assert len(re.findall(r'name="t\d+"', browser.page(f"{PLAN}?days=14"))) == 14


def test_what_is_typed_is_kept_as_the_plan(browser: Browser, watch: Served) -> None:
    """Two mornings; between them straight, after them the course, shifted."""
    names = mornings(browser)
    fields = {names[0]: "8.4", names[2]: "７,８", "do": "keep"}
    assert send(browser, PLAN, **fields).status_code == 303
    assert planned(watch, float(names[0][1:])) == pytest.approx(8.4)
    assert planned(watch, float(names[1][1:])) == pytest.approx(8.1)
    assert planned(watch, float(names[2][1:])) == pytest.approx(7.8)


def test_without_a_script_a_button_shows_the_curve(browser: Browser, watch: Served) -> None:
    """Nothing is kept by looking, and what was typed stays."""
    names = mornings(browser)
    before = planned(watch, float(names[1][1:]))
    answer = send(browser, PLAN, **{names[1]: "7.5", "do": "show"})
    assert answer.status_code == 200
    assert f'name="{names[1]}" inputmode="decimal"' in answer.text
    assert 'value="7.5"' in answer.text
    assert f"plan.svg?{names[1]}=7.5&amp;days=7" in answer.text
    assert planned(watch, float(names[1][1:])) == before


def test_the_curve_is_drawn_with_what_is_typed(browser: Browser) -> None:
    """Another picture than without, and as it was where a figure cannot be read."""
    names = mornings(browser)
    plain = browser.get(f"{PLAN}.svg").text
    drawn = browser.get(f"{PLAN}.svg?{names[2]}=6.5")
    assert drawn.headers["content-type"] == "image/svg+xml" and drawn.text != plain
    assert browser.get(f"{PLAN}.svg?{names[2]}=six").text == plain


def test_a_temperature_above_never_is_asked_about(browser: Browser, watch: Served) -> None:
    """It is kept only once somebody says that it is meant so, and of that very figure."""
    names = mornings(browser)
    fields = {names[1]: "17", "do": "keep"}
    answer = send(browser, PLAN, **fields)
    text = html.unescape(answer.text)
    assert answer.status_code == 422
    assert "17.0 °C is above 16.0, where this course says never" in text
    assert 'value="17"' in text
    assert planned(watch, float(names[1][1:])) < 10
    sure = re.search(r'name="sure" value="([^"]+)"', answer.text)
    assert sure is not None
    other = {**fields, names[1]: "18", "sure": sure[1]}
    assert send(browser, PLAN, **other).status_code == 422
    assert send(browser, PLAN, **fields, sure=sure[1]).status_code == 303


def test_a_jump_that_no_mash_can_make_is_asked_about(browser: Browser) -> None:
    names = mornings(browser)
    answer = send(browser, PLAN, **{names[0]: "8.5", names[1]: "12.5", "do": "keep"})
    assert answer.status_code == 422
    assert "From 8.5 to 12.5 °C in 24 h" in html.unescape(answer.text)


def test_what_is_no_temperature_stays_to_be_put_right(browser: Browser) -> None:
    """And an empty form changes nothing."""
    names = mornings(browser)
    answer = send(browser, PLAN, **{names[0]: "eight", "do": "keep"})
    assert answer.status_code == 422
    assert "eight is no temperature" in answer.text and 'value="eight"' in answer.text
    empty = send(browser, PLAN, do="keep")
    assert empty.status_code == 422 and "the plan stays as it is" in empty.text


def test_a_place_without_batch_has_no_plan(browser: Browser) -> None:
    assert browser.get("/place/tank-4/plan").status_code == 404
    assert browser.get("/api/v1/places/tank-4/plan").status_code == 404


def test_programs_have_the_coming_days(browser: Browser) -> None:
    days = browser.get(f"/api/v1/places/{PLACE}/plan?days=3").json()
    assert [day["day"] for day in days] == [19, 20, 21]
    assert days[0]["first"] == pytest.approx(days[0]["planned"] + 0.9, abs=0.01)


def test_fields_are_read_by_their_moments() -> None:
    """In order of time, whatever else the form holds."""
    typed = read({"t200": "9", "t100": "8.5", "token": "t", "t300": "", "tx": "1", "t400": "x"})
    assert typed.points == ((100.0, 8.5), (200.0, 9.0)) and typed.unread == {"t400": "x"}


def test_tomorrow_is_proposed_and_nothing_is_drawn_before_it_is_kept(
    watch: Served, browse: Browse
) -> None:
    """Day 18 at BMD 46.8, the house's line 40: a few tenths warmer, with the reason."""
    before = len(watch.engine.view.entry_log.log)
    line = Target(bmd=((3.0, 24.0), (18.0, 40.0), (33.0, 0.0)))
    house = watch.settings.house
    courses = tuple(msgspec.structs.replace(c, target=line) for c in house.courses)
    drawn = msgspec.structs.replace(house, courses=courses)
    watch.settings = dataclasses.replace(watch.settings, house=drawn)
    browser = browse(app=pages_of(watch).app)
    text = html.unescape(browser.page(PLAN))
    assert "BMD 46.8 on day 18 is above the house's line, 40.0" in text
    found = re.search(r'href="(/place/tank-3/plan\?(t\d+)=([\d.]+))">Draw it in', text)
    assert found is not None and found[2] in mornings(browser)
    assert float(found[3]) == pytest.approx(planned(watch, float(found[2][1:])) + 0.3, abs=0.06)
    assert f'name="{found[2]}"' in browser.page(found[1]) and f'value="{found[3]}"' in browser.page(
        found[1]
    )
    assert len(watch.engine.view.entry_log.log) == before


# The day's figures.


def test_the_day_is_written_in_one_go_and_each_fate_is_shown(
    browser: Browser, watch: Served
) -> None:
    """Thermometer, analysis, note: three entries of one form, sent twice or not."""
    fields = {"id": "day-18", "celsius": "9.9", "baume": "2.5", "alcohol": "13.0",
              "text": "banana, clean"}  # fmt: skip
    before = len(watch.engine.view.entry_log.log)
    answer = send(browser, SAMPLE, **fields)
    assert answer.status_code == send(browser, SAMPLE, **fields).status_code == 303
    assert len(watch.engine.view.entry_log.log) == before + 3
    text = html.unescape(browser.page(answer.headers["location"]))
    for told in ("Sample", "By hand thermometer 9.9", "Note: banana, clean"):
        assert f"Saved. Tank 3: {told}" in text.replace("\n", " "), told
    assert text.count("Take back") >= 3


def test_a_hand_that_is_far_from_the_probe_is_asked_about(browse: Browse) -> None:
    """As on the tank's own page, 3 K apart."""
    answer = send(browse(), SAMPLE, celsius="25")
    assert answer.status_code == 422 and "the hand 25.0" in answer.text


def test_nothing_of_it_is_written_while_one_figure_is_asked_about(
    browser: Browser, watch: Served
) -> None:
    """Baume 0.6 after 2.6."""
    before = len(watch.engine.view.entry_log.log)
    fields = {"celsius": "9.9", "baume": "0.6", "text": "x"}
    answer = send(browser, SAMPLE, **fields)
    text = html.unescape(answer.text)
    assert "Baumé 2.6 before" in text and 'value="9.9"' in text and 'value="x"' in text
    assert len(watch.engine.view.entry_log.log) == before
    sure = re.search(r'name="sure" value="([^"]+)"', answer.text)
    assert sure is not None
    assert send(browser, SAMPLE, **fields, sure=html.unescape(sure[1])).status_code == 303
    assert len(watch.engine.view.entry_log.log) == before + 3


def test_a_sample_is_written_and_stands_among_the_others(browser: Browser) -> None:
    """Baume, alcohol, acidity, amino acid; it can be taken back there."""
    fields = {"baume": "2.5", "alcohol": "13.0", "acidity": "1.7", "amino": "1.2"}
    answer = send(browser, SAMPLE, **fields)
    assert answer.status_code == 303
    text = browser.page(answer.headers["location"])
    assert "Saved." in text and "Take back" in text
    assert "Bé 2.5 (SMV −25) alcohol 13.0 % acidity 1.7 amino acid 1.2" in text


def test_a_sample_that_no_mash_can_give_is_asked_about(browser: Browser, watch: Served) -> None:
    """Baume 2.6 half an hour ago and 0.6 now; in the visitor's language, with what was typed."""
    answer = send(browser, SAMPLE, baume="0.6")
    text = html.unescape(answer.text)
    assert answer.status_code == 422
    assert "Baumé 2.6 before and 0.6 now" in text and 'value="0.6"' in text
    sure = re.search(r'name="sure" value="([^"]+)"', answer.text)
    assert sure is not None
    assert send(browser, SAMPLE, baume="0.6", sure=sure[1]).status_code == 303


def test_it_is_asked_in_japanese_as_well(watch: Served, browse: Browse) -> None:
    browser = browse("ja", app=pages_of(watch).app)
    answer = send(browser, SAMPLE, alcohol="23")
    assert "アルコール23.0％：醪は22を超えません" in answer.text


@pytest.mark.parametrize(
    ("fields", "word"),
    [
        ({}, "give at least one figure"),
        ({"baume": "heavy"}, "Baumé: heavy cannot be read as a number"),
        ({"hydrometer_celsius": "15"}, "give at least one figure"),
        ({"baume": "200"}, "Not taken"),
    ],
)
def test_what_is_no_sample_is_told(browser: Browser, fields: dict[str, str], word: str) -> None:
    answer = send(browser, SAMPLE, **fields)
    assert answer.status_code == 422
    text = html.unescape(answer.text)
    assert word in text or "baume" in text
    for value in fields.values():
        assert f'value="{value}"' in text
