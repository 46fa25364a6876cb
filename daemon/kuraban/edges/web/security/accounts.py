"""Who may use the pages: argon2 lines, and patience with wrong passwords.

Checking a password is made dear on purpose (argon2, RFC 9106), in time and in memory, so one is
checked at a time, and few wait for it. An unknown account costs as much as a known one.

Whoever guesses has to wait, and nobody else: wrong passwords count against the address that they
came from. An account as a whole is closed for a while only to strangers: not in the house's own
network, and not to a device on which it was opened before, which bears a signed mark of that and
counts for itself alone.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from hashlib import blake2b
from typing import Literal, Protocol

from argon2 import PasswordHasher
from argon2.exceptions import Argon2Error, InvalidHashError

from kuraban.edges.web.security.addresses import in_house, network

Role = Literal["look", "log", "manage"]
WINDOW = 300.0
MOST_WRONG = {"address": 10, "account": 50, "device": 10}
MOST_WAITING = 8
"""Strangers, and as many others, who wait for their password to be checked."""
LONGEST_WAIT = 5.0
LONGEST, SHORTEST = 200, 8
_KNOWN = 2000


class Account(Protocol):
    @property
    def id(self) -> str: ...
    @property
    def role(self) -> Role: ...
    @property
    def name(self) -> str: ...
    @property
    def language(self) -> str | None: ...
    @property
    def password(self) -> str: ...


class TooOften(Exception):
    """Too many wrong passwords; `seconds` until another try is heard."""

    def __init__(self, seconds: float) -> None:
        super().__init__(seconds)
        self.seconds = seconds


def hash_password(password: str) -> str:
    """The argon2id line for the site file; ValueError for a password that is no good."""
    if not SHORTEST <= len(password) <= LONGEST:
        raise ValueError(f"a password has {SHORTEST} to {LONGEST} characters")
    return PasswordHasher().hash(password)


class Accounts:
    """The accounts of a house. Without any, everybody who reaches the pages is let in."""

    def __init__(self, accounts: Sequence[Account], clock: Callable[[], float]) -> None:
        self._accounts = {account.id: account for account in accounts}
        self._clock = clock
        self._hasher = PasswordHasher()
        self._stranger: str | None = None
        self._one = threading.Lock()
        self._places = {known: threading.Semaphore(MOST_WAITING) for known in (True, False)}
        """To wait in, for those whom the house knows and for strangers."""
        self._wrong: dict[tuple[str, str], deque[float]] = {}

    def __bool__(self) -> bool:
        return bool(self._accounts)

    def find(self, account: str | None) -> Account | None:
        return None if account is None else self._accounts.get(account)

    def stamp(self, account: Account) -> str:
        """Changes with the password, so that a new one ends the old one's sessions."""
        return blake2b(account.password.encode(), digest_size=8).hexdigest()

    def admit(
        self, name: str, password: str, address: str, device: str | None = None
    ) -> Account | None:
        """The account that name and password open, None if they open none; TooOften.

        `device` is the mark of one on which this account was opened before.
        """
        home = in_house(address)
        keys = _counted(name[:LONGEST], address, home, device)
        self._patience(keys)
        with self._turn(home or device is not None):
            self._patience(keys)  # of those who came together, each is counted before the next
            account = self._accounts.get(name)
            if self._verified(account, password):
                return account
            self._forget()
            for key in keys:
                self._wrong.setdefault(key, deque(maxlen=MOST_WRONG[key[0]])).append(self._clock())
        return None

    @contextmanager
    def _turn(self, known: bool) -> Iterator[None]:
        """One at a time; TooOften where too many wait, or one waits too long."""
        if not self._places[known].acquire(blocking=False):
            raise TooOften(1.0)
        try:
            if not self._one.acquire(timeout=LONGEST_WAIT):
                raise TooOften(LONGEST_WAIT)
            try:
                yield
            finally:
                self._one.release()
        finally:
            self._places[known].release()

    def _verified(self, account: Account | None, password: str) -> bool:
        if len(password) > LONGEST:
            return False
        if account is None and self._stranger is None:
            self._stranger = self._hasher.hash("nobody's password")
        line = self._stranger if account is None else account.password
        try:
            return self._hasher.verify(line or "", password) and account is not None
        except (Argon2Error, InvalidHashError):
            return False

    def _patience(self, keys: Sequence[tuple[str, str]]) -> None:
        now = self._clock()
        for kind, name in keys:
            wrong = tuple(self._wrong.get((kind, name), ()))  # others may count meanwhile
            recent = [at for at in wrong if now - at < WINDOW]
            if len(recent) >= MOST_WRONG[kind]:
                raise TooOften(recent[-MOST_WRONG[kind]] + WINDOW - now)

    def _forget(self) -> None:
        now = self._clock()
        if len(self._wrong) > _KNOWN:
            self._wrong = {k: w for k, w in self._wrong.items() if now - w[-1] < WINDOW}


def _counted(
    name: str, address: str, home: bool, device: str | None
) -> tuple[tuple[str, str], ...]:
    """Against what a wrong password counts."""
    if device is not None:
        return (("device", device),)
    one = ("address", network(address))
    return (one,) if home else (one, ("account", name))
