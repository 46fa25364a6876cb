"""`kuraban alarm-down`: people hear that the watch is down, whatever else is broken."""

from __future__ import annotations

import configparser
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.cli.conftest import Type
from tests.sink import Sink

ROOT = Path(__file__).parents[2]
UNITS = ROOT / "deploy" / "systemd"


@pytest.fixture
def sink() -> Iterator[Sink]:
    with Sink() as running:
        yield running


def house(folder: Path, sink: Sink, *, broken: str = "", ken: str | None = None) -> Path:
    site = folder / "site.toml"
    site.write_text(
        f"""
[site]
name = "Nowhere demo brewery"
timezone = "Asia/Tokyo"
{broken}
[[person]]
id = "aki"
name = "Aki"
language = "ja"
pages = ["{sink.url("aki")}"]
[[person]]
id = "ken"
name = "Ken"
pages = ["{ken or sink.url("ken")}"]
[[person]]
id = "mio"
name = "Mio"
pages = ["{sink.url("mio")}"]
[[duty]]
role = "brewer"
person = "aki"
order = 1
[[duty]]
role = "maintenance"
person = "ken"
order = 1
[[duty]]
role = "crew"
person = "mio"
order = 1
""",
        "utf-8",
    )
    return site


def test_brewer_and_maintenance_are_told_each_in_their_language(
    tmp_path: Path, sink: Sink, type_in: Type
) -> None:
    """Without any journal or broker; the crew is not woken for it."""
    shown = type_in("alarm-down", "--why", "watchdog {0}", "--site", house(tmp_path, sink))
    assert shown.exit_code == 0, shown.output
    told = {rung.path.strip("/"): rung for rung in sink.await_count(2)}
    assert set(told) == {"aki", "ken"}
    assert told["ken"].title == "Nowhere demo brewery: the watch is down"
    assert "(watchdog {0})" in told["ken"].body and "見張り" in told["aki"].title
    assert "Ken: 1 address took it" in shown.output


def test_a_site_file_with_faults_still_says_whom_to_tell(
    tmp_path: Path, sink: Sink, type_in: Type
) -> None:
    """The watch may be down because of just that fault."""
    site = house(tmp_path, sink, broken='nonsense = 3\n[[place]]\nid = "Tank 3"\n')
    assert type_in("check", "--site", site).exit_code == 2
    assert type_in("alarm-down", "--site", site).exit_code == 0
    assert len(sink.await_count(2)) == 2


def test_where_not_even_toml_can_be_read_a_file_of_addresses_helps(
    tmp_path: Path, sink: Sink, type_in: Type
) -> None:
    site = house(tmp_path, sink, broken="= broken =")
    assert type_in("alarm-down", "--site", site).exit_code == 1
    others = tmp_path / "others"
    others.write_text(sink.url("others") + "\n", "utf-8")
    assert type_in("alarm-down", "--addresses", others, "--site", site).exit_code == 0
    assert [rung.path.strip("/") for rung in sink.await_count(1)] == ["others"]
    gone = tmp_path / "gone"
    assert type_in("alarm-down", "--addresses", gone, "--site", site).exit_code == 1


def test_a_service_that_refuses_delays_no_other(tmp_path: Path, sink: Sink, type_in: Type) -> None:
    """And its address is not shown."""
    with Sink("refuse") as refusing:
        shown = type_in("alarm-down", "--site", house(tmp_path, sink, ken=refusing.url("secret")))
    assert shown.exit_code == 0
    assert "Ken: 0 addresses took it" in shown.output and "secret" not in shown.output
    assert [rung.path.strip("/") for rung in sink.await_count(1)] == ["aki"]


def test_where_nobody_took_it_the_unit_tries_again(tmp_path: Path, type_in: Type) -> None:
    with Sink("500") as failing:
        assert type_in("alarm-down", "--site", house(tmp_path, failing)).exit_code == 1


def _unit(name: str) -> configparser.ConfigParser:
    unit = configparser.ConfigParser(strict=False, interpolation=None)
    unit.optionxform = str  # type: ignore[method-assign, assignment]
    unit.read_string((UNITS / name).read_text("utf-8"))
    return unit


def test_the_watchs_unit_hands_over_to_the_one_that_pages() -> None:
    """A watch that hangs is killed; one that does not come up again has failed."""
    watch, down = _unit("kuraban.service"), _unit("kuraban-down.service")
    assert watch["Unit"]["OnFailure"] == "kuraban-down.service"
    assert watch["Service"]["Type"] == "notify" and watch["Service"]["WatchdogSec"]
    assert watch["Service"]["RestartPreventExitStatus"] == "2 3"
    assert "kuraban alarm-down" in down["Service"]["ExecStart"]
    assert down["Service"]["Restart"] == "on-failure"
