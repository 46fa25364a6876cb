"""What every page works with, and who is asking."""

from __future__ import annotations

import base64
import binascii
import secrets
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Protocol, cast

from fastapi import Depends, Request

from kuraban.core.facts import Logged
from kuraban.core.picture import Picture
from kuraban.core.sheet import Archive
from kuraban.core.site import House
from kuraban.core.wording import Words
from kuraban.edges.pages.accounts import Accounts, Role
from kuraban.edges.pages.board import PictureBoard
from kuraban.edges.pages.tongue import Tongue, choose
from kuraban.edges.signing import Signer, Visit

COOKIE = "kuraban"
TOKEN = "x-kuraban-token"
RENEW_AFTER = 86400.0
RANKS: dict[Role, int] = {"look": 0, "log": 1, "manage": 2}
MANAGES = frozenset(
    {"batch-start", "batch-end", "move", "split", "merge", "out-of-service", "in-service"}
)
"""Entries that take the role `manage`."""


class NotKnown(Exception):
    """Nobody is signed in; `wrong` where somebody tried and failed."""


class NotAllowed(Exception):
    """Somebody is signed in who may not do that, or the form is not one of ours."""


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


@dataclass(frozen=True, slots=True)
class Office:
    """`history` is the journal's path, `submit` hands a fact to the watch from any thread."""

    house: House
    words: Words
    board: PictureBoard
    history: Path
    submit: Callable[[Logged], None]
    clock: Callable[[], float]
    signer: Signer
    accounts: Accounts
    tools: Tools
    encrypted: bool = False
    archive: Archive | None = None

    def picture(self) -> Picture:
        picture = self.board.picture
        if picture is None:
            raise NotYet
        return picture

    def books(self) -> Archive:
        if self.archive is None:
            raise NotYet
        return self.archive

    def tongue(self, language: str, at: float | None = None) -> Tongue:
        return Tongue(self.words, language, self.house, self.clock() if at is None else at)


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
    """Came with name and pass-word in the request itself, as programs do."""

    def may(self, role: Role) -> bool:
        return RANKS[self.role] >= RANKS[role]

    def may_log(self, entry: str) -> bool:
        return self.may("manage" if entry in MANAGES else "log")


def office(request: Request) -> Office:
    return cast(Office, request.app.state.office)


TheOffice = Annotated[Office, Depends(office)]


def anybody(request: Request, office: TheOffice) -> Visitor:
    """The visitor, let in or not."""
    now = office.clock()
    visit = office.signer.read_visit(request.cookies.get(COOKIE, ""), now)
    old = visit is None or now - visit.since > RENEW_AFTER
    visit = visit or Visit(secrets.token_urlsafe(12), now)
    if old:
        visit = visit._replace(since=now)
    asked = request.query_params.get("lang")
    if asked in office.words.catalogue and asked != visit.language:
        visit, old = visit._replace(language=asked), True
    account = office.accounts.find(visit.account)
    if account is not None and visit.stamp != office.accounts.stamp(account):
        account = None
    told = _basic(request) if account is None and office.accounts else None
    if told is not None:
        account = office.accounts.admit(*told, address(request))
    role: Role = "look" if office.accounts else "manage"
    language = choose(
        (visit.language, None if account is None else account.language),
        request.headers.get("accept-language", ""),
        tuple(office.words.catalogue),
        office.house.site.language,
    )
    return Visitor(
        visit=visit._replace(account=None if account is None or told is not None else account.id),
        role=role if account is None else account.role,
        by=(visit.who if not office.accounts else None) if account is None else account.id,
        language=language,
        fresh=old and told is None,
        plain=told is not None and account is not None,
    )


Anybody = Annotated[Visitor, Depends(anybody)]


def somebody(visitor: Anybody, office: TheOffice) -> Visitor:
    """A visitor who may look; NotKnown for others."""
    if office.accounts and visitor.by is None:
        raise NotKnown
    return visitor


Somebody = Annotated[Visitor, Depends(somebody)]


def check_token(office: Office, visitor: Visitor, token: str | None) -> None:
    """NotAllowed unless the form, or the program, is one of ours."""
    if not visitor.plain and not office.signer.fits(visitor.visit, token or ""):
        raise NotAllowed


def address(request: Request) -> str:
    return request.client.host if request.client is not None else ""


def _basic(request: Request) -> tuple[str, str] | None:
    scheme, _, held = request.headers.get("authorization", "").partition(" ")
    if scheme.lower() != "basic":
        return None
    try:
        name, colon, password = base64.b64decode(held, validate=True).decode().partition(":")
    except (binascii.Error, UnicodeDecodeError):
        return "", ""
    return (name, password) if colon else ("", "")
