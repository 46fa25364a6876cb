"""Who can be told when the watch is down, read as far as a site file goes."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from kuraban.settings.emergency_contacts import reach

KEN = """
[[person]]
id = "ken"
name = "Ken"
pages_from = "ken.txt"

[[duty]]
role = "maintenance"
person = "ken"
order = 2
"""


def test_who_maintains_the_house_comes_first(small: Callable[..., Path], tmp_path: Path) -> None:
    """Secrets are read from where they are kept."""
    (tmp_path / "ken.txt").write_text("json://127.0.0.1:9/ken\n", "utf-8")
    told = reach(small(more=KEN), {})
    assert [one.person for one in told.people] == ["ken", "aki"]
    assert told.people[0].pages == ("json://127.0.0.1:9/ken",)
    assert (told.site, told.zone.key) == ("Small demo brewery", "Asia/Tokyo")


def test_one_secret_that_is_gone_loses_nobody_else(small: Callable[..., Path]) -> None:
    assert [one.person for one in reach(small(more=KEN), {}).people] == ["aki"]


@pytest.mark.parametrize(
    "change",
    [
        ('timezone = "Asia/Tokyo"', 'timezone = "Asia/Tokio"\nlanguage = "de"'),
        ('kind = "tank"', 'kind = "pond"'),
        ("order = 1", 'order = "first"'),
        ('role = "brewer"\n', ""),
        ('id = "aki"\n', ""),
        ('name = "Aki"', "name = 3"),
    ],
)
def test_a_fault_anywhere_loses_nobody(small: Callable[..., Path], change: tuple[str, str]) -> None:
    (one,) = reach(small(change), {}).people
    assert one.pages == ("json://127.0.0.1:9000/aki",) and one.language == "en"


def test_addresses_are_not_shown(small: Callable[..., Path]) -> None:
    assert "9000" not in repr(reach(small(), {}))


def test_where_nothing_can_be_read_nobody_is_there(tmp_path: Path) -> None:
    assert reach(tmp_path / "site.toml", {}).people == ()
    (tmp_path / "site.toml").write_text("[site\n", "utf-8")
    assert reach(tmp_path / "site.toml", {}).people == ()
