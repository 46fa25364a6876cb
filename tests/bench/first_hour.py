"""The first hour by the stopwatch: clone to page, install to judged reading, ring to answer.

    tests/bench/first-hour

Clone to page: `git clone` of this checkout, `./deploy/demo` in it with nothing kept from before,
until a browser shows the koji room's bed. Page to answer: from there on a phone's screen, to the
first ring by the key n, until the tap "I have it" is on the terminal. Install to judged reading:
README's lines on a fresh Debian that boots by itself (root, debootstrap, systemd-container), typed
without a pause, Debian's packages and Python's libraries lying ready, until the reading of a probe
is judged.
"""

from __future__ import annotations

import argparse
import os
import shutil
import subprocess
import tempfile
import time
from pathlib import Path

from playwright.sync_api import Page, sync_playwright
from rich.console import Console

from tests.bench import ground
from tests.soak.debian import SUITES, Debian
from tests.soak.test_pasted import judged, paste
from tests.sources import laid
from tests.terminal import Terminal

PHONE = {"width": 360, "height": 740}


def seen(home: Path) -> tuple[float, float]:
    """Seconds from the clone to the page, and from there to the answer."""
    os.environ["PIP_NO_CACHE_DIR"] = "1"
    began = time.monotonic()
    clone = home / "kuraban"
    subprocess.run(["git", "clone", "-q", ground.ROOT, clone], check=True)
    terminal = Terminal(home, clone / "deploy/demo", "--night", "koji")
    try:
        at = terminal.until(r"http://127\.0\.0\.1:\d+/", within=600)
        with sync_playwright() as play:
            program = shutil.which("chromium")
            browser = play.chromium.launch(executable_path=program, args=["--no-sandbox"])
            page = browser.new_page(viewport=PHONE)
            page.goto(at)
            page.locator("#row-koji-bed-1").wait_for()
            opened = time.monotonic()
            _answer(page, terminal)
            answered = time.monotonic()
            browser.close()
    finally:
        terminal.press("q")
        terminal.process.wait(20)
        terminal.close()
    return opened - began, answered - opened


def _answer(page: Page, terminal: Terminal) -> None:
    page.locator("select[name=person]").select_option("ken")
    page.locator("form[action='/who'] button").click()
    while "Koji room heater stopped 23:29" not in terminal.said:
        terminal.said = ""
        terminal.press("n")
        terminal.until(r"at life's own pace\)")
    page.locator("#ring-heater-1-stopped button.main").click()
    terminal.until("Ken answers: I have it")


def installed(suite: str, home: Path) -> float:
    """Seconds from the first of README's lines to the first judged reading."""
    (home / "sources").mkdir()
    with Debian(suite, home, laid(home / "sources")) as machine:
        began = time.monotonic()
        paste(machine)
        assert judged(machine), "no reading was judged"
        return time.monotonic() - began


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.parse_args()
    machine, numbers = ground.machine(), dict[str, float]()
    with tempfile.TemporaryDirectory() as home:
        page, answer = seen(Path(home))
        numbers |= {"clone_to_page_s": round(page, 1), "page_to_answer_s": round(answer, 1)}
    for suite in SUITES:
        with tempfile.TemporaryDirectory() as home:
            numbers[f"install_to_judged_{suite}_s"] = round(installed(suite, Path(home)), 1)
    Console().print(numbers)
    ground.keep("first-hour", machine=machine, **numbers)


if __name__ == "__main__":
    main()
