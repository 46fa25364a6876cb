"""`kuraban init`: a first site file from a few answers and from what is heard."""

from __future__ import annotations

import os
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from kuraban.edges.mqtt.oneshot import publish
from kuraban.settings import Mqtt, load
from tests.broker import USERS, Mosquitto, free_port
from tests.cli.conftest import Type


@pytest.fixture(scope="module")
def broker(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Mosquitto]:
    with Mosquitto(tmp_path_factory.mktemp("broker"), without=("acl_file",)) as running:
        yield running


def test_probes_that_speak_are_in_it(broker: Mosquitto, tmp_path: Path, type_in: Type) -> None:
    """Each with a guess where it hangs; the file is sound as it stands."""
    secret, out = tmp_path / "secret", tmp_path / "site.toml"
    secret.write_text(USERS["kuraban"], "utf-8")
    link = Mqtt(port=broker.port, user="kuraban", password=USERS["kuraban"])
    heard = [
        threading.Timer(1.0, publish, (link, f"kura/reading/{probe}", b"10.4"))
        for probe in ("t3-mid", "ch1-supply")
    ]
    for one in heard:
        one.start()
    shown = type_in(
        "init", "--yes", "--out", out, "--port", broker.port, "--user", "kuraban",
        "--password-from", secret, "--listen", 3,
    )  # fmt: skip
    assert shown.exit_code == 0, shown.stderr
    house = load(out, {}).house
    assert house.probe["t3-mid"].of == "tank-3"
    assert house.probe["ch1-supply"].of == "chiller-1"
    assert "2 probes" in shown.output and USERS["kuraban"] not in out.read_text("utf-8")
    assert type_in("check", "--site", out).exit_code == 0


def test_answers_are_taken_over(tmp_path: Path, type_in: Type) -> None:
    """A time zone that is none is asked for once more; no broker is no hindrance."""
    out = tmp_path / "site.toml"
    answers = "Kura Yama\nTokyo\nAsia/Tokyo\nja\n127.0.0.1\n"
    shown = type_in("init", "--out", out, "--port", free_port(), answers=answers)
    assert shown.exit_code == 0, shown.stderr
    assert '"Tokyo" is not known' in shown.output
    assert "No probe was heard: nobody listens" in shown.stderr
    site = load(out, {}).house.site
    assert (site.name, site.language) == ("Kura Yama", "ja")


def test_nothing_is_overwritten(tmp_path: Path, type_in: Type) -> None:
    out = tmp_path / "site.toml"
    out.write_text("mine", "utf-8")
    shown = type_in("init", "--yes", "--out", out)
    assert shown.exit_code == 2 and "nothing is overwritten" in shown.stderr
    assert out.read_text("utf-8") == "mine"


def test_what_it_writes_is_not_for_everybody(
    type_in: Type, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Passwords and addresses will stand in it, whatever the usual rights are."""
    out = tmp_path / "site.toml"
    before = os.umask(0)
    try:
        shown = type_in("init", "--yes", "--out", out, "--listen", "0", "--port", "1")
    finally:
        os.umask(before)
    assert shown.exit_code == 0, shown.output
    assert out.stat().st_mode & 0o777 == 0o640
