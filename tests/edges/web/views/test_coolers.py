"""The coolers' pages: torch in one hand, this in the other."""

from __future__ import annotations

import re
from itertools import pairwise

import pytest

from kuraban.core.units import DAY
from kuraban.edges.web.translator import Translator
from kuraban.edges.web.views import coolers
from kuraban.settings.catalogues import load_page_words
from kuraban.store.history import History
from tests.edges.web.conftest import Browse
from tests.edges.web.served import Served


def text_of(html: str) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", html))


def test_the_list_says_what_stands_still_and_whom_it_hits_first(browse: Browse) -> None:
    """Chiller 1 has lost its power at half past two; tank 2 has the fewest hours."""
    text = text_of(browse().page("/coolers"))
    assert "Not running since 02:30" in text
    assert "Tank 2 leaves its tolerance first, after 3 to 6 h" in text
    assert "Nothing measures whether it runs" in text


@pytest.mark.parametrize("language", ["en", "ja"])
@pytest.mark.parametrize("cooler", ["chiller-1", "chiller-2", "heater-1"])
def test_every_machine_has_its_page(browse: Browse, language: str, cooler: str) -> None:
    """In both languages, without script and without a style of its own."""
    text = browse(language).page(f"/coolers/{cooler}")
    assert f'<html lang="{language}">' in text
    assert "style=" not in text and "onclick" not in text


def test_what_to_look_at_comes_with_its_cautions(browse: Browse) -> None:
    """Switch off first, a breaker once, wiring and refrigerant not by us; local rules first."""
    text = text_of(browse().page("/coolers/chiller-1"))
    for words in ("display, plug, breaker", "Switch off before opening", "reset a breaker once",
                  "licensed people only", "Local rules first"):  # fmt: skip
        assert words in text
    assert "hot water scalds" in text_of(browse().page("/coolers/heater-1"))


def test_a_standing_alarm_shows_what_speaks_for_it(browse: Browse) -> None:
    text = text_of(browse().page("/coolers/chiller-1"))
    assert "Even its standby power is gone" in text and "Ken has it" in text


def test_each_tank_says_how_long_it_has(browse: Browse) -> None:
    """The same card as on its own page; a rough guess is called one."""
    assert "Leaves its tolerance: after 3 to 6 h." in text_of(browse().page("/coolers/chiller-1"))
    assert "A rough guess" in text_of(browse().page("/coolers/chiller-2"))
    place = text_of(browse().page("/place/tank-2"))
    assert "If Chiller 1 stops now" in place and "by its own warm-ups" in place


def test_a_tank_is_given_to_the_other_chiller_and_back(browse: Browse, served: Served) -> None:
    """One tap, and one to take it back, on the same page."""
    browser = browse()
    answer = browser.tap("tank-2", entry="served-by", cooler="chiller-2", back="coolers/chiller-1")
    where = answer.headers["location"]
    assert where.startswith("/coolers/chiller-1?told=")
    assert [one.place for one in served.snapshot().cooler("chiller-1").served] == [  # type: ignore[union-attr]
        "tank-1", "tank-3", "tank-4",
    ]  # fmt: skip
    of = re.search(r'name="of" value="([^"]+)"', browser.page(where))
    assert of is not None
    browser.tap("tank-2", entry="take-back", of=of[1], back="coolers/chiller-1")
    assert "tank-2" in [one.place for one in served.snapshot().cooler("chiller-1").served]  # type: ignore[union-attr]


def test_a_machine_under_repair_is_not_watched_until_it_is_again(browse: Browse) -> None:
    browser = browse()
    back = "coolers/chiller-2"
    browser.tap("chiller-2", entry="out-of-service", reason="maintenance", back=back)
    page = browser.page("/coolers/chiller-2")
    assert "not watched since" in page and 'value="in-service"' in page
    browser.tap("chiller-2", entry="in-service", back=back)
    assert "not watched since" not in browser.page("/coolers/chiller-2")


def test_a_form_leads_back_to_a_cooler_of_the_house_alone(browse: Browse) -> None:
    answer = browse().tap("chiller-2", entry="note", text="filter", back="coolers/../login")
    assert answer.headers["location"].startswith("/coolers/chiller-2?")


def test_hours_run_are_those_of_its_brewery_days(lived: Served) -> None:
    """Of thirty days one night is known: nothing is made up for the others."""
    history = History(lived.path)
    days = coolers.days_run(history, lived.settings.house, "chiller-1", lived.clock())
    none = coolers.days_run(history, lived.settings.house, "chiller-2", lived.clock())
    history.close()
    assert len(days) == 30 and none == []
    assert days[-1].start == lived.snapshot().day_turned
    assert all(b.start - a.start == DAY for a, b in pairwise(days))
    assert days[0].hours is None and days[-1].hours is not None
    assert 0 < days[-1].hours < 24


def test_an_open_page_is_sent_what_changed(lived: Served) -> None:
    w = Translator(load_page_words(), "en", lived.settings.house, lived.clock())
    parts = coolers.parts(None, w, lived.snapshot(), True)  # type: ignore[arg-type]
    assert set(parts) == {"cooler-chiller-1", "cooler-chiller-2", "cooler-heater-1"}
    assert "Not running" in parts["cooler-chiller-1"]


def test_programs_are_told_the_same(browse: Browse) -> None:
    browser = browse()
    told = {one["id"]: one for one in browser.get("/api/v1/coolers").json()}
    assert told["chiller-1"]["called"] == "called_demand" and told["chiller-2"]["runs"] is None
    assert len(browser.get("/api/v1/coolers/chiller-1/days").json()) == 30
    assert browser.get("/api/v1/places/tank-2/hours").json()["rests_on"] == "own warm-ups"
    assert browser.get("/api/v1/places/cellar/hours").json() is None
    for path in ("coolers/nobody/days", "places/nobody/hours"):
        assert browser.get(f"/api/v1/{path}").status_code == 404


def test_without_its_journal_a_cooler_shows_the_present(served: Served, browse: Browse) -> None:
    browser = browse()
    served.path.write_bytes(b"no data base any more" * 100)
    text = browser.page("/coolers/chiller-1")
    assert "cannot be read" in text and "Not running" in text


def test_an_unknown_cooler_is_not_found(browse: Browse) -> None:
    assert browse().get("/coolers/nobody").status_code == 404
    assert browse().get("/live/coolers/nobody").status_code == 404
