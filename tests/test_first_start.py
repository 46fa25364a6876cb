"""The first start on a machine whose network is not there yet."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import time
from pathlib import Path

import pytest

from tests.cli.conftest import KURABAN
from tests.journals import BREWERY

NOWHERE = "broker.brewery.invalid"


@pytest.mark.slow
@pytest.mark.timeout(60)
def test_without_a_network_it_is_ready_and_goes_on_trying(tmp_path: Path) -> None:
    """READY is told, so that nothing that starts after it waits; the watchdog is petted; one line
    says what is missing, however often it is tried; a stop is a clean stop."""
    site, ears = tmp_path / "site.toml", tmp_path / "notify"
    text = (BREWERY / "site.toml").read_text("utf-8").replace("127.0.0.1", NOWHERE, 1)
    text = text.replace('courses = ["courses"]', f'courses = ["{BREWERY / "courses"}"]')
    site.write_text(text, "utf-8")
    env = {**os.environ, "NOTIFY_SOCKET": str(ears), "WATCHDOG_USEC": "2000000"}
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as ear:
        ear.bind(str(ears))
        ear.settimeout(20)
        watch = subprocess.Popen([*KURABAN, "run", "--site", site], env=env, stderr=subprocess.PIPE)
        told = [ear.recv(4096)]
        end = time.monotonic() + 6  # two tries and more
        while time.monotonic() < end:
            told.append(ear.recv(4096))
        watch.send_signal(signal.SIGTERM)
        assert watch.wait(10) == 0
    assert b"READY=1" in told[0]
    assert told.count(b"WATCHDOG=1") >= 3
    assert watch.stderr is not None
    lines = watch.stderr.read().decode().splitlines()
    about = [line for line in lines if NOWHERE in line]
    assert len(about) == 1
    assert about[0].startswith(f"<4>broker: name '{NOWHERE}' not found; is `host` right")
