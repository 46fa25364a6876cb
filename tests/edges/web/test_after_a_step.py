"""The pages after somebody has set the wall clock: they show its time, and read what is typed by
it."""

from __future__ import annotations

import json
import re

import pytest

from kuraban.core.facts import ClockStepped
from kuraban.core.units import DAY, HOUR, parse_time, show_time
from kuraban.core.views.snapshot import Ring
from kuraban.edges.signing import LINK_LASTS, Link, Signer
from kuraban.edges.web.page_context import Clocked
from kuraban.store.history import History
from tests.edges.web.conftest import KEY, Browse, Browser
from tests.edges.web.served import Served

BACK = -9 * HOUR


@pytest.fixture
def stepped(served: Served) -> Served:
    """The night at ten past three, when the clock went nine hours back."""
    now = served.clock()
    served.submit(ClockStepped(now, BACK, BACK, now - 2 * DAY))
    return served


def entry(served: Served, subject: str, kind: str) -> float:
    """When the newest such entry was, by the watch's own time."""
    history = History(served.path)
    found = [one for one in history.entries(subject, 0, 1e12) if type(one.entry).__name__ == kind]
    history.close()
    return max(found, key=lambda one: one.received).at


def test_a_page_shows_the_wall_clocks_time(stepped: Served, browse: Browse) -> None:
    """Tank 5 is warm since 22:38, which was 13:38 by the clock as it is now."""
    text = browse().page("/rings")
    assert "13:3" in text and "22:38" not in text


def test_what_is_typed_is_read_by_it(stepped: Served, browse: Browse) -> None:
    """A stir "at ten past six" of an evening that the clock now says it is."""
    browser = browse()
    now = stepped.clock()
    browser.tap("tank-3", entry="stir", at="2026-02-03T18:05:00+09:00")
    assert entry(stepped, "tank-3", "Stir") == now - 5 * 60.0
    shown = browser.page("/place/tank-3")
    assert "18:05" in shown


def test_a_phones_tap_is_as_old_as_the_phone_says(stepped: Served, browse: Browse) -> None:
    """A phone knows the true time, and the watch perhaps does not: what counts is the age."""
    made, sent = "2026-02-03T18:00:30.250Z", "2026-02-03T18:02:30.250Z"
    browse().tap("tank-3", entry="stir", at=made, sent=sent)
    assert entry(stepped, "tank-3", "Stir") == pytest.approx(stepped.clock() - 120.0, abs=0.01)


def test_a_tap_with_nonsense_for_a_time_is_refused_as_ever(browse: Browse) -> None:
    answer = browse().tap("tank-3", entry="stir", at="soon", sent="2026-02-03T18:02:30Z")
    assert answer.status_code == 422


def test_programs_see_the_wall_clocks_time(stepped: Served, browse: Browse) -> None:
    browser, wall = browse(), stepped.clock() + BACK
    told = browser.get("/api/v1/picture").json()
    assert told["at"] == wall and told["clock"] == []
    stopped = next(ring for ring in told["rings"] if ring["subject"] == "chiller-1")
    assert wall - HOUR < stopped["since"] < wall - 30 * 60.0, "since half past two, as it was then"
    span = {"start": str(wall - HOUR), "end": show_time(wall, stepped.settings.house.zone)}
    rows = browser.get("/api/v1/places/tank-3/readings", params=span).json()
    stamps = [parse_time(row["at"]) for row in rows]
    assert stamps and wall - HOUR <= min(stamps) and max(stamps) < wall
    browser.tap("tank-3", entry="aim", celsius="9.5", by="2026-02-04T06:00:00+09:00")
    (aim,) = browser.get("/api/v1/entries/tank-3").json()[-1:]
    assert aim["entry"]["by"] == parse_time("2026-02-04T06:00:00+09:00")


def test_a_page_leads_to_the_same_readings_as_a_file(stepped: Served, browse: Browse) -> None:
    text = browse().page("/place/tank-3?range=day")
    found = re.search(r"format=csv&amp;start=(\d+)", text)
    assert found is not None
    assert abs(int(found[1]) - (stepped.clock() + BACK - DAY)) <= 1


def test_curves_are_drawn_over_the_step(stepped: Served, browse: Browse) -> None:
    browser = browse()
    for path in ("/place/tank-5/curve.svg", "/place/tank-5/curve.json"):
        assert browser.get(path).status_code == 200
    told = json.loads(browser.get("/place/tank-5/curve.json").text)
    assert told["points"][-1][1].startswith("18:")


def test_the_sheet_and_the_plan_ahead_count_their_days_by_it(
    served: Served, browse: Browse
) -> None:
    """At ten past three the day is yesterday's; if the clock says it is noon, it is today's."""
    browser = browse()
    assert last_day(browser) == "2026-02-03"
    assert "4 Feb" in browser.page("/place/tank-5/plan")
    served.submit(ClockStepped(served.clock(), 9 * HOUR, 9 * HOUR, served.clock() - 2 * DAY))
    assert last_day(browser) == "2026-02-04"
    assert "4 Feb" not in browser.page("/place/tank-5/plan")


def last_day(browser: Browser) -> str:
    sheet = browser.get("/place/tank-5/sheet").headers["location"]
    return browser.page(f"{sheet}/sheet.csv").splitlines()[-1].partition(",")[0]


def answered(browser: Browser, link: Link) -> int:
    path = f"/a/{Signer(KEY).link(link)}"
    token = re.search(r'name="token" value="([0-9a-f]+)"', browser.get(path).text)
    fields = {} if token is None else {"token": token[1]}
    return browser.post(path, data=fields).status_code


@pytest.mark.parametrize("by", [-9 * HOUR, 3 * DAY])
def test_a_link_in_a_message_lives_as_long_as_it_lives(
    served: Served, browse: Browse, ringing: Ring, by: float
) -> None:
    """An hour later it answers, wherever the clock went; when its time is over it does not."""
    sent = served.clock()
    link = Link(ringing.subject, ringing.condition, "sho", "acknowledge", sent)
    served.submit(ClockStepped(sent, by, by, sent - HOUR))
    served.pass_time(HOUR)
    browser = browse()
    assert answered(browser, link) < 400
    ring = served.snapshot().ring(ringing.subject, ringing.condition)
    assert ring is not None and ring.by == "sho"
    old = link._replace(at=served.clock() - LINK_LASTS - 1)
    assert "I have it" not in browser.get(f"/a/{Signer(KEY).link(old)}").text


def test_the_house_is_read_anew_once_a_step() -> None:
    """Whatever was looked up in it is kept until then."""
    from tests.core.house import brewery

    clocked = Clocked(brewery())
    first = clocked.by(())
    assert clocked.by(()) is first
    later = clocked.by(((0.0, HOUR),))  # type: ignore[arg-type]
    assert later is not first and clocked.by(later.clock) is later
