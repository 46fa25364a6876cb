"""Where a link in a message cannot leave the building, and what to do then."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from kuraban.settings import load
from kuraban.settings.checks.link_reachability import leaves, routes


@pytest.mark.parametrize(
    ("public", "out"),
    [
        ("https://kura.example", True),
        ("https://kura.example:8443", True),
        ("https://203.0.113.7", False),  # RFC 5737: documentation, nobody's
        ("https://8.8.8.8", True),
        ("https://192.168.1.10", False),
        ("https://10.0.0.2:8080", False),
        ("https://[fd00::1]", False),
        ("https://kura.local", False),
        ("https://kura.home.arpa", False),
        ("https://kura", False),
        ("http://localhost:8080", False),
        ("http://127.0.0.1:8080", False),
    ],
)
def test_an_address_of_one_building_is_known_as_such(public: str, out: bool) -> None:
    assert leaves(public) is out


def test_without_pages_nothing_is_said(small: Callable[..., Path]) -> None:
    assert not any("public" in str(word) for word in load(small(), {}).warnings)


def test_pages_without_a_public_address_carry_no_link(small: Callable[..., Path]) -> None:
    (word,) = [w for w in load(small(more="\n[web]\n"), {}).warnings if w.key == "web.public"]
    assert "Aki carry no link" in word.wrong


def test_an_address_inside_the_building_leads_nowhere_from_home(
    small: Callable[..., Path],
) -> None:
    site = small(more='\n[web]\npublic = "https://192.168.1.10"\n')
    (word,) = [w for w in load(site, {}).warnings if w.key == "web.public"]
    assert "inside the building only" in word.wrong and "VPN" in word.right
    site = small(more='\n[web]\npublic = "https://kura.example"\n')
    assert not any(w.key == "web.public" for w in load(site, {}).warnings)


def test_the_ways_to_answer_are_named() -> None:
    """There is always one that needs no phone."""
    assert routes("https://kura.example", "kura")[0].endswith("from anywhere: https://kura.example")
    assert "VPN" in routes("https://192.168.1.10", "kura")[0]
    without = routes(None, "cellar")
    assert without[0].startswith("a wall button") and "cellar/log/" in without[0]
    assert any("bridged" in route for route in without)
