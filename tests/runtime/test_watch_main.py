"""The program that watches: small, and the same process as the one that read the settings."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

from tests.broker import free_port
from tests.cli.conftest import KURABAN
from tests.journals import site_file

NOT_NEEDED = (
    "pydantic",
    "pydantic_settings",
    "typer",
    "rich",
    "icalendar",
    "fastapi",
    "matplotlib",
)


def test_the_watch_holds_no_library_that_it_does_not_need() -> None:
    """What reads site files, speaks to terminals, serves pages or draws is not in its memory."""
    asks = (
        "import sys, kuraban.runtime.watch_main, kuraban.runtime.watch;"
        f"print([name for name in {NOT_NEEDED!r} if name in sys.modules])"
    )
    told = subprocess.run([sys.executable, "-c", asks], capture_output=True, text=True, check=True)
    assert told.stdout.strip() == "[]"


def test_whoever_started_it_keeps_its_process(tmp_path: Path) -> None:
    """The number of the process stays, so that a supervisor loses sight of nothing; the password
    stands in no argument and no file."""
    site = site_file(tmp_path, port=free_port(), more='user = "kuraban"\npassword = "kept-word"')
    watch = subprocess.Popen([*KURABAN, "run", "--site", site], stderr=subprocess.PIPE, text=True)
    assert watch.stderr is not None
    try:
        assert any("nobody listens" in line for line in iter(watch.stderr.readline, ""))
        words = Path(f"/proc/{watch.pid}/cmdline").read_bytes()
        assert b"kuraban.runtime.watch_main" in words and b"kept-word" not in words
        found = [path for path in (tmp_path / "data").iterdir() if b"kept" in path.read_bytes()]
        assert not found
    finally:
        watch.terminate()
        assert watch.wait(15) == 0
