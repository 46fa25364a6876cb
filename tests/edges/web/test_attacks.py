"""What people with bad intentions try, each refused or made harmless."""

from __future__ import annotations

import dataclasses
import html

import pytest

from kuraban.core import entries as e
from kuraban.core.facts import Logged
from kuraban.core.views.snapshot import PlaceNow
from kuraban.edges.signing import Signer, Visit
from kuraban.settings import Account
from tests.edges.web import every
from tests.edges.web.conftest import HERE, KEY, Browse
from tests.edges.web.served import Served
from tests.passwords import hashed

MARKUP = [
    "<script>alert(1)</script>",
    '"><img src=x onerror=alert(1)>',
    "{{ 7*7 }}{% raw %}",
    "'; DROP TABLE entry; --",
    "</td></table><svg onload=alert(1)>",
    "javascript:alert(1)",
]

TRICKS = [
    "/static/../office.py", "/static/%2e%2e/office.py", "/static/..%2foffice.py",
    "/static/....//office.py", "/static//etc/passwd", "/static/%00", "/static/paper.css%00.html",
    "/place/..%2f..%2fetc%2fpasswd", "/place/%2e%2e", "/place/tank-1%00", "/place/tank-1/../../etc",
    "/static/..\\..\\office.py", "/api/v1/places/..%2f..%2fx/readings", "//elsewhere.example/",
]  # fmt: skip


@pytest.mark.parametrize("path", TRICKS)
def test_a_path_leads_nowhere_but_to_our_pages(browse: Browse, path: str) -> None:
    """No file of the machine, no code of ours, and no fault of the server."""
    answer = browse().get(f"{HERE}{path}")
    assert answer.status_code in (404, 422)
    assert "root:" not in answer.text and "import annotations" not in answer.text


@pytest.mark.parametrize("markup", MARKUP)
def test_markup_in_a_note_stays_text(browse: Browse, markup: str) -> None:
    """On the place's page, in the handover and in what the script is sent."""
    browser = browse()
    browser.tap("watch", entry="note", text=markup)
    browser.tap("tank-1", entry="note", text=markup)
    for path in ("/", "/place/tank-1"):
        text = browser.page(path)
        assert (
            html.escape(markup, quote=True).replace("&quot;", "&#34;").replace("&#x27;", "&#39;")
            in text
        )
        assert (
            "<script>alert" not in text and "<img src=x" not in text and "<svg onload" not in text
        )


@pytest.mark.parametrize("markup", MARKUP)
def test_markup_in_names_stays_text(served: Served, browse: Browse, markup: str) -> None:
    """Of a tank, a batch, a person; also where a refused form keeps what was typed."""
    snapshot = served.snapshot()
    places = tuple(_named(place, markup) for place in snapshot.places)
    browser = browse()
    served.seen(dataclasses.replace(snapshot, places=places, note=(markup, markup, snapshot.at)))
    refused = browser.tap("tank-1", entry="check", celsius=markup, form="check")
    assert refused.status_code == 422
    for text in (browser.page("/"), browser.page("/place/tank-1"), browser.page("/round"),
                 refused.text):  # fmt: skip
        assert (
            "<script>alert" not in text and "<img src=x" not in text and "<svg onload" not in text
        )


def _named(place: PlaceNow, name: str) -> PlaceNow:
    batch = place.batch and dataclasses.replace(place.batch, name=name, title=None)
    return dataclasses.replace(place, name=name, batch=batch)


@pytest.mark.parametrize("by", MARKUP)
def test_markup_in_who_did_it_stays_text(served: Served, browse: Browse, by: str) -> None:
    """From the broker anybody may write any name."""
    now = served.clock()
    served.submit(Logged("x", "tank-1", e.Stir(), now, now, by=by))
    text = browse().page("/place/tank-1")
    assert "<script>alert" not in text and "<img src=x" not in text and "<svg onload" not in text


@pytest.mark.parametrize("markup", MARKUP)
def test_markup_that_somebody_entered_is_markup_nowhere(
    served: Served, browse: Browse, markup: str
) -> None:
    """A batch's name, who began it, the face of the mash: on every page and in every curve."""
    now, browser = served.clock(), browse()
    for number, (place, entry) in enumerate((
        ("starter-1", e.BatchStart(batch=markup, title=markup, course="starter-sokujo-14")),
        ("tank-6", e.Look(foam=markup, text=markup)),
        ("tank-6", e.Note(text=markup)),
    )):  # fmt: skip
        served.submit(Logged(f"m-{number}", place, entry, now, now, by=markup))
    held: dict[str, str] = {}

    def there(address: str) -> bool:
        answer = browser.get(address, follow_redirects=True)
        held[address] = answer.text
        return answer.status_code == 200

    shapes = [*every.pages(), *every.curves()]
    assert all(every.addresses(served, KEY, there, shapes).values())
    for address, text in held.items():
        assert "<script>alert" not in text and "<img src=x" not in text, address
        assert "<svg onload" not in text and 'href="javascript' not in text, address


