"""A tap becomes an entry, once, and the page hears what became of it."""

from __future__ import annotations

import dataclasses
from datetime import UTC
from threading import Timer

import pytest

from kuraban.core.units import show_time
from kuraban.core.views.snapshot import Snapshot
from kuraban.edges.web.forms.submit_entry import fields_of
from kuraban.store.history import History
from tests.edges.web.conftest import Browse
from tests.edges.web.served import Served


def kinds(served: Served, subject: str) -> list[str]:
    history = History(served.path)
    told = history.entries(subject, served.clock() - 60, served.clock() + 60)
    found = [type(one.entry).__name__ for one in told]
    history.close()
    return found


def spelled(served: Served, **form: str) -> dict[str, object]:
    class PageContext:
        house = served.settings.house

    told: dict[str, object] = fields_of(form, PageContext)  # type: ignore[arg-type]
    return told


@pytest.mark.parametrize("typed", ["10.2", "１０．２", "10,2", " 10.2 ", "10.2℃", "10.2 °C"])
def test_degrees_are_read_as_people_type_them(lived: Served, typed: str) -> None:
    """Full-width digits, a decimal comma, a unit behind."""
    assert spelled(lived, entry="check", celsius=typed) == {"entry": "check", "celsius": 10.2}


def test_a_true_minus_is_a_minus(lived: Served) -> None:
    """SMV is often below zero."""
    assert spelled(lived, entry="sample", smv="−48")["smv"] == -48.0


def test_what_is_no_number_stays_as_typed(lived: Served) -> None:
    """The door says what would be right, and the page shows what was typed."""
    assert spelled(lived, entry="check", celsius="ten")["celsius"] == "ten"


def test_empty_fields_and_the_forms_own_say_nothing(lived: Served) -> None:
    """Weight need not be known, and the token is no part of an entry."""
    form = {"what": "rice", "kg": "", "token": "t", "back": "round", "form": "addition"}
    assert spelled(lived, entry="addition", **form) == {"entry": "addition", "what": "rice"}


def test_one_tap_stirs(served: Served, browse: Browse) -> None:
    """And the page it leads to takes it back with one tap."""
    browser = browse()
    answer = browser.tap("tank-1", entry="stir", id="tap-1")
    assert answer.status_code == 303
    assert answer.headers["location"] == "/place/tank-1?told=tap-1&of=tank-1"
    assert kinds(served, "tank-1") == ["Stir"]
    assert 'name="of" value="tap-1"' in browser.page(answer.headers["location"])
    stirred = served.snapshot().place("tank-1")
    assert stirred is not None and stirred.last_stir == served.clock()


def test_the_same_tap_twice_is_one_entry(served: Served, browse: Browse) -> None:
    """As when the Wi-Fi came back and the page was not sure."""
    browser = browse()
    for _ in range(2):
        assert browser.tap("tank-1", entry="stir", id="tap-1").status_code == 303
    assert kinds(served, "tank-1") == ["Stir"]


def test_a_stir_is_taken_back(served: Served, browse: Browse) -> None:
    """The last known stir is again the one before."""
    before = served.snapshot().place("tank-1")
    browser = browse()
    browser.tap("tank-1", entry="stir", id="tap-1")
    browser.tap("tank-1", entry="take-back", of="tap-1")
    after = served.snapshot().place("tank-1")
    assert before is not None and after is not None
    assert after.last_stir == before.last_stir
    assert "taken back" in browser.page("/place/tank-1")


def test_a_tap_kept_in_the_page_counts_from_when_it_was_made(
    served: Served, browse: Browse
) -> None:
    """Twenty minutes without Wi-Fi do not move the stir."""
    at = served.clock() - 1200
    browse().tap("tank-1", entry="stir", at=show_time(at, UTC))
    stirred = served.snapshot().place("tank-1")
    assert stirred is not None and stirred.last_stir == at


def test_what_the_batch_refuses_comes_back_with_what_was_typed(browse: Browse) -> None:
    """The reason is the watch's own."""
    answer = browse().tap("tank-1", entry="stage", stage="moromi", form="stage-moromi")
    assert answer.status_code == 422
    assert "began at" in answer.text


