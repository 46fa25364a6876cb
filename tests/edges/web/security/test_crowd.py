"""Nobody's many requests keep out another's one."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import ExitStack, contextmanager

import pytest

from kuraban.edges.web.security.crowd import MOST, OF_ONE, Crowd

PHONE, DESK = "203.0.113.7", "192.168.1.5"


@pytest.fixture
def crowd() -> Crowd:
    return Crowd(lambda token: token == "signed")


def asks(crowd: Crowd, address: str, path: str = "/") -> bool:
    with crowd.place({"client": (address, 5000), "path": path}) as place:
        return place


@contextmanager
def at_work(crowd: Crowd, addresses: Iterator[str] | list[str], path: str = "/") -> Iterator[int]:
    """So many requests that do not end; how many found a place."""
    with ExitStack() as held:
        ways = [{"client": (address, 5000), "path": path} for address in addresses]
        yield sum(held.enter_context(crowd.place(way)) for way in ways)


def strangers(count: int) -> list[str]:
    return [f"198.51.{number // 250}.{number % 250}" for number in range(count)]


def test_one_stranger_fills_no_more_than_his_part(crowd: Crowd) -> None:
    with at_work(crowd, [PHONE] * 200) as found:
        assert found == OF_ONE
        assert not asks(crowd, PHONE) and asks(crowd, "203.0.113.8") and asks(crowd, DESK)


def test_all_strangers_together_leave_places_to_the_house_and_to_answers(crowd: Crowd) -> None:
    with at_work(crowd, strangers(400)) as found:
        assert found == MOST["stranger"]
        assert not asks(crowd, "203.0.113.8") and asks(crowd, DESK)
        assert asks(crowd, PHONE, "/a/signed")


def test_the_house_leaves_places_to_answers(crowd: Crowd) -> None:
    with at_work(crowd, [DESK] * 400) as found:
        assert found == MOST["house"]
        assert asks(crowd, PHONE, "/a/signed") and not asks(crowd, DESK)


def test_a_link_that_we_did_not_sign_is_a_request_like_others(crowd: Crowd) -> None:
    with at_work(crowd, strangers(400)):
        assert not asks(crowd, PHONE, "/a/forged") and not asks(crowd, PHONE, "/a/signed/x")


def test_whoever_has_gone_leaves_the_place(crowd: Crowd) -> None:
    """Also after a fault."""
    with pytest.raises(ZeroDivisionError), at_work(crowd, [PHONE] * OF_ONE):
        raise ZeroDivisionError
    assert asks(crowd, PHONE)


def test_without_an_address_one_is_a_stranger(crowd: Crowd) -> None:
    with crowd.place({"client": None, "path": "/"}) as place:
        assert place
