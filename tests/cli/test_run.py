"""`kuraban run`: it watches until it is asked to stop, and says why where it cannot."""

from __future__ import annotations

import logging
import signal
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from kuraban.cli import run
from tests.broker import USERS, Mosquitto, free_port
from tests.cli.conftest import KURABAN, Type
from tests.journals import site_file

LOGIN = f'user = "kuraban"\npassword = "{USERS["kuraban"]}"'


@pytest.fixture(scope="module")
def broker(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Mosquitto]:
    with Mosquitto(tmp_path_factory.mktemp("broker")) as running:
        yield running


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_it_ends_cleanly_when_asked_to(
    number: signal.Signals, broker: Mosquitto, tmp_path: Path
) -> None:
    """Status 0, the journal closed and there."""
    site = site_file(tmp_path, port=broker.port, more=LOGIN)
    watch = subprocess.Popen([*KURABAN, "run", "--site", site], stderr=subprocess.PIPE, text=True)
    assert watch.stderr is not None
    lines = iter(watch.stderr.readline, "")
    assert any("connected to" in line for line in lines)
    watch.send_signal(number)
    assert watch.wait(15) == 0
    assert (tmp_path / "data" / "kuraban.journal").is_file()


def test_a_broken_site_is_not_watched(tmp_path: Path, type_in: Type) -> None:
    site = site_file(tmp_path)
    site.write_text(site.read_text("utf-8").replace('of = "tank-3"', 'of = "tank-33"'), "utf-8")
    shown = type_in("run", "--site", site)
    assert shown.exit_code == 2 and "tank-3" in shown.stderr


def test_no_place_for_a_journal_ends_with_3(tmp_path: Path, type_in: Type) -> None:
    """A file stands where its folder should be."""
    site = site_file(tmp_path, port=free_port())
    (tmp_path / "data").write_text("in the way", "utf-8")
    shown = type_in("run", "--site", site)
    assert shown.exit_code == 3 and "kuraban.journal" in shown.stderr


def test_under_systemd_each_line_says_how_grave_it_is(capsys: pytest.CaptureFixture[str]) -> None:
    """Its journal adds the time itself."""
    log = logging.getLogger("kuraban")
    before = log.handlers, log.level, log.propagate
    try:
        run.log_lines(supervised=True)
        log.error("the disk is full")
        log.warning("nobody listens\nthere")
        run.log_lines(supervised=False)
        log.info("watching")
    finally:
        log.handlers, log.propagate = before[0], before[2]
        log.setLevel(before[1])
    lines = capsys.readouterr().err.splitlines()
    assert lines[:3] == ["<3>the disk is full", "<4>nobody listens", "<4>there"]
    assert lines[3].endswith(" watching") and lines[3][2] == ":"
