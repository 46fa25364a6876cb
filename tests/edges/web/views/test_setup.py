"""Whoever sets a house up finds what to write, and whether a phone is reached."""

from __future__ import annotations

import dataclasses
import html
import tomllib

import pytest

from kuraban.core.facts import Reading, Refusal
from kuraban.settings import Addresses
from tests.edges.web.conftest import Browse, account
from tests.edges.web.served import Served
from tests.passwords import hashed
from tests.sink import Sink

SAID = '{"value": 8.9}'


def heard(served: Served, probe: str) -> None:
    served.submit(Refusal(f"kura/reading/{probe}", served.clock(), "no such probe", SAID))


def test_a_probe_in_no_site_file_is_listed_with_its_lines(served: Served, browse: Browse) -> None:
    heard(served, "t12-mid")
    sheet = browse().page("/setup")
    assert "t12-mid" in sheet
    lines = sheet.partition("<pre")[2].partition(">")[2].partition("</pre>")[0]
    told = tomllib.loads(html.unescape(lines))
    assert told["probe"] == [{"id": "t12-mid", "of": "tank-12", "measures": "product"}]
    assert told["place"][0]["id"] == "tank-12"


def test_what_hangs_on_a_known_tank_needs_no_second_tank(served: Served, browse: Browse) -> None:
    heard(served, "t3-top")
    sheet = browse().page("/setup")
    assert "t3-top" in sheet and "[[place]]" not in sheet


def test_markup_in_what_a_probe_says_stays_text(served: Served, browse: Browse) -> None:
    now = served.clock()
    served.submit(Refusal("kura/reading/t12-mid", now, "no such probe", "<script>x</script>"))
    assert "<script>x" not in browse().page("/setup")


def test_with_every_probe_known_it_says_so(browse: Browse) -> None:
    assert "Every probe that spoke within a day is in the site file." in browse().page("/setup")


def in_ice(served: Served, values: list[float]) -> None:
    """Readings of tank 1's probe a minute apart, the last one now."""
    for value in values:
        served.pass_time(60.0)
        served.submit(Reading("t3-mid", served.clock(), value, served.clock()))


def test_a_steady_probe_in_ice_gets_its_offset(served: Served, browse: Browse) -> None:
    browser = browse()
    before = browser.page("/setup/ice/t3-mid")
    assert "not in ice yet" in before
    in_ice(served, [0.125, 0.1875, 0.125] * 5)
    sheet = browser.page("/setup/ice/t3-mid")
    assert "steady." in sheet and "offset = -0.12" in sheet
    assert "calibrated = 2026-02-04" in sheet


def test_a_probe_that_still_cools_waits(served: Served, browse: Browse) -> None:
    in_ice(served, [2.0 - 0.2 * minute for minute in range(10)])
    sheet = browse().page("/setup/ice/t3-mid")
    assert "not steady yet" in sheet and "offset =" not in sheet


def test_taking_it_out_leads_back_to_its_bath(served: Served, browse: Browse) -> None:
    answer = browse().tap("tank-3", entry="probe-out", back="setup/ice/t3-mid")
    assert answer.headers["location"].startswith("/setup/ice/t3-mid?")
    elsewhere = browse().tap("tank-3", entry="probe-in", back="setup/ice/../../evil")
    assert elsewhere.headers["location"].startswith("/place/tank-3?")


@pytest.mark.parametrize("probe", ["nobody", "ch1-power"])
def test_what_is_no_thermometer_has_no_ice_point(browse: Browse, probe: str) -> None:
    assert browse().get(f"/setup/ice/{probe}").status_code == 404


def test_a_test_message_reaches_the_phone_and_no_address_is_shown(
    served: Served, browse: Browse
) -> None:
    with Sink() as sink:
        addresses = {**served.settings.addresses, "aki": Addresses((sink.url("aki"),), ())}
        served.settings = dataclasses.replace(served.settings, addresses=addresses)
        browser = browse()
        answer = browser.post("/setup/test", data={"person": "aki", "token": browser.token()})
        assert answer.status_code == 200
        assert len(sink.got) == 1
    assert "accepted; now look at the phone" in answer.text and str(sink.port) not in answer.text


def test_without_its_token_nothing_is_sent(browse: Browse) -> None:
    assert browse().post("/setup/test", data={"person": "aki"}).status_code == 403


def test_a_first_file_can_be_read_as_it_is(served: Served, browse: Browse) -> None:
    heard(served, "t12-mid")
    browser = browse()
    form = {"name": "Kura", "zone": "Asia/Tokyo", "language": "ja", "token": browser.token()}
    answer = browser.post("/setup/site.toml", data=form)
    told = tomllib.loads(answer.text)
    assert told["site"]["name"] == "Kura"
    assert "t12-mid" in {probe["id"] for probe in told["probe"]}
    wrong = browser.post("/setup/site.toml", data={**form, "zone": "Mars/Olympus"})
    assert wrong.status_code == 422 and "Asia/Tokyo" in wrong.text


def test_only_who_manages_sets_up(served: Served, browse: Browse) -> None:
    served.with_accounts(account("mio", "log", hashed("rice and water")))
    browser = browse(at="https://kura.example")
    browser.sign_in("mio", "rice and water")
    assert browser.get("/setup").status_code == 403
    assert 'href="/setup"' not in browser.page("/")
