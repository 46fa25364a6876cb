"""`kuraban run`: it watches until it is asked to stop, and says why where it cannot."""

from __future__ import annotations

import signal
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

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


def test_a_second_watch_on_one_journal_is_refused(broker: Mosquitto, tmp_path: Path) -> None:
    """With status 3 and the number of the process that watches, which goes on."""
    site = site_file(tmp_path, port=broker.port, more=LOGIN)
    command = [*KURABAN, "run", "--site", site]
    watch = subprocess.Popen(command, stderr=subprocess.PIPE, text=True)
    assert watch.stderr is not None
    assert any("connected to" in line for line in iter(watch.stderr.readline, ""))
    second = subprocess.run(command, capture_output=True, text=True, timeout=30, check=False)
    assert second.returncode == 3 and f"process {watch.pid} watches" in second.stderr
    assert watch.poll() is None
    watch.terminate()
    assert watch.wait(15) == 0


def test_a_broken_site_is_not_watched(tmp_path: Path, type_in: Type) -> None:
    site = site_file(tmp_path)
    site.write_text(site.read_text("utf-8").replace('of = "tank-3"', 'of = "tank-33"'), "utf-8")
    shown = type_in("run", "--site", site)
    assert shown.exit_code == 2 and "tank-3" in shown.stderr


def test_no_place_for_a_journal_ends_with_3(tmp_path: Path) -> None:
    """A file stands where its folder should be."""
    site = site_file(tmp_path, port=free_port())
    (tmp_path / "data").write_text("in the way", "utf-8")
    command = [*KURABAN, "run", "--site", site]
    shown = subprocess.run(command, capture_output=True, text=True, timeout=30, check=False)
    assert shown.returncode == 3 and "kuraban.journal" in shown.stderr
