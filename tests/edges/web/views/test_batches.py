"""Batches begun, taken over, ended; and what is said where a person errs."""

from __future__ import annotations

import html
import re
from typing import Any

import httpx
import pytest

from kuraban.core.units import DAY, HOUR, show_time
from kuraban.edges.web.views.batches import first_day, next_name, stage_on
from tests.edges.web.conftest import Browse, Browser, account
from tests.edges.web.served import Served

FREE = "starter-1"
"""Nothing runs in it in the demo night."""


def begin(browser: Browser, **fields: str) -> httpx.Response:
    form = {"place": FREE, "course": "starter-sokujo-14", "batch": "No. 15", **fields}
    return browser.post("/batches/start", data={**form, "token": browser.token()})


def text_of(answer: httpx.Response) -> str:
    return html.unescape(answer.text)


def free_a_tank(served: Served, browser: Browser, place: str = "tank-3") -> None:
    browser.post(f"/batches/end/{place}", data={"token": browser.token()})
    assert served.snapshot().place(place).batch is None  # type: ignore[union-attr]


@pytest.mark.parametrize("language", ["en", "ja"])
def test_the_running_ones_stand_with_day_and_stage(browse: Browse, language: str) -> None:
    """In the order of the places, each with its sheet and its end."""
    text = browse(language).page("/batches")
    places = re.findall(r'href="/batches/([a-z0-9-]+)/\d+"', text)
    assert places == ["tank-1", "tank-2", "tank-3", "tank-4", "tank-5", "tank-6", "koji-bed-1"]
    assert text.count('href="/batches/end/') == 7
    assert ("day 12, Main mash" if language == "en" else "12日目・醪") in text


def test_a_batch_is_started_from_a_course(browse: Browse, served: Served) -> None:
    """Place, course, name; it begins now, with its rice."""
    answer = begin(browse(), rice_kg="７０")
    assert answer.status_code == 303
    starter = served.snapshot().place(FREE)
    assert starter is not None and starter.batch is not None
    assert (starter.batch.name, starter.batch.course) == ("No. 15", "starter-sokujo-14")
    assert starter.batch.since == pytest.approx(served.clock(), abs=5)
    assert "No. 15, Starter 1" in browse().page("/batches")


def test_only_what_fits_the_course_is_asked(browse: Browse) -> None:
    """Its stages; a day only where the course counts them."""
    browser = browse()
    tank = browser.page("/batches/start?place=tank-3&course=moromi-slow-33")
    assert "has run in Tank 3" in html.unescape(tank)
    starter = browser.page(f"/batches/start?place={FREE}&course=starter-sokujo-14")
    assert 'name="day"' in starter and 'name="hours"' in starter
    browser.post("/batches/end/koji-bed-1", data={"token": browser.token()})
    koji = browser.page("/batches/start?place=koji-bed-1&course=koji-tray-48")
    assert 'name="day"' not in koji and 'name="hours"' in koji


def test_a_second_batch_in_one_tank_is_not_begun(browse: Browse, served: Served) -> None:
    """It says which runs and since when, and what was typed stands below."""
    answer = begin(browse(), place="tank-3", course="moromi-slow-33", batch="No. 16", rice_kg="90")
    assert answer.status_code == 422
    text = text_of(answer)
    assert "Batch No. 9 has run in Tank 3 since 26 Jan. End it first" in text
    assert 'name="batch" value="No. 16"' in text and 'value="90"' in text
    tank = served.snapshot().place("tank-3")
    assert tank is not None and tank.batch is not None and tank.batch.name == "No. 9"


def test_a_course_for_koji_is_not_for_a_starter(browse: Browse) -> None:
    """It names the courses that are."""
    answer = begin(browse(), course="koji-tray-48")
    assert answer.status_code == 422
    assert "is for koji bed. For Starter 1 there are:" in text_of(answer)


def test_a_batch_needs_a_name_and_is_offered_one(browse: Browse) -> None:
    answer = begin(browse(), batch=" ")
    assert answer.status_code == 422
    assert "The batch needs a name, such as No. 1" in text_of(answer)


def test_a_name_that_runs_in_another_tank_is_asked_about(browse: Browse, served: Served) -> None:
    """A slip is likelier; who means it says so once more."""
    browser = browse()
    free_a_tank(served, browser)
    form = {"place": "tank-3", "course": "moromi-slow-33", "batch": "no. 11"}
    answer = begin(browser, **form)
    assert answer.status_code == 422
    question = re.search(r'name="sure" value="([^"]+)"', answer.text)
    assert question is not None and "Is this the same batch?" in question[1]
    assert begin(browser, **form, sure=html.unescape(question[1])).status_code == 303


