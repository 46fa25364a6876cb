"""Who may do what through the pages: every cell of the table, tried at the door."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import msgspec
import pytest
from argon2 import PasswordHasher

from kuraban.core import entries as e
from kuraban.core.facts import HouseChanged, Logged
from kuraban.core.fates.entry_authority import (
    MANAGES,
    Maker,
    Touch,
    alone,
    printed,
    printed_roles,
)
from kuraban.core.site import to_document
from kuraban.core.units import HOUR, show_time
from kuraban.edges.web.page_context import RANKS
from kuraban.settings import Account
from kuraban.store.history import History
from tests.edges.web.conftest import Browse, Browser
from tests.edges.web.served import Served

AT = "https://kura.example"
WORD = "rice and water"
LINE = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1).hash(WORD)
WIRE = Path(__file__).parents[2] / "shared" / "wire.md"
ACCOUNTS = {
    "look": Account("guest", "look", "Guest", None, LINE),
    "log": Account("mio", "log", "Mio", None, LINE),
    "log, the brewer": Account("sho", "log", "Sho", None, LINE),
    "manage": Account("boss", "manage", "Boss", None, LINE),
}
Way = Callable[[Browser, str, dict[str, object]], int]
Made = tuple[str, dict[str, object]]


@pytest.fixture(autouse=True)
def guarded(served: Served) -> None:
    """The house of before, and who manages it on the pages."""
    served.with_accounts(*ACCOUNTS.values())
    house = msgspec.structs.replace(served.settings.house, managers=("boss",))
    served.submit(HouseChanged(served.clock(), to_document(house)))


def started(served: Served) -> str:
    """The id of the entry that brought the batch of tank 3 there."""
    history = History(served.path)
    found = list(history.entries("tank-3", 0, 1e12))
    history.close()
    return next(one.id for one in found if isinstance(one.entry, e.BatchStart))


def making(touch: Touch, served: Served) -> list[Made]:
    """Entries that do just this: what is made, and what a correction makes of another."""
    now, zone = served.clock(), served.settings.house.zone
    in_nine = show_time(now + 9 * HOUR, zone)
    match touch:
        case Touch.NOTHING:
            return [("tank-3", {"entry": "stir"})]
        case Touch.OUT_OF_SERVICE:
            return [("tank-3", {"entry": "out-of-service"})]
        case Touch.ENDS_EARLY:
            return [("tank-3", {"entry": "batch-end"}), amended("batch-end", served)]
        case Touch.STAGE_OUT_OF_TURN:
            return [("tank-3", {"entry": "stage", "stage": "soe"})]
        case Touch.UNDOES_START:
            of = started(served)
            return [("tank-3", {"entry": "take-back", "of": of}),
                    ("tank-3", {"entry": "amend", "of": of, "batch": "99"})]  # fmt: skip
        case Touch.LONG_SHELF:
            shelf = {"condition": "warm", "for": "12h"}
            return [("tank-3", {"entry": "shelve", **shelf}), amended("shelve", served, **shelf)]
        case Touch.LETS_RUN_FAR:
            far = {"for": "12h", "more": 20.0}
            return [("tank-3", {"entry": "let-run", **far}), amended("let-run", served, **far)]
        case Touch.PLANS_FAR:
            hot = {"celsius": 50.0, "by": in_nine}
            return [("tank-3", {"entry": "aim", **hot}), amended("aim", served, **hot)]
        case Touch.LAST_PROBE:
            return [("t3-mid", {"entry": "out-of-service"})]
        case Touch.BREWERS_DUTY:
            swap = {"from": "aki", "to": "mio", "day": "2026-02-05"}
            return [("watch", {"entry": "duty-swap", **swap})]


def amended(kind: str, served: Served, **fields: object) -> Made:
    """A note of mio's that becomes such an entry."""
    now = served.clock()
    served.submit(Logged("slip", "tank-3", e.Note(text="frost"), now, now, by="mio"))
    return "tank-3", {"entry": "amend", "of": "slip", "fields": {"entry": kind, **fields}}


def by_api(browser: Browser, subject: str, fields: dict[str, object]) -> int:
    headers = {"x-kuraban-token": browser.token()}
    return browser.post(f"/api/v1/entries/{subject}", json=fields, headers=headers).status_code


def by_tap(browser: Browser, subject: str, fields: dict[str, object]) -> int:
    """As a form sends it; what would be asked back is meant."""
    told = {name: str(value) for name, value in fields.items()}
    return browser.tap(subject, sure="1", **told).status_code


def became(served: Served, subject: str, entry_id: str) -> str | None:
    history = History(served.path)
    told = history.told_of(subject, entry_id)
    history.close()
    return None if told is None or told.outcome is None else told.outcome.fate


def wanted(touch: Touch, who: str, fields: dict[str, object]) -> str | None:
    """What the table says of it: refused at the door, waiting, or counted."""
    inner = fields.get("fields")
    kinds = {fields["entry"], inner["entry"] if isinstance(inner, dict) else None}
    if who == "look" or (who != "manage" and kinds & MANAGES):
        return None
    maker = Maker.NAMED if who == "log" else Maker.BREWER
    return "counted" if alone(touch, maker) else "waiting"


@pytest.mark.parametrize("way", [by_api, by_tap])
@pytest.mark.parametrize("who", ACCOUNTS)
@pytest.mark.parametrize("touch", Touch, ids=lambda touch: touch.name)
def test_each_cell_is_as_the_table_says(
    served: Served, browse: Browse, touch: Touch, who: str, way: Way
) -> None:
    """Made outright and by a correction, through a form and as a program."""
    account = ACCOUNTS[who]
    browser = browse(at=AT)
    browser.sign_in(account.id, WORD)
    for number, (subject, fields) in enumerate(making(touch, served)):
        if way is by_tap and "fields" in fields:
            continue  # no form amends into another kind
        told = {**fields, "id": f"made-{number}"}
        status, fate = way(browser, subject, told), became(served, subject, f"made-{number}")
        assert fate == wanted(touch, who, fields), (fields, status)
        assert (status == 403) is (fate is None)
        if fate == "counted":
            break  # the next one would meet another house


@pytest.mark.parametrize("who", ACCOUNTS)
@pytest.mark.parametrize("kind", sorted(MANAGES))
def test_who_does_not_manage_makes_none_of_what_managing_is(
    served: Served, browse: Browse, kind: str, who: str
) -> None:
    """Whatever else is in it, and what a correction would make of it."""
    browser = browse(at=AT)
    browser.sign_in(ACCOUNTS[who].id, WORD)
    may = ACCOUNTS[who].role == "manage"
    correction = {"entry": "amend", "of": "none", "fields": {"entry": kind}}
    for fields in ({"entry": kind}, correction):
        assert (by_api(browser, "tank-1", fields) == 403) is not may, fields


def test_an_answer_by_link_is_a_person_s_and_no_manager_s() -> None:
    """Links make three kinds of entries, and none of them takes a manager."""
    assert not MANAGES & {"acknowledge", "let-run", "verdict"}
    assert list(RANKS) == ["look", "log", "manage"]


def test_the_table_is_printed_where_people_read_it() -> None:
    """`python -m kuraban.core.fates.entry_authority` prints it anew."""
    text = WIRE.read_text("utf-8")
    assert printed() in text and printed_roles() in text
