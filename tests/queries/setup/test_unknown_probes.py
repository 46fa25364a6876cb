"""The lines of a probe that nobody knows, and a message to a phone."""

from __future__ import annotations

import dataclasses
import tomllib
from pathlib import Path

import pytest

from kuraban.queries.setup.unknown_probes import SettingUp, send_test
from kuraban.settings import Addresses, Settings, load
from tests.sink import Sink

SITE = Path(__file__).parents[3] / "fixtures" / "brewery" / "site.toml"


@pytest.fixture
def settings() -> Settings:
    return load(SITE, {})


def test_only_what_the_house_lacks_is_written(settings: Settings) -> None:
    told = tomllib.loads(SettingUp(settings).lines(["t3-top", "t12-mid"]))
    assert [probe["id"] for probe in told["probe"]] == ["t12-mid", "t3-top"]
    assert [place["id"] for place in told["place"]] == ["tank-12"]


def test_a_first_file_names_the_broker_of_this_one(settings: Settings) -> None:
    told = tomllib.loads(SettingUp(settings).first_file("Kura", "Asia/Tokyo", "ja", ["t1-mid"]))
    assert told["mqtt"]["host"] == settings.mqtt.host
    assert told["site"] | {"name": "Kura", "language": "ja"} == told["site"]


def test_every_address_is_tried_and_told_by_its_number(settings: Settings) -> None:
    """The first takes it, the second is a service that says no, the third only takes notices."""
    with Sink() as well, Sink("500") as ill:
        where = Addresses((well.url("aki"), ill.url("aki")), (well.url("quiet"),))
        settings = dataclasses.replace(settings, addresses={"aki": where})
        tried = send_test(settings, settings.house.person["aki"], 1770000000.0)
    assert [(one.number, one.rings, bool(one.reason)) for one in tried] == [
        (1, True, False), (2, True, True), (3, False, False),
    ]  # fmt: skip
    assert len(well.got) == 2


def test_whoever_has_no_address_is_tried_nowhere(settings: Settings) -> None:
    settings = dataclasses.replace(settings, addresses={"aki": Addresses(())})
    assert send_test(settings, settings.house.person["aki"], 0.0) == []
