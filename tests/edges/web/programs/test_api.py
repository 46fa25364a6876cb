"""The same data for programs."""

from __future__ import annotations

import csv
import io
import json

import pytest

from kuraban.core import entries as e
from kuraban.core.facts import Logged
from kuraban.core.units import parse_time
from kuraban.store.history import History
from tests.edges.web.conftest import Browse
from tests.edges.web.served import Served

HOUR = {"start": "2026-02-04T02:00:00+09:00", "end": "2026-02-04T03:00:00+09:00"}


def test_the_picture_is_what_the_pages_show(served: Served, browse: Browse) -> None:
    """Places, rings, who is on."""
    told = browse().get("/api/v1/picture").json()
    assert [place["id"] for place in told["places"]] == [p.id for p in served.settings.house.places]
    assert {ring["subject"] for ring in told["rings"]} >= {"chiller-1"}
    assert told["at"] == served.clock()


@pytest.mark.parametrize("kind", ["json", "csv", "jsonl"])
def test_a_range_of_readings_comes_whole(served: Served, browse: Browse, kind: str) -> None:
    """The same rows in each form, as the journal holds them."""
    answer = browse().get("/api/v1/places/tank-3/readings", params={**HOUR, "format": kind})
    assert answer.status_code == 200
    rows = {
        "json": lambda text: json.loads(text),
        "jsonl": lambda text: [json.loads(line) for line in text.splitlines()],
        "csv": lambda text: list(csv.DictReader(io.StringIO(text))),
    }[kind](answer.text)
    history = History(served.path)
    start, end = parse_time(HOUR["start"]), parse_time(HOUR["end"])
    held = [value for _, value in history.readings("t3-mid", start, end)]
    history.close()
    assert [float(row["value"]) for row in rows if row["probe"] == "t3-mid"] == held


def test_an_empty_range_is_an_empty_list(browse: Browse) -> None:
    """Not an error: nobody measured in that year."""
    span = {"start": "2021-02-04T02:00:00Z", "end": "2021-02-04T03:00:00Z"}
    assert browse().get("/api/v1/places/tank-3/readings", params=span).json() == []


def test_a_plus_that_became_a_space_is_understood(browse: Browse) -> None:
    """As it does in an address that was not encoded."""
    answer = browse().get(
        "/api/v1/places/tank-3/readings?start=2026-02-04T02:00:00+09:00&end=1770141600"
    )
    assert answer.status_code == 200 and answer.json()


@pytest.mark.parametrize(
    ("path", "status", "word"),
    [
        ("/api/v1/places/tank-99/readings", 404, "tank-99"),
        ("/api/v1/places/TANK/readings", 422, "place"),
        ("/api/v1/places/tank-3/readings?start=yesterday", 422, "not a time"),
        ("/api/v1/places/tank-3/readings?start=5&end=1", 422, "start lies after"),
        ("/api/v1/places/tank-3/readings?start=1", 422, "400 days"),
        ("/api/v1/places/tank-3/readings?start=nan", 422, "not a time"),
        ("/api/v1/places/tank-3/readings?format=xml", 422, "format"),
        ("/api/v1/entries/nowhere", 404, "nowhere"),
    ],
)
def test_a_wrong_question_is_told_what_would_be_right(
    browse: Browse, path: str, status: int, word: str
) -> None:
    """In JSON, as programs ask."""
    answer = browse().get(path)
    assert answer.status_code == status
    assert word in answer.json()["detail"]


def test_an_entry_is_told_and_read_back(browse: Browse) -> None:
    """With the token of a page, and its fields as they were sent."""
    browser = browse()
    headers = {"x-kuraban-token": browser.token()}
    entry = {"entry": "addition", "what": "rice", "kg": 420, "id": "a1"}
    told = browser.post("/api/v1/entries/tank-1", json=entry, headers=headers)
    assert (told.status_code, told.json()["state"]) == (200, "kept")
    (back,) = [e for e in browser.get("/api/v1/entries/tank-1").json() if e["id"] == "a1"]
    assert back["entry"] == {"entry": "addition", "what": "rice", "kg": 420.0}


def test_what_became_of_an_entry_is_told_and_why(served: Served, browse: Browse) -> None:
    """Of all of them: done, refused for good, and taken back by whom."""
    now = served.clock()
    for number, (entry, by) in enumerate(
        [(e.Stir(), "mio"), (e.StageMark(stage="moromi"), "aki"), (e.TakeBack(of="o0"), "aki")]
    ):
        served.submit(Logged(f"o{number}", "tank-1", entry, now - 1 + number / 10, now, by))
    told = {one["id"]: one for one in browse().get("/api/v1/outcomes/tank-1").json()}
    stir, stage = told["o0"], told["o1"]
    assert (stir["fate"], stir["cause"], stir["who"]) == ("taken-back", "o2", "aki")
    assert stir["entry"] == {"entry": "stir"} and stir["since"] >= stir["at"]
    assert stage["fate"] == "refused" and "began at" in stage["reason"]
    assert told["o2"]["fate"] == "counted"


def test_an_entry_that_waits_is_kept_and_says_so(browse: Browse) -> None:
    browser = browse()
    headers = {"x-kuraban-token": browser.token()}
    entry = {"entry": "let-run", "for": "2h", "more": 9, "who": "mio", "id": "w1"}
    told = browser.post("/api/v1/entries/tank-1", json=entry, headers=headers).json()
    assert (told["state"], told["fate"]) == ("kept", "waiting")
    done = browser.get("/api/v1/entries/tank-1").json()
    assert "w1" not in [one["id"] for one in done]


@pytest.mark.parametrize("body", ["[]", '"stir"', "{", "", "null"])
def test_what_is_no_entry_is_refused(browse: Browse, body: str) -> None:
    """Never a fault of the server."""
    browser = browse()
    headers = {"x-kuraban-token": browser.token(), "content-type": "application/json"}
    assert browser.post("/api/v1/entries/tank-1", content=body, headers=headers).status_code == 422


def test_the_document_describes_every_path(browse: Browse) -> None:
    """OpenAPI 3.1, without the pages themselves."""
    document = browse().get("/api/v1/openapi.json").json()
    assert document["openapi"].startswith("3.1")
    assert set(document["paths"]) == {
        "/api/v1/picture", "/api/v1/places/{place}/readings", "/api/v1/entries/{subject}",
        "/api/v1/outcomes/{subject}",
        "/api/v1/batches", "/api/v1/batches/{place}/{key}", "/api/v1/koji", "/api/v1/coolers",
        "/api/v1/coolers/{cooler}/days", "/api/v1/places/{place}/hours",
        "/api/v1/places/{place}/plan", "/api/v1/batches/{place}/{key}/beside",
        "/api/v1/why/{subject}", "/api/v1/due", "/api/v1/way",
    }  # fmt: skip
