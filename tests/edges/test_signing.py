"""What the pages hand out is known again, and nothing else is."""

from __future__ import annotations

from kuraban.edges.signing import (
    DEVICE_LASTS,
    VISIT_LASTS,
    Device,
    Feed,
    Link,
    Signer,
    Visit,
    entry_id,
)

SIGNER = Signer("k" * 64)
OTHER = Signer("o" * 64)
LINK = Link("tank-5", "warm", "aki", "acknowledge", 1_770_126_300.0)
NOON = 1_770_087_600.0


def test_a_link_is_known_again() -> None:
    """It carries the alarm, the person, what it does and when the message went."""
    assert SIGNER.read_link(SIGNER.link(LINK)) == LINK


def test_a_forged_link_is_nobodys() -> None:
    """Signed with another key, changed in one letter, or no link at all."""
    token = SIGNER.link(LINK)
    assert SIGNER.read_link(OTHER.link(LINK)) is None
    assert SIGNER.read_link(token[:-1] + ("A" if token[-1] != "A" else "B")) is None
    assert SIGNER.read_link("") is None


def test_a_visit_is_no_link() -> None:
    """What was signed for one purpose serves no other."""
    assert SIGNER.read_link(SIGNER.visit(Visit("n", NOON))) is None
    assert SIGNER.read_visit(SIGNER.link(LINK), NOON) is None


def test_a_visit_ends_after_a_month() -> None:
    """By the watch's clock; one from the future is none either."""
    cookie = SIGNER.visit(Visit("n", NOON, "aki", "stamp"))
    assert SIGNER.read_visit(cookie, NOON + VISIT_LASTS - 61) is not None
    assert SIGNER.read_visit(cookie, NOON + VISIT_LASTS) is None
    assert SIGNER.read_visit(cookie, NOON - 3600) is None


def test_a_device_is_known_for_a_year_and_more() -> None:
    """And is no visit: it opens nothing by itself."""
    cookie = SIGNER.device(Device("m", NOON, ("aki", "mio")))
    known = SIGNER.read_device(cookie, NOON + DEVICE_LASTS - 1)
    assert known is not None and known.mark == "m" and "mio" in known.accounts
    assert SIGNER.read_device(cookie, NOON + DEVICE_LASTS) is None
    assert OTHER.read_device(cookie, NOON) is None and SIGNER.read_visit(cookie, NOON) is None


def test_a_form_token_belongs_to_one_visit() -> None:
    """Another visit's token does not fit, nor does an empty one."""
    mine, theirs = Visit("mine", NOON), Visit("theirs", NOON)
    assert SIGNER.fits(mine, SIGNER.token(mine))
    assert not SIGNER.fits(mine, SIGNER.token(theirs))
    assert not SIGNER.fits(mine, "")
    assert not SIGNER.fits(mine, "櫂入れ")


def test_one_link_makes_one_entry() -> None:
    """Pressed twice it is the same; the other button of the message is another."""
    assert entry_id(LINK) == entry_id(Link(*LINK))
    assert entry_id(LINK) != entry_id(LINK._replace(act="let-run"))


def test_a_calendars_address_is_good_for_nothing_else() -> None:
    """Nor is another's signature one of it."""
    feed = Feed("mio", "mark")
    assert SIGNER.read_feed(SIGNER.feed(feed)) == feed
    assert (
        SIGNER.read_feed(SIGNER.link(LINK)) is None and OTHER.read_feed(SIGNER.feed(feed)) is None
    )
    assert SIGNER.read_link(SIGNER.feed(feed)) is None
