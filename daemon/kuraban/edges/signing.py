"""What the pages hand out and must know again: visits, form tokens, links in messages.

Everything is signed with one key and a salt of its own, so that nothing handed out for one purpose
serves another. Times are checked against the watch's clock, not the machine's.
"""

from __future__ import annotations

import hmac
from hashlib import blake2b
from typing import Any, Literal, NamedTuple

from itsdangerous import BadData, URLSafeSerializer

VISIT_LASTS = 30 * 86400.0
DEVICE_LASTS = 400 * 86400.0
"""As long as a browser keeps any cookie."""
LINK_LASTS = 12 * 3600.0
VERDICT_LASTS = 3 * 86400.0
Act = Literal["acknowledge", "let-run", "verdict"]


class Visit(NamedTuple):
    """One browser. `stamp` changes when the account's password does."""

    nonce: str
    since: float
    account: str | None = None
    stamp: str = ""
    who: str | None = None
    """Where there are no accounts: who they said they are."""
    language: str | None = None


class Device(NamedTuple):
    """A browser that has opened these accounts before: no stranger to them, whoever guesses."""

    mark: str
    since: float
    accounts: tuple[str, ...]


class Link(NamedTuple):
    """A button in a message: what one person may answer to one ring. `at` is the message's time.

    `verdict` is the morning's: was that ring worth it?
    """

    subject: str
    condition: str
    person: str
    act: Act
    at: float

    @property
    def lasts(self) -> float:
        return VERDICT_LASTS if self.act == "verdict" else LINK_LASTS


class Feed(NamedTuple):
    """One person's calendar of the work due. `mark` is another after each renewal."""

    person: str
    mark: str


class Signer:
    """Signs with one key and knows its own signatures again."""

    def __init__(self, key: str) -> None:
        self._key = key.encode()
        self._visits = URLSafeSerializer(key, salt="kuraban visit")
        self._devices = URLSafeSerializer(key, salt="kuraban device")
        self._links = URLSafeSerializer(key, salt="kuraban link")
        self._feeds = URLSafeSerializer(key, salt="kuraban feed")

    def visit(self, visit: Visit) -> str:
        return _text(self._visits.dumps(list(visit)))

    def read_visit(self, text: str, now: float) -> Visit | None:
        """The visit of a cookie; None for a forged or an old one."""
        visit: Visit | None = _read(self._visits, text, Visit)
        return visit if visit is not None and 0 <= now - visit.since + 60 < VISIT_LASTS else None

    def device(self, device: Device) -> str:
        return _text(self._devices.dumps(list(device)))

    def read_device(self, text: str, now: float) -> Device | None:
        """The device of a cookie; None for a forged or an old one."""
        device: Device | None = _read(self._devices, text, Device)
        return device if device is not None and now - device.since < DEVICE_LASTS else None

    def token(self, visit: Visit) -> str:
        """What every form of this visit carries, and no other site can know."""
        return hmac.new(self._key, f"form {visit.nonce}".encode(), "sha256").hexdigest()[:32]

    def fits(self, visit: Visit, token: str) -> bool:
        return hmac.compare_digest(self.token(visit).encode(), token.encode())

    def link(self, link: Link) -> str:
        return _text(self._links.dumps(list(link)))

    def read_link(self, text: str) -> Link | None:
        """The link of a token, None for a forged one; whether it is too old is asked apart."""
        link: Link | None = _read(self._links, text, Link)
        return link

    def feed(self, feed: Feed) -> str:
        return _text(self._feeds.dumps(list(feed)))

    def read_feed(self, text: str) -> Feed | None:
        """The feed of an address, None for a forged one; whether it is renewed is asked apart."""
        feed: Feed | None = _read(self._feeds, text, Feed)
        return feed


def entry_id(link: Link) -> str:
    """The id of the entry that this link makes: pressed twice, it is the same entry."""
    return f"link-{blake2b(repr(tuple(link)).encode(), digest_size=12).hexdigest()}"


def _text(signed: Any) -> str:
    return signed.decode() if isinstance(signed, bytes) else str(signed)


def _read(serializer: URLSafeSerializer, text: str, kind: Any) -> Any:
    try:
        return kind(*serializer.loads(text))
    except (BadData, TypeError, ValueError):
        return None
