"""A person's calendar of the work due: what a phone gets, and what nobody else does."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from icalendar import Calendar

from kuraban.core import entries as e
from kuraban.core.facts import Logged
from kuraban.edges.signing import Feed, Link, Signer
from tests.edges.web.conftest import KEY, Browse, Browser, account
from tests.edges.web.served import Served
from tests.passwords import hashed


def address(browser: Browser, person: str, do: str = "renew") -> str:
    """What their page shows after the button, "" for nothing."""
    form = {"token": browser.token(), "person": person, "next": "/due", "do": do}
    browser.post("/who", data=form)
    browser.post("/due/calendar", data=form)
    found = re.search(r"<pre[^>]+>http://[^<]+/calendar/([^<]+)", browser.page("/due"))
    return "" if found is None else f"/calendar/{found[1]}"


def events(text: str) -> list[Any]:
    return list(Calendar.from_ical(text).walk("VEVENT"))


def titles(text: str) -> list[str]:
    return [str(one["SUMMARY"]) for one in events(text)]


def test_a_phone_subscribes_without_a_login(served: Served, browse: Browse) -> None:
    """In Mio's language; each work once, with a UID, a stamp and an end, in UTC, lines folded."""
    served.with_accounts(account("mio", "log", hashed("one pass word")))
    mio = browse()
    mio.sign_in("mio", "one pass word")
    answer = browse().get(address(mio, "mio"))
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "text/calendar; charset=utf-8"
    assert all(len(line.encode()) <= 75 for line in answer.text.split("\r\n"))
    found = events(answer.text)
    assert len({str(one["UID"]) for one in found}) == len(found) > 20
    stamp = datetime.fromtimestamp(served.clock(), UTC)
    for one in found:
        assert one["DTSTAMP"].dt == stamp and str(one["DTSTART"].dt.tzinfo) == "UTC"
        assert one["DTEND"].dt > one["DTSTART"].dt
    press = next(one for one in found if one["SUMMARY"] == "Tank 6: pressing")
    assert press["DTSTART"].dt == datetime(2026, 2, 8, 21, tzinfo=UTC)
    assert "locked before a hand goes in" in press["DESCRIPTION"]


def test_it_tells_of_the_work_and_of_nothing_else(browse: Browse) -> None:
    """No temperature, no rate, no words of an alarm but its name."""
    text = browse().get(address(browse(), "ken")).text.replace("\r\n ", "")
    assert "Chiller 1: stopped" in text and "°C" not in text and "pressing" not in text
    assert "Stir round" not in text


def test_it_speaks_the_persons_language_whoever_asks(browse: Browse) -> None:
    text = browse("en").get(address(browse("en"), "aki")).text
    assert "Tank 6 上槽" in titles(text)


def test_what_is_late_and_who_did_it_stand_in_the_entry(served: Served, browse: Browse) -> None:
    """The same entry as before: a phone changes it and adds none."""
    feed = address(browse(), "mio")
    before = events(browse().get(feed).text)
    evening = next(one for one in before if "4 of 6" in one["SUMMARY"])
    now = served.clock()
    for number in range(3, 7):
        served.submit(Logged(f"s{number}", f"tank-{number}", e.Stir(), now, now, by="sho"))
    after = {str(one["UID"]): one for one in events(browse().get(feed).text)}
    assert after[str(evening["UID"])]["SUMMARY"].endswith("left, Mio, Sho")
    assert after.keys() >= {str(one["UID"]) for one in before}


def test_a_work_that_moves_keeps_its_entry(served: Served, browse: Browse) -> None:
    feed, now = address(browse(), "mio"), served.clock()

    def press() -> Any:
        found = events(browse().get(feed).text)
        return next(one for one in found if one["SUMMARY"] == "Tank 3: pressing")

    before = press()
    served.submit(Logged("h", "tank-3", e.Hold(for_=e.Duration(86400.0)), now, now, by="aki"))
    after = press()
    assert after["UID"] == before["UID"]
    assert after["DTSTART"].dt == before["DTSTART"].dt + timedelta(days=1)


def test_a_renewed_or_withdrawn_address_opens_nothing(browse: Browse) -> None:
    browser = browse()
    first = address(browser, "mio")
    second = address(browser, "mio")
    assert [browse().get(one).status_code for one in (first, second)] == [404, 200]
    assert address(browser, "mio", "withdraw") == ""
    assert browse().get(second).status_code == 404


def test_a_forged_address_opens_nothing(served: Served, browse: Browse) -> None:
    """Of another key, of another purpose, with another's name, cut short, or guessed."""
    good = address(browse(), "mio")
    token = good.removeprefix("/calendar/").removesuffix(".ics")
    mark = Signer(KEY).read_feed(token)
    assert mark is not None and browse().get(good).status_code == 200
    ours, others = Signer(KEY), Signer("o" * 64)
    ring = Link("chiller-1", "stopped", "mio", "acknowledge", served.clock())
    forged = [
        others.feed(mark), ours.feed(mark._replace(person="ken")), ours.feed(Feed("mio", "")),
        ours.feed(Feed("nobody", mark.mark)), ours.link(ring), token[:-1], token + "A", token[1:],
        "x", "mio", "..%2fcalendars", "%00",
    ]  # fmt: skip
    for one in forged:
        answer = browse().get(f"/calendar/{one}.ics")
        assert answer.status_code == 404, one
        assert "VCALENDAR" not in answer.text
    assert browse().get(f"/a/{token}").status_code == 404


@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE"])
def test_nothing_is_changed_by_it(browse: Browse, method: str) -> None:
    assert browse().ask(method, address(browse(), "mio")).status_code == 405


def test_lines_that_somebody_writes_into_a_name_stay_one_line(
    served: Served, browse: Browse
) -> None:
    """No entry of theirs appears in anybody's calendar."""
    now = served.clock()
    text = "x\\nEND:VEVENT\\nBEGIN:VEVENT; SUMMARY:come, all"
    for number in range(1, 7):
        served.submit(Logged(f"s{number}", f"tank-{number}", e.Stir(), now, now, by=text))
    answer = browse().get(address(browse(), "mio"))
    assert not any(one.startswith("come") for one in titles(answer.text))
    assert any(text in one for one in titles(answer.text))