def test_a_mash_is_taken_over_in_the_middle_by_its_day(browse: Browse, served: Served) -> None:
    """Day 15 in the main mash, which begins on day 10: the watch counts the same day."""
    browser = browse()
    free_a_tank(served, browser)
    form = {"place": "tank-3", "course": "moromi-slow-33", "batch": "No. 30"}
    assert begin(browser, **form, stage="moromi", day="15").status_code == 303
    tank = served.snapshot().place("tank-3")
    assert tank is not None and tank.batch is not None
    assert (tank.batch.day, tank.batch.stage) == (15, "moromi")


def test_a_stage_that_is_not_that_of_its_day_is_told(browse: Browse, served: Served) -> None:
    """On day 5 the mash still rises; the main mash begins on day 10."""
    browser = browse()
    free_a_tank(served, browser)
    form = {"place": "tank-3", "course": "moromi-slow-33", "batch": "No. 30"}
    answer = begin(browser, **form, stage="moromi", day="5")
    assert answer.status_code == 422
    text = text_of(answer)
    assert "Main mash begins on day 10. On day 5 the course stands at: Rise." in text
    assert 'value="5"' in text
    before = begin(browser, **form, stage="soe", day="1")
    assert "comes before day 1" in text_of(before)
    unknown = begin(browser, **form, stage="mori")
    assert "has these stages: First addition, Rest day" in text_of(unknown)


def test_a_starter_is_taken_over_by_its_hours(browse: Browse, served: Served) -> None:
    stages = served.settings.house.course["starter-sokujo-14"].stages
    assert begin(browse(), stage=stages[0].id, hours="6").status_code == 303
    starter = served.snapshot().place(FREE)
    assert starter is not None and starter.batch is not None
    assert starter.batch.stage_since == pytest.approx(served.clock() - 6 * HOUR, abs=5)


@pytest.mark.parametrize(
    ("fields", "word"),
    [
        ({"rice_kg": "much"}, "White rice, kg: much cannot be read"),
        ({"at": "soon"}, "Begins: soon is no day and time"),
        ({"at": "2027-01-01T06:00"}, "is still to come"),
        ({"place": "nowhere"}, "Choose a place and a course."),
        ({"stage": "soe-like"}, "has these stages"),
    ],
)
def test_what_cannot_be_is_told_with_what_would(
    browse: Browse, fields: dict[str, str], word: str
) -> None:
    answer = begin(browse(), **fields)
    assert answer.status_code == 422
    assert word in text_of(answer)


def test_a_form_sent_twice_is_one_batch(browse: Browse, served: Served) -> None:
    """As after a lost connection."""
    browser = browse()
    assert begin(browser, id="form-1").status_code == 303
    again = begin(browser, id="form-1")
    assert again.status_code == 422 and "has run in Starter 1" in text_of(again)


def test_a_batch_is_ended_and_keeps_its_sheet(browse: Browse, served: Served) -> None:
    """It moves from the running to the ended ones."""
    browser = browse()
    assert "End batch No. 9 in Tank 3" in browser.page("/batches/end/tank-3")
    free_a_tank(served, browser)
    text = browser.page("/batches")
    assert text.index("No. 9, Tank 3") > text.index('id="ended"')
    assert "Sheet of batch No. 9" in browser.page("/place/tank-3/sheet", follow_redirects=True)
    assert browser.get("/batches/end/tank-3").status_code == 404


def test_an_end_before_the_beginning_is_no_end(browse: Browse, served: Served) -> None:
    browser = browse()
    form = {"at": "2025-12-01T06:00", "token": browser.token()}
    answer = browser.post("/batches/end/tank-3", data=form)
    assert answer.status_code == 422
    assert "ended after it began (26 Jan" in text_of(answer)
    assert 'value="2025-12-01T06:00"' in answer.text


def test_before_its_last_stage_the_end_is_asked_about(browse: Browse) -> None:
    """A starter of today has its course before it."""
    browser = browse()
    begin(browser)
    assert "its course goes on to" in browser.page(f"/batches/end/{FREE}")
    assert "its course goes on to" not in browser.page("/batches/end/tank-3")


def test_only_who_manages_starts_and_ends(browse: Browse, served: Served) -> None:
    """Others see the list, without buttons."""
    from tests.passwords import hashed

    served.with_accounts(account("ken", "log", hashed("open sesame")))
    browser = browse()
    browser.sign_in("ken", "open sesame")
    text = browser.page("/batches")
    assert "/batches/start" not in text and "/batches/end/" not in text
    assert browser.get("/batches/start").status_code == 403
    assert begin(browser).status_code == 403
    assert browser.get("/batches/end/tank-3").status_code == 403


def test_a_form_from_elsewhere_begins_nothing(browse: Browse, served: Served) -> None:
    form = {"place": FREE, "course": "starter-sokujo-14", "batch": "No. 15"}
    assert browse().post("/batches/start", data=form).status_code == 403
    assert served.snapshot().place(FREE).batch is None  # type: ignore[union-attr]


