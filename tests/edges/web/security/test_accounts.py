"""Passwords: kept as argon2 lines, and tried with patience."""

from __future__ import annotations

import pytest

from kuraban.edges.web.security.accounts import (
    MOST_WRONG,
    WINDOW,
    Accounts,
    TooOften,
    hash_password,
)
from kuraban.settings import Account
from tests.passwords import hashed

RICE = hashed("rice and water")


class Clock:
    now = 1_770_000_000.0

    def __call__(self) -> float:
        return self.now


def accounts(clock: Clock) -> Accounts:
    return Accounts([Account("aki", "log", "Aki", "ja", RICE)], clock)


def test_name_and_password_open_the_account() -> None:
    """Both right, or nobody."""
    known = accounts(Clock())
    admitted = known.admit("aki", "rice and water", "10.0.0.5")
    assert admitted is not None and admitted.role == "log"
    assert known.admit("aki", "rice", "10.0.0.5") is None
    assert known.admit("mio", "rice and water", "10.0.0.5") is None
    assert known.admit("aki", "r" * 100_000, "10.0.0.5") is None


def test_the_line_is_argon2id_and_never_twice_the_same() -> None:
    """RFC 9106: a salt of its own for every line."""
    assert RICE.startswith("$argon2id$")
    assert hash_password("rice and water") != RICE


@pytest.mark.parametrize("password", ["", "short", "x" * 201])
def test_a_password_that_is_no_good_gets_no_line(password: str) -> None:
    """The message says how long one is."""
    with pytest.raises(ValueError, match="8 to 200"):
        hash_password(password)


def test_too_many_wrong_ones_make_an_address_wait() -> None:
    """Until the five minutes are over; the right one is not heard before either."""
    clock = Clock()
    known = Accounts([], clock)
    for _ in range(MOST_WRONG["address"]):
        assert known.admit("aki", "wrong", "10.0.0.9") is None
    with pytest.raises(TooOften) as often:
        known.admit("aki", "rice and water", "10.0.0.9")
    assert 0 < often.value.seconds <= WINDOW
    clock.now += WINDOW
    assert known.admit("aki", "wrong", "10.0.0.9") is None


def test_another_address_need_not_wait() -> None:
    """Whoever guesses from outside does not lock out the brewer at home."""
    known = accounts(Clock())
    for _ in range(MOST_WRONG["address"]):
        known.admit("aki", "wrong", "10.0.0.9")
    assert known.admit("aki", "rice and water", "10.0.0.5") is not None


def test_a_new_password_has_a_new_stamp() -> None:
    """By which sessions of the old one end."""
    known = accounts(Clock())
    old = Account("aki", "log", "Aki", "ja", RICE)
    new = Account("aki", "log", "Aki", "ja", hash_password("rice and koji"))
    assert known.stamp(old) != known.stamp(new)


def test_without_accounts_there_is_nobody_to_find() -> None:
    """The pages are then for this machine alone."""
    assert not Accounts([], Clock())
    assert accounts(Clock()).find(None) is None
