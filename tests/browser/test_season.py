"""A whole invented season is lived through: every sheet, every page, and a walk on a phone."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import closing
from typing import NamedTuple

import httpx
import pytest

from fixtures.season import BATCHES, LAST, MIDWINTER, write
from kuraban.queries.batches.batch_sheet import Batches
from kuraban.store.history import History
from tests.browser.conftest import KEY, PHONE, House, Open, serving
from tests.edges.web import every
from tests.edges.web.served import Served


class Season(NamedTuple):
    midwinter: House
    summer: House


@pytest.fixture(scope="module")
def season(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Season]:
    """In January, and at the end of August: one replay through the real core."""
    folder = tmp_path_factory.mktemp("season")
    recording = write(folder / "house")
    lived = Served.lived(folder, folder / "house" / "site.toml", recording, MIDWINTER, LAST)
    midwinter = next(lived).twin(tmp_path_factory.mktemp("midwinter"))
    with closing(midwinter), closing(next(lived)) as summer:
        houses = Season(serving(midwinter), serving(summer))
        yield houses
        for house in houses:
            house.pages.stop()


def batches(watch: Served) -> Batches:
    return Batches(watch.settings.house, watch.path)


def test_two_starters_koji_mash_and_sake_stand_at_once_in_january(season: Season) -> None:
    running = [one.kind for one in season.midwinter.watch.snapshot().places if one.batch]
    assert running.count("starter") == 2 and "koji-bed" in running
    assert running.count("tank") >= 4


def test_every_batch_was_pressed_and_its_way_leads_to_the_sake(season: Season) -> None:
    """Twelve, each of a starter and two lots of koji; what was heated was hot long enough; the
    summer's warmth is summed."""
    books = batches(season.summer.watch)
    for number in range(1, BATCHES + 1):
        way = books.way(f"No. {number}")
        lots = {one.source for one in way.joints if one.how == "added"}
        assert lots == {f"Moto {number}", f"Koji A {number}", f"Koji B {number}"}
        assert [one.place for one in way.joints if one.how == "pressed"] == [f"store-{number}"]
        (sake,) = (one for one in way.stood if one.place == f"store-{number}")
        assert sake.warmth is not None and sake.warmth.days > 50
        for heating in sake.heatings:
            assert heating.held.highest > 64 and heating.held.minutes > 40
        assert bool(sake.heatings) is (number % 4 != 3)
        mash = next(one for one in way.stood if one.place.startswith("tank-"))
        assert mash.end is not None


def test_every_sheet_is_filled(season: Season) -> None:
    """Each day of each mash has its figures of the morning, and samples from the fourth on."""
    books = batches(season.summer.watch)
    mashes = [one for one in books.stays() if one.place.startswith("tank-")]
    assert len(mashes) == BATCHES
    for stay in mashes:
        sheet = books.sheet(stay.place, stay.key)
        assert sheet is not None and len(sheet.days) > 20
        assert all(day.morning is not None and day.aim is not None for day in sheet.days[1:-1])
        assert sum(day.baume is not None for day in sheet.days) > 14
        assert any(text["en"] == "Rest day" for day in sheet.days for text in day.stages)


def test_nobody_is_woken_in_a_season_that_goes_by_its_courses(season: Season) -> None:
    history = History(season.summer.watch.path)
    with closing(history):
        woken = [one for one in history.messages(0, LAST) if one.step == "page"]
    assert {alarm for one in woken for alarm in one.alarms} == set()


@pytest.mark.parametrize("when", ["midwinter", "summer"])
def test_every_page_is_there_in_both_languages(season: Season, when: str) -> None:
    """Also every sheet; in the summer no mash is left to plan for."""
    house: House = getattr(season, when)
    with httpx.Client(base_url=house.at, follow_redirects=True, timeout=30) as client:

        def there(address: str) -> bool:
            status = client.get(address).status_code
            assert status < 500, address
            return status == 200

        found = every.addresses(house.watch, KEY, there)
        lacking = {shape for shape, known in found.items() if not known}
        assert lacking <= {"/a/{token}", "/setup/ice/{probe}"}, lacking
        stays = batches(house.watch).stays()
        for stay, language in zip(stays, ("ja", "en") * len(stays), strict=False):
            answer = client.get(f"/batches/{stay.place}/{stay.key}", params={"lang": language})
            assert answer.status_code == 200, (stay.place, stay.name)


def test_a_phone_walks_from_the_cellar_to_the_sake(season: Season, open_: Open) -> None:
    """What is due, a mash that is to be pressed, its sheet, its starter; in summer the tank in
    store with its warmth, and back to the koji."""
    page = open_(season.midwinter.at, PHONE)
    page.get_by_role("link", name="Work due").first.click()
    assert page.locator("#due a", has_text="Stir round").count() > 0
    page.locator("#due a", has_text=re.compile("Starter [12]:")).first.click()
    page.get_by_role("link", name="Sheet of the batch").first.click()
    assert "Koji A" in page.inner_text("main")
    page.goto(season.summer.at + "/place/store-1")
    assert "°C·days above 0" in page.inner_text("main")
    page.get_by_role("link", name="Sheet of the batch").first.click()
    way = page.locator("section", has_text="Where it came from")
    assert "Koji B 1 went into Tank 1" in way.inner_text()
    way.get_by_role("link", name="No. 1, Tank 1").click()
    assert "No. 1" in page.inner_text("h1") and "Tank 1" in page.inner_text("h1")