def test_days_of_stages_are_counted_from_tome(lived: Served) -> None:
    """Rise on day 2, the main mash on day 10; soe, rest and naka come before day 1."""
    course = lived.settings.house.course["moromi-slow-33"]
    days = {stage.id: first_day(course, n) for n, stage in enumerate(course.stages)}
    assert days == {"soe": None, "odori": None, "naka": None, "tome": 1, "rise": 2, "moromi": 10}
    assert [course.stages[stage_on(course, day) or 0].id for day in (1, 2, 9, 10, 40)] == [
        "tome", "rise", "rise", "moromi", "moromi",
    ]  # fmt: skip


def test_the_next_name_counts_on(browse: Browse, served: Served) -> None:
    """Beyond every name that is taken."""
    from kuraban.queries.batches.batch_sheet import Batches

    stays: Any = Batches(served.settings.house, served.path).stays()
    suggested = next_name(stays)
    assert suggested.startswith("No. ")
    assert suggested not in {stay.name for stay in stays}
    assert next_name(()) == "No. 1"


def test_a_start_can_be_dated_back(browse: Browse, served: Served) -> None:
    """By the house's own clock."""
    since = served.clock() - DAY
    at = show_time(since, served.settings.house.zone)[:16]
    assert begin(browse(), at=at).status_code == 303
    starter = served.snapshot().place(FREE)
    assert starter is not None and starter.batch is not None
    assert starter.batch.since == pytest.approx(since, abs=60)


def test_a_mash_is_pressed_into_the_tanks_that_are_ticked(browse: Browse, served: Served) -> None:
    """Tank 3's, into 1 and 4; what is left for another pressing goes on."""
    browser = browse()
    asked = text_of(browser.get("/batches/end/tank-3"))
    assert 'name="to-tank-1"' in asked and 'name="to-tank-3"' not in asked
    assert "locked before a hand goes in" in asked and "local rules first" in asked
    form = {"token": browser.token(), "to-tank-1": "1", "to-tank-4": "1", "rest": "1"}
    assert browser.post("/batches/end/tank-3", data=form).status_code == 303
    tank = served.snapshot().place("tank-3")
    assert tank is not None and tank.batch is not None
    del form["rest"]
    assert browser.post("/batches/end/tank-3", data=form).status_code == 303
    tank = served.snapshot().place("tank-3")
    assert tank is not None and tank.batch is None and tank.ended is not None
    told = browser.get("/api/v1/outcomes/tank-3").json()
    assert [one["entry"].get("to") for one in told[-2:]] == [["tank-1", "tank-4"]] * 2


def test_what_is_left_went_somewhere_first(browse: Browse, served: Served) -> None:
    """A pressing that names no tank comes back with the question; koji names none ever."""
    browser = browse()
    form = {"token": browser.token(), "rest": "1"}
    answer = browser.post("/batches/end/tank-3", data=form)
    assert answer.status_code == 422 and "into which tanks" in text_of(answer)
    assert 'name="to-' not in browser.page("/batches/end/koji-bed-1")


def test_the_way_is_walked_on_the_sheet_and_by_programs(browse: Browse, served: Served) -> None:
    """From the koji lot that an addition named to the tank in which the sake stands, and back."""
    browser = browse()
    browser.tap("tank-3", entry="addition", what="water-koji", kg="20", batch="K 21")
    form = {"token": browser.token(), "to-tank-4": "1"}
    free_a_tank(served, browser, "tank-4")
    browser.post("/batches/end/tank-3", data=form)
    begin(browser, place="tank-4", course="sake-heated", batch="First", sure="1")
    told = browser.get("/api/v1/way", params={"batch": "K 21"}).json()
    joined = [(one["source"], one["how"], one["into"]) for one in told["joints"]]
    assert joined == [("K 21", "added", "No. 9"), ("No. 9", "pressed", "First")]
    assert {one["place"] for one in told["stood"]} == {"tank-3", "tank-4"}
    for place in ("tank-3", "tank-4"):
        sheet = text_of(browser.get(f"/place/{place}/sheet", follow_redirects=True))
        assert "K 21 went into Tank 3, batch No. 9" in sheet
        assert "No. 9 was pressed into Tank 4, batch First" in sheet
    assert browser.get("/api/v1/way", params={"batch": "No. 99"}).status_code == 404


def test_a_tank_in_store_shows_the_warmth_it_had(browse: Browse, served: Served) -> None:
    """Two hours at about 15 °C are 1 °C·day; a mash has no such line."""
    browser = browse()
    assert "In store" not in browser.page("/place/tank-3")
    at = show_time(served.clock() - 2 * HOUR, served.settings.house.zone)[:16]
    browser.post("/batches/end/tank-3", data={"token": browser.token(), "at": at})
    assert begin(browser, place="tank-3", course="sake-heated", batch="S", at=at).status_code == 303
    text = text_of(browser.get("/place/tank-3"))
    assert "Warmth so far: 1 °C·days above 0" in text
    assert "air the room" in text and "may hold gas instead of air" in text
