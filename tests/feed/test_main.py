"""The program that feeds is small, and the same process as the one that read its file."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

from kuraban.feed.main import main
from kuraban.settings.feed_settings import FeedSettings
from kuraban.settings.handover import pack
from kuraban.settings.model import Mqtt
from tests.broker import free_port
from tests.cli.conftest import KURABAN

NOT_NEEDED = (
    "apprise", "fastapi", "icalendar", "influxdb_client", "matplotlib", "pydantic", "rich", "typer",
    "kuraban.core.engine", "kuraban.runtime",
)  # fmt: skip


def test_a_feed_holds_nothing_of_the_watch() -> None:
    asks = (
        "import sys, pymodbus.client, kuraban.feed.main;"
        f"print([name for name in {NOT_NEEDED!r} if name in sys.modules])"
    )
    told = subprocess.run([sys.executable, "-c", asks], capture_output=True, text=True, check=True)
    assert told.stdout.strip() == "[]"


def test_whoever_started_it_keeps_its_process(tmp_path: Path) -> None:
    """The password stands in no argument; it ends when it is asked to."""
    config = tmp_path / "feed.toml"
    config.write_text(f'[mqtt]\nport = {free_port()}\nuser = "feed"\npassword = "kept-word"\n')
    feed = subprocess.Popen(
        [*KURABAN, "feed", "--config", config], stderr=subprocess.PIPE, text=True
    )
    assert feed.stderr is not None
    try:
        assert any("nobody listens" in line for line in iter(feed.stderr.readline, ""))
        words = Path(f"/proc/{feed.pid}/cmdline").read_bytes()
        assert b"kuraban.feed.main" in words and b"kept-word" not in words
    finally:
        feed.terminate()
        assert feed.wait(15) == 0


def test_a_buffer_that_cannot_be_opened_is_told_with_its_own_status(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    read, write = os.pipe()
    os.write(write, pack(FeedSettings(Mqtt(), tmp_path / "file" / "buffer")))
    os.close(write)
    assert main(read) == 3
