"""The units for systemd, as systemd itself reads them."""

from __future__ import annotations

import configparser
import subprocess
from pathlib import Path

import pytest

UNITS = Path(__file__).parents[1] / "deploy" / "systemd"
MOST_EXPOSED = 2.0


def unit(name: str) -> configparser.ConfigParser:
    found = configparser.ConfigParser(strict=False, interpolation=None)
    found.optionxform = str  # type: ignore[assignment,method-assign]
    found.read(UNITS / name)
    return found


@pytest.mark.needs("systemd-analyze")
def test_the_watch_may_do_little() -> None:
    """Its exposure, from 0 to 10, as systemd reckons it from the unit file."""
    limit = f"--threshold={round(MOST_EXPOSED * 10)}"
    command = ["systemd-analyze", "security", "--offline=true", "--no-pager", limit]
    done = subprocess.run(
        [*command, str(UNITS / "kuraban.service")], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stdout + done.stderr


def test_it_is_watched_itself() -> None:
    """It says when it is ready and well, waits for network and clock, and is started anew; faults
    of its site file are not tried again."""
    found = unit("kuraban.service")
    service, after = found["Service"], found["Unit"]["After"].split()
    assert service["Type"] == "notify"
    assert int(service["WatchdogSec"].removesuffix("s")) > 0
    assert {"network-online.target", "time-sync.target"} <= set(after)
    assert service["Restart"] == "on-failure"
    assert service["RestartPreventExitStatus"] == "2 3"
    assert (UNITS / found["Unit"]["OnFailure"]).is_file()


def test_a_stop_is_given_more_time_than_it_takes() -> None:
    """A stop takes five seconds at most."""
    assert int(unit("kuraban.service")["Service"]["TimeoutStopSec"].removesuffix("s")) > 5