def test_what_was_refused_is_not_among_what_was_done(browse: Browse) -> None:
    """Neither on the page that says so, nor later, nor for programs."""
    browser = browse()
    before = browser.page("/place/tank-1").count("Main mash begins")
    answer = browser.tap("tank-1", entry="stage", stage="moromi", id="refused-1")
    assert answer.status_code == 422
    assert 'name="of" value="refused-1"' not in answer.text + browser.page("/place/tank-1")
    assert browser.page("/place/tank-1").count("Main mash begins") == before
    told = browser.get("/api/v1/entries/tank-1").json()
    assert "refused-1" not in [one["id"] for one in told]


def test_what_cannot_be_read_comes_back_as_it_was_typed(browse: Browse) -> None:
    """Never an empty field after an error."""
    answer = browse().tap("tank-1", entry="check", celsius="ten and a half", form="check")
    assert answer.status_code == 422
    assert 'value="ten and a half"' in answer.text
    assert "ten and a half cannot be read as a number (the temperature)" in answer.text


def test_a_script_is_told_in_json(browse: Browse) -> None:
    """Kept, or refused with the reason."""
    browser = browse()
    headers = {"accept": "application/json", "x-kuraban-token": browser.token()}
    kept = browser.post("/log/tank-1", data={"entry": "stir", "id": "a"}, headers=headers)
    assert kept.json() == {"id": "a", "state": "kept", "reason": ""}
    refused = browser.post("/log/tank-1", data={"entry": "stirr"}, headers=headers)
    assert refused.status_code == 422
    assert "stir" in refused.json()["reason"]


def test_a_watch_that_does_not_answer_loses_nothing(
    served: Served, browse: Browse, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The page says that it was handed over."""
    monkeypatch.setattr("kuraban.edges.web.forms.submit_entry.LOOKS", 1)
    monkeypatch.setattr(served, "submit", lambda fact: None)
    browser = browse()
    headers = {"accept": "application/json", "x-kuraban-token": browser.token()}
    answer = browser.post("/log/tank-1", data={"entry": "stir"}, headers=headers)
    assert (answer.status_code, answer.json()["state"]) == (202, "waiting")


def test_the_next_page_waits_for_the_picture_that_knows_of_the_tap(
    served: Served, browse: Browse
) -> None:
    """A picture may be later than the tap, and made before the watch had it."""
    browser, hang = browse(), served.seen
    before = served.snapshot()

    def late(picture: Snapshot) -> None:
        hang(dataclasses.replace(before, at=picture.at + 1.0))
        Timer(0.2, hang, [picture]).start()

    served.seen = late
    assert "stirred 03:10" not in browser.page("/")
    browser.tap("tank-3", entry="stir")
    assert "stirred 03:10" in browser.page("/")


def test_a_refused_answer_to_a_cooler_keeps_the_reason_typed(browse: Browse) -> None:
    """A cooler has no sheet of its own to come back to."""
    form = {"entry": "shelve", "condition": "stopped", "for": "13h", "reason": "being repaired"}
    answer = browse().tap("chiller-1", **form)
    assert answer.status_code == 422
    assert "being repaired" in answer.text and "at most 12h" in answer.text


@pytest.mark.parametrize(
    ("fields", "question"),
    [
        ({"entry": "check", "celsius": "99"}, "The probe reads"),
        ({"entry": "addition", "what": "rice", "kg": "90000"}, "do not fit a tank"),
    ],
)
def test_what_can_hardly_be_is_asked_about_once(
    served: Served, browse: Browse, fields: dict[str, str], question: str
) -> None:
    """What was typed stays, and written down once more it counts."""
    browser = browse()
    asked = browser.tap("tank-3", form=fields["entry"], **fields)
    assert asked.status_code == 422 and question in asked.text
    assert fields.get("celsius", fields.get("kg", "")) in asked.text
    assert 'name="sure"' in asked.text
    assert browser.tap("tank-3", form=fields["entry"], sure="1", **fields).status_code == 303
