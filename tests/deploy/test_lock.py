"""The libraries that are installed: bounded in pyproject.toml, listed with hashes in a lock."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).parents[2]
LOCK = ROOT / "deploy" / "lock"
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
EXTRAS = PROJECT["optional-dependencies"]
LISTS = {"run.txt": ("web", "charts", "feed"), "test.txt": ("test", "demo", "web", "charts")}


def wanted(*extras: str) -> list[Requirement]:
    lines = [*PROJECT["dependencies"], *(line for extra in extras for line in EXTRAS[extra])]
    found = [Requirement(line) for line in lines]
    return [one for one in found if one.name != PROJECT["name"]]


def listed(name: str) -> dict[str, list[str]]:
    """Versions of each library in a list; a library may have one for each kind of machine."""
    found: dict[str, list[str]] = {}
    for line in (LOCK / name).read_text("utf-8").splitlines():
        if match := re.match(r"([\w.-]+)==([^ ;]+)", line):
            found.setdefault(canonicalize_name(match[1]), []).append(match[2])
    return found


@pytest.mark.parametrize("requirement", wanted(*EXTRAS), ids=lambda one: one.name)
def test_every_library_is_bounded_above_and_below(requirement: Requirement) -> None:
    """A new edition of a library is tried before a house gets it; time zones are only data."""
    bounds = {specifier.operator for specifier in requirement.specifier}
    assert ">=" in bounds
    assert "<" in bounds or requirement.name == "tzdata"


@pytest.mark.parametrize("name", LISTS)
def test_the_lists_hold_what_is_wanted_within_its_bounds(name: str) -> None:
    """After a change of pyproject.toml: deploy/lock/renew."""
    held = listed(name)
    for requirement in wanted(*LISTS[name]):
        versions = held.get(canonicalize_name(requirement.name), [])
        assert versions and all(v in requirement.specifier for v in versions), requirement.name


@pytest.mark.parametrize("name", LISTS)
def test_every_library_of_a_list_has_hashes_and_no_address(name: str) -> None:
    text = (LOCK / name).read_text("utf-8")
    blocks = re.split(r"\n(?=\S)", text.strip())
    assert all("--hash=sha256:" in block for block in blocks)
    assert "://" not in text
