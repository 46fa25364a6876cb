"""Who has waited longest goes, and nobody waits for ever."""

from __future__ import annotations

import socket

import pytest
import uvicorn

from kuraban.edges.web.security import connections
from kuraban.edges.web.security.connections import (
    HEAD_WITHIN,
    MOST,
    OF_ONE,
    OURS,
    Caller,
    Server,
)

STRANGER, DESK = "203.0.113.7", "192.168.1.5"


class Working(Caller):
    """One whose request is at work."""

    at_work = True  # type: ignore[assignment]


@pytest.fixture
def server() -> Server:
    async def nothing(*_: object) -> None:
        """No page is asked for here."""

    return Server(uvicorn.Config(nothing, log_config=None), socket.socket(), ())


def come(server: Server, address: str, at: float, kind: type[Caller] = Caller) -> Caller | None:
    caller = kind(address, connections.in_house(address), at)
    if not server._place_for(caller):
        return None
    server._callers.add(caller)
    return caller


def there(server: Server, ours: bool) -> int:
    return sum(one.ours == ours for one in server._callers)


def many(count: int) -> list[str]:
    return [f"198.51.{number // 250}.{number % 250}" for number in range(count)]


def test_of_one_address_the_longest_waiting_goes(server: Server) -> None:
    first = come(server, STRANGER, 0.0)
    others = [come(server, STRANGER, 1.0 + number) for number in range(OF_ONE)]
    assert None not in others and len(server._callers) == OF_ONE
    assert first not in server._callers and others[-1] in server._callers


def test_an_address_whose_places_are_all_at_work_gets_no_more(server: Server) -> None:
    for number in range(OF_ONE):
        assert come(server, STRANGER, number, Working)
    assert come(server, STRANGER, 99.0) is None
    assert come(server, "203.0.113.8", 99.0)


def test_strangers_leave_the_house_its_part(server: Server) -> None:
    """However many addresses they have, and whatever was there first."""
    for at, address in enumerate(many(MOST)):
        assert come(server, address, at)
    for number in range(OURS):
        assert come(server, DESK, 1000.0 + number)
    for at, address in enumerate(many(2 * MOST)):
        assert come(server, address, 2000.0 + at)
    assert (there(server, ours=True), len(server._callers)) == (OURS, MOST)


def test_the_house_leaves_strangers_their_part(server: Server) -> None:
    """Something in the house that opens connection after connection keeps nobody out."""
    for number in range(2 * MOST):
        assert come(server, DESK, number)
    phone = come(server, STRANGER, 5000.0)
    for number in range(MOST):
        assert come(server, DESK, 6000.0 + number)
    assert phone in server._callers and len(server._callers) == MOST


def test_nobody_who_is_at_work_goes(server: Server) -> None:
    working = [come(server, address, 0.0, Working) for address in many(100)]
    for at, address in enumerate(many(2 * MOST)):
        come(server, f"203.{address.partition('.')[2]}", at)
    assert set(working) <= server._callers


def test_whoever_says_nothing_is_overdue() -> None:
    silent = Caller(STRANGER, False, 100.0)
    assert not silent.overdue(100.0 + HEAD_WITHIN) and silent.overdue(100.1 + HEAD_WITHIN)
    assert not Working(STRANGER, False, 0.0).overdue(1e6)
