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


SERVICES = sorted(path.name for path in UNITS.glob("*.service"))


@pytest.mark.needs("systemd-analyze")
@pytest.mark.parametrize("service", SERVICES)
def test_the_watch_may_do_little(service: str) -> None:
    """Its exposure, from 0 to 10, as systemd reckons it from the unit file; that of what pages for
    it and of what copies its journal as well."""
    limit = f"--threshold={round(MOST_EXPOSED * 10)}"
    command = ["systemd-analyze", "security", "--offline=true", "--no-pager", limit]
    done = subprocess.run(
        [*command, str(UNITS / service)], capture_output=True, text=True, check=False
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


def test_the_pages_beside_it_do_it_no_harm() -> None:
    """Left behind, they delay no new watch; out of memory, they stop none; they do not speak for
    it; and they may be nicer than it."""
    path = UNITS / "kuraban.service"
    service = unit(path.name)["Service"]
    assert service["Type"] == "notify" and service["NotifyAccess"] == "main"
    assert service["KillMode"] == "mixed" and service["OOMPolicy"] == "continue"
    assert "TasksMax" not in service
    filters = [
        line.partition("=")[2]
        for line in path.read_text("utf-8").splitlines()
        if line.startswith("SystemCallFilter=")
    ]
    assert "@resources" in filters[1] and filters[2:] == ["setpriority"]


def test_a_stop_is_given_more_time_than_it_takes() -> None:
    """A stop takes five seconds at most."""
    assert int(unit("kuraban.service")["Service"]["TimeoutStopSec"].removesuffix("s")) > 5


@pytest.mark.needs("systemd-analyze")
@pytest.mark.parametrize("name", [*SERVICES, "kuraban-backup.timer"])
def test_systemd_knows_every_line(name: str) -> None:
    """Nothing is passed over as unknown; that the program is not installed here is no fault."""
    done = subprocess.run(
        ["systemd-analyze", "verify", "--man=no", str(UNITS / name)],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    told = [line for line in done.stderr.splitlines() if "kuraban" in line]
    assert not [line for line in told if "is not executable" not in line]


def test_every_night_the_journal_is_copied() -> None:
    """By the command that anybody can type, with the secrets that the site file names."""
    timer, service = unit("kuraban-backup.timer"), unit("kuraban-backup.service")["Service"]
    assert timer["Timer"]["OnCalendar"] == "*-*-* 03:30:00"
    assert timer["Timer"]["Persistent"] == "yes"
    words = service["ExecStart"].split()
    assert words[1:4] == ["journal", "backup", "/var/lib/kuraban/backup"]
    assert int(words[words.index("--keep") + 1]) >= 7
    assert service["LoadCredential"] == unit("kuraban.service")["Service"]["LoadCredential"]
