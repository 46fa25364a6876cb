"""Where somebody calls from."""

from __future__ import annotations

import pytest

from kuraban.edges.web.security.addresses import in_house, network


@pytest.mark.parametrize(
    "address",
    ["127.0.0.1", "::1", "10.1.2.3", "172.20.0.1", "192.168.1.7", "::ffff:192.168.1.7", "fd00::1",
     "fe80::1%eth0"],
)  # fmt: skip
def test_the_house_is_this_machine_and_private_networks(address: str) -> None:
    assert in_house(address)


@pytest.mark.parametrize(
    "address", ["203.0.113.7", "172.32.0.1", "2001:db8::1", "::ffff:203.0.113.7", "", "testclient"]
)
def test_nobody_else_calls_from_the_house(address: str) -> None:
    assert not in_house(address)


def test_whoever_has_an_address_of_ipv6_has_very_many() -> None:
    """They count as one; another customer's do not."""
    assert network("2001:db8::1") == network("2001:db8::ffff:2") != network("2001:db8:0:1::1")
    assert network("203.0.113.7") == network("::ffff:203.0.113.7") != network("203.0.113.8")
    assert network("nowhere") == "nowhere"