@pytest.mark.parametrize("shape", every.routes("POST"))
def test_no_form_is_taken_from_another_site_or_without_its_token(
    served: Served, browse: Browse, shape: str
) -> None:
    """None of all there are; a link from a message bears its own signature instead."""
    address, browser = next(every.filled(shape, served, KEY)), browse()
    before = served.engine.view.entry_log.version
    elsewhere = {"origin": "https://elsewhere.example"}
    token = {"token": browser.token(), "person": "aki", "name": "x"}
    assert browser.post(address, data=token, headers=elsewhere).status_code == 403
    if shape != "/a/{token}":
        told = {"entry": "stir", "person": "aki", "name": "x", "zone": "Asia/Tokyo",
                "language": "en"}  # fmt: skip
        sent = {"json": told} if "/api/" in shape else {"data": told}
        assert browser.post(address, **sent).status_code == 403
    assert served.engine.view.entry_log.version == before


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "https://elsewhere.example"},
        {"origin": "null"},
        {"sec-fetch-site": "cross-site"},
    ],
)
def test_another_site_posts_nothing(browse: Browse, headers: dict[str, str]) -> None:
    """Though the browser sends it with the right token and cookie."""
    browser = browse()
    form = {"entry": "stir", "token": browser.token()}
    assert browser.post("/log/tank-1", data=form, headers=headers).status_code == 403


@pytest.mark.parametrize("token", ["", "0" * 32, "x" * 5000, "櫂"])
def test_a_form_without_our_token_posts_nothing(served: Served, browse: Browse, token: str) -> None:
    """Nor with one that was guessed."""
    before = served.snapshot().place("tank-1")
    assert browse().tap("tank-1", entry="stir", token=token).status_code == 403
    assert served.snapshot().place("tank-1") == before


def test_a_token_of_another_visit_posts_nothing(browse: Browse) -> None:
    """Every visit has its own."""
    stolen = browse().token()
    mine = browse()
    mine.token()
    assert mine.tap("tank-1", entry="stir", token=stolen).status_code == 403


@pytest.mark.parametrize(
    "cookie",
    [
        "x",
        Signer("o" * 64).visit(Visit("n", 1_770_142_200.0, "aki")),
        Signer(KEY).visit(Visit("n", 1_770_142_200.0, "nobody", "stamp")),
        "W10.x" * 500,
    ],
)
def test_a_forged_cookie_is_nobody(served: Served, browse: Browse, cookie: str) -> None:
    """With accounts it leads to the entrance."""
    served.with_accounts(Account("aki", "manage", "Aki", None, hashed("rice and water")))
    answer = browse(at="https://kura.example").get("/", headers={"cookie": f"kuraban={cookie}"})
    assert answer.status_code == 303


def test_an_oversized_body_is_refused(browse: Browse) -> None:
    """Before anything reads it."""
    browser = browse()
    form = {"entry": "note", "token": browser.token(), "text": "x" * 70_000}
    assert browser.post("/log/tank-1", data=form).status_code == 413


def test_a_form_of_thousands_of_fields_is_refused(browse: Browse) -> None:
    """Sixty are more than any of ours has."""
    form = {f"f{number}": "1" for number in range(200)}
    assert browse().post("/log/tank-1", data=form).status_code in (400, 403)


def test_a_file_is_no_field(browse: Browse) -> None:
    """Nothing is uploaded here."""
    files = {"entry": ("a.txt", b"stir")}
    assert browse().post("/log/tank-1", files=files).status_code in (400, 403)


@pytest.mark.parametrize("name", ["evil\r\nset-cookie: x=1", "evil\nlocation: //elsewhere"])
def test_a_line_end_in_a_field_makes_no_header(browse: Browse, name: str) -> None:
    """Neither where a form leads back to, nor in its id."""
    browser = browse()
    answer = browser.tap("tank-1", entry="stir", id=name, back=name)
    assert answer.status_code == 422
    assert "set-cookie" not in answer.headers or "x=1" not in answer.headers["set-cookie"]


def test_the_way_back_is_one_of_ours(browse: Browse) -> None:
    """Whatever the form says."""
    answer = browse().tap("tank-1", entry="stir", back="https://elsewhere.example/")
    assert answer.headers["location"].startswith("/place/tank-1?")


def test_an_id_cannot_lead_elsewhere(browse: Browse) -> None:
    """It goes into the address of the page that follows, and is spelled out there."""
    answer = browse().tap("tank-1", entry="stir", id="a&of=x#y")
    assert "&of=x#" not in answer.headers["location"]


def test_an_entry_about_nothing_is_refused(browse: Browse) -> None:
    """The subject stands in the address, which anybody can write."""
    for subject in ("nowhere", "tank-1;x", "tank-1%20x"):
        assert browse().tap(subject, entry="stir").status_code in (404, 422)


def test_deep_json_is_refused(browse: Browse) -> None:
    """Thousands of brackets are no entry."""
    browser = browse()
    headers = {"x-kuraban-token": browser.token(), "content-type": "application/json"}
    deep = '{"entry": "note", "text": ' + "[" * 20_000 + "]" * 20_000 + "}"
    answer = browser.post("/api/v1/entries/tank-1", content=deep, headers=headers)
    assert answer.status_code in (400, 422)


def test_a_link_from_a_note_is_not_offered_to_take_back(browse: Browse) -> None:
    """Only an entry that was made here within the hour is, whatever the address says."""
    text = browse().page("/place/tank-1?told=made-up&of=tank-1")
    assert "made-up" not in text
