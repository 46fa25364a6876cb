"""Where somebody calls from: as one counts them, and whether that is the house's own network."""

from __future__ import annotations

from ipaddress import IPv4Address, IPv6Address, ip_address, ip_network

HOUSE = tuple(map(ip_network, (
    "127.0.0.0/8", "10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16", "169.254.0.0/16",
    "::1/128", "fc00::/7", "fe80::/10",
)))  # fmt: skip
"""This machine, and what no stranger can call from (RFC 1918, 3927, 4193, 4291)."""


def network(address: str) -> str:
    """What one customer of a network has: an address, of IPv6 the 64 bits that are given out."""
    known = _read(address)
    if isinstance(known, IPv6Address):
        return str(ip_network((known, 64), strict=False))
    return address if known is None else str(known)


def in_house(address: str) -> bool:
    """Whether it is this machine or in a private network, as a brewery's own is."""
    known = _read(address)
    return known is not None and any(known in one for one in HOUSE)


def _read(address: str) -> IPv4Address | IPv6Address | None:
    """None for none; one of IPv4 that is written as one of IPv6 is one of IPv4."""
    try:
        known = ip_address(address.partition("%")[0])
    except ValueError:
        return None
    return getattr(known, "ipv4_mapped", None) or known
