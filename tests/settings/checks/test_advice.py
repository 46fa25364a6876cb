"""Advice: what is not wrong in a site but will be missed in the night."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from kuraban.settings import load
from kuraban.settings.checks import advice

Write = Callable[..., Path]


def told(path: Path) -> dict[str, str]:
    return {fault.key: f"{fault.wrong}; {fault.right}" for fault in load(path, {}).warnings}


def test_a_tank_without_a_probe_is_told(small: Write) -> None:
    """A batch there would be unwatched from its first hour."""
    more = '[[place]]\nid = "tank-4"\nkind = "tank"\nname = "Tank 4"\n'
    assert "no product probe" in told(small(more=more))["place[tank-4]"]


STORE = """
[[place]]
id = "store"
kind = "cold-store"
name = "Store"
band = {band}

[[probe]]
id = "store-air"
of = "store"
measures = "air"
offset = {offset}
"""


@pytest.mark.parametrize(
    ("band", "offset", "narrow"),
    [("[4.0, 4.8]", "0.0", True), ("[4.0, 5.0]", "0.0", False), ("[4.0, 4.8]", "-0.3", False)],
)
def test_a_band_narrower_than_its_probe_is_told(
    small: Write, band: str, offset: str, narrow: bool
) -> None:
    """±0.5 °C as bought (DS18B20 data sheet 19-7487, from memory); an ice point betters it."""
    more = STORE.format(band=band, offset=offset)
    assert ("place[store].band" in told(small(more=more))) is narrow


def test_a_banded_store_without_a_probe_is_told(small: Write) -> None:
    """A band that nothing measures wakes nobody."""
    more = STORE.format(band="[1.0, 8.0]", offset="0.0").partition("[[probe]]")[0]
    assert "no probe" in told(small(more=more))["place[store].band"]


def test_a_house_without_a_brewer_is_told(small: Write) -> None:
    """Every role falls back on the brewer, so nobody there is nobody at all."""
    assert "duty" in told(small(('role = "brewer"', 'role = "crew"')))


def test_a_person_whom_no_page_reaches_is_told(small: Write) -> None:
    """Their step of the ladder would be time lost."""
    site = small(('pages = ["json://127.0.0.1:9000/aki"]', "pages = []"))
    assert "no page can reach" in told(site)["person[aki].pages"]


def test_an_address_of_unknown_kind_is_told_without_its_secret(
    small: Write, caplog: pytest.LogCaptureFixture, capsys: pytest.CaptureFixture[str]
) -> None:
    """The scheme is shown; what follows it may be a key."""
    site = small(("json://127.0.0.1:9000/aki", "jsno://very-secret"))
    words = told(site)["person[aki].pages"]
    assert "(jsno)" in words
    assert "very-secret" not in words + caplog.text + "".join(capsys.readouterr())


def test_a_house_that_names_no_time_zone_is_told(small: Write) -> None:
    """Brewery days and duty hours would turn at another's hour."""
    assert "Asia/Tokyo is taken" in told(small(('timezone = "Asia/Tokyo"', "")))["site.timezone"]


def test_a_variable_that_names_nothing_is_told(small: Write) -> None:
    """A word of warning, since other programs may share the prefix."""
    warnings = load(small(), {"KURABAN_MQT__HOST": "x"}).warnings
    assert [fault.key for fault in warnings] == ["KURABAN_MQT__HOST"]


def test_pages_without_their_libraries_are_told_and_how_to_get_them(
    small: Write, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The watch watches all the same; with them nothing is said."""
    site = small(more="\n[web]\n")
    assert "web" not in told(site)
    monkeypatch.setattr(advice, "PAGES_NEED", ("jinja2", "no_such_library"))
    assert told(site)["web"] == (
        "nothing is served: no_such_library is not installed; pip install 'kuraban[web]'"
    )
