"""What every page works with, and who is asking."""

from __future__ import annotations

import base64
import secrets
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Protocol, cast

import msgspec
from fastapi import Depends, Request

from kuraban.core.facts import Logged
from kuraban.core.fates.entry_authority import on_pages
from kuraban.core.site import House
from kuraban.core.texts.messages import Words
from kuraban.core.texts.why_text import SaidWhy
from kuraban.core.timescale import Pieces
from kuraban.core.views.batch_sheet import Archive
from kuraban.core.views.snapshot import Snapshot
from kuraban.edges.signing import Signer, Visit
from kuraban.edges.web.drawing.recent_curves import RecentCurves
from kuraban.edges.web.live.snapshot_hub import SnapshotHub
from kuraban.edges.web.security.accounts import Accounts, Role
from kuraban.edges.web.security.feed_marks import FeedMarks
from kuraban.edges.web.security.signed_out import SignedOut
from kuraban.edges.web.translator import Translator, choose

COOKIE, DEVICE = "kuraban", "kuraban-device"
TOKEN = "x-kuraban-token"
RENEW_AFTER = 86400.0
RANKS: dict[Role, int] = {"look": 0, "log": 1, "manage": 2}


class NotKnown(Exception):
    """Nobody is signed in; `wrong` where somebody tried and failed."""


class NotAllowed(Exception):
    """Somebody is signed in who may not do that, or the form is not one of ours."""


class NotTheirs(Exception):
    """Somebody is signed in, and somebody else made what they send."""


class NotYet(Exception):
    """The watch has hung no picture yet."""


class Address(Protocol):
    """One address of a person and what became of the test; `reason` is empty where it was taken."""

    @property
    def number(self) -> int: ...
    @property
    def rings(self) -> bool: ...
    @property
    def reason(self) -> str: ...


class Tools(Protocol):
    """What needs the settings: lines of a site file, and messages to phones."""

    def lines(self, probes: Sequence[str]) -> str: ...
    def first_file(self, name: str, zone: str, language: str, probes: Sequence[str]) -> str: ...
    def test(self, person: str, now: float) -> Sequence[Address]: ...


class Asked(Protocol):
    """Who lives through the journal to say why something rang or did not, from any thread.

    Unanswerable, or JournalError; whatever `go_on` raises stops it.
    """

    def ask(
        self, subject: str, at: float | None, now: float, language: str, go_on: Callable[[], None]
    ) -> tuple[SaidWhy, ...]: ...


class Clocked:
    """The house of the site file by the wall clock as the watch knows it."""

    def __init__(self, house: House) -> None:
        self._house = house

    def by(self, clock: Pieces) -> House:
        house = self._house
        if clock != house.clock:
            house = self._house = msgspec.structs.replace(house, clock=clock)
        return house


@dataclass(frozen=True, slots=True)
class PageContext:
    """`history` is the journal's path, `submit` hands a fact to the watch from any thread, `clock`
    tells the watch's own time."""

    clocked: Clocked
    words: Words
    hub: SnapshotHub
    history: Path
    submit: Callable[[Logged], None]
    clock: Callable[[], float]
    signer: Signer
    accounts: Accounts
    tools: Tools
    signed_out: SignedOut
    feeds: FeedMarks
    recent: RecentCurves
    encrypted: bool = False
    archive: Archive | None = None
    asked: Asked | None = None

    @property
    def house(self) -> House:
        snapshot = self.hub.snapshot
        return self.clocked.by(() if snapshot is None else snapshot.clock)

    def snapshot(self) -> Snapshot:
        snapshot = self.hub.snapshot
        if snapshot is None:
            raise NotYet
        return snapshot

    def books(self) -> Archive:
        if self.archive is None:
            raise NotYet
        return self.archive

    def translator(self, language: str, at: float | None = None) -> Translator:
        return Translator(self.words, language, self.house, self.clock() if at is None else at)


@dataclass(frozen=True, slots=True)
class Visitor:
    """Whoever is asking. `by` goes into their entries, None where nobody said who they are."""

    visit: Visit
    role: Role
    by: str | None
    language: str
    fresh: bool = False
    """The browser is to be given its cookie anew."""
    plain: bool = False
    """Came with name and password in the request itself, as programs do."""

    def may(self, role: Role) -> bool:
        return RANKS[self.role] >= RANKS[role]

    def may_make(self, fields: Mapping[str, Any]) -> bool:
        """The entry that these fields spell; whether alone, the watch says."""
        return self.may(on_pages(fields))


def context(request: Request) -> PageContext:
    return cast(PageContext, request.app.state.context)


Context = Annotated[PageContext, Depends(context)]


def anybody(request: Request, context: Context) -> Visitor:
    """The visitor, let in or not."""
    now = context.clock()
    visit = context.signer.read_visit(request.cookies.get(COOKIE, ""), now)
    if visit is not None and visit.nonce in context.signed_out:
        visit = None
    old = visit is None or now - visit.since > RENEW_AFTER
    visit = visit or Visit(secrets.token_urlsafe(12), now)
    if old:
        visit = visit._replace(since=now)
    asked = request.query_params.get("lang")
    if asked in context.words.catalogue and asked != visit.language:
        visit, old = visit._replace(language=asked), True
    account = context.accounts.find(visit.account)
    if account is not None and visit.stamp != context.accounts.stamp(account):
        account = None
    told = _basic(request) if account is None and context.accounts else None
    if told is not None:
        account = context.accounts.admit(*told, address(request))
    role: Role = "look" if context.accounts else "manage"
    language = choose(
        (visit.language, None if account is None else account.language),
        request.headers.get("accept-language", ""),
        tuple(context.words.catalogue),
        context.house.site.language,
    )
    return Visitor(
        visit=visit._replace(account=None if account is None or told is not None else account.id),
        role=role if account is None else account.role,
        by=(visit.who if not context.accounts else None) if account is None else account.id,
        language=language,
        fresh=old and told is None,
        plain=told is not None and account is not None,
    )


Anybody = Annotated[Visitor, Depends(anybody)]


def somebody(visitor: Anybody, context: Context) -> Visitor:
    """A visitor who may look; NotKnown for others."""
    if context.accounts and visitor.by is None:
        raise NotKnown
    return visitor


Somebody = Annotated[Visitor, Depends(somebody)]


def check_token(context: PageContext, visitor: Visitor, token: str | None) -> None:
    """NotAllowed unless the form, or the program, is one of ours."""
    if not visitor.plain and not context.signer.fits(visitor.visit, token or ""):
        raise NotAllowed


def address(request: Request) -> str:
    return request.client.host if request.client is not None else ""


def _basic(request: Request) -> tuple[str, str] | None:
    scheme, _, held = request.headers.get("authorization", "").partition(" ")
    if scheme.lower() != "basic":
        return None
    try:
        name, colon, password = base64.b64decode(held, validate=True).decode().partition(":")
    except ValueError:  # no base64, or no text in it
        return "", ""
    return (name, password) if colon else ("", "")
