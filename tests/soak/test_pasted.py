"""README's own lines, pasted one after the other on a fresh Debian, end in a watch that runs."""

from __future__ import annotations

import json
import re
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.soak.debian import SLOWER, SUITES, Debian
from tests.sources import laid

ROOT = Path(__file__).parents[2]
PHONE = "json://127.0.0.1:9800/aki"
ANSWERS = f"Kura\nAsia/Tokyo\nen\n127.0.0.1\n2\n1\nAki\n{PHONE}\ny\n\n\n\n"
"""What `init` asks: name, zone, language, broker, tanks, chillers, people of each role."""
SERVICE = """\
import http.server, sys
class Phone(http.server.BaseHTTPRequestHandler):
    def do_POST(self):
        body = self.rfile.read(int(self.headers["Content-Length"]))
        open("/root/rung", "ab").write(body + b"\\n")
        self.send_response(200); self.end_headers()
http.server.HTTPServer(("127.0.0.1", 9800), Phone).serve_forever()
"""
ASK = "python3 -c 'import urllib.request as u; print(u.urlopen(\"http://127.0.0.1:8080/\").status)'"
PROBE = """\
import time
from paho.mqtt import publish
own = {"username": "t1-mid", "password": "board-word"}
while True:
    publish.single("kura/reading/t1-mid", "10.4", hostname="127.0.0.1", auth=own)
    time.sleep(2)
"""
BOARD = (
    "mosquitto_passwd -b /etc/mosquitto/kuraban.passwords t1-mid board-word"
    " && systemctl reload mosquitto"
    " && systemd-run --quiet -p Restart=always /opt/kuraban/bin/python /root/probe.py"
)
"""A probe's own name at the broker, as our guide has it, and what it says."""
BATCH = "kuraban log tank-1 batch-start batch=7 course=moromi-ordinary-20 --by aki --yes"
COMMANDS = (
    "check", "status", "status --json", "history tank-1", "report", "duty", "courses",
    "log tank-1 note text=seen --by aki --yes", "page-test aki", "journal verify", "doctor",
    "report rings --days 30",
)  # fmt: skip
"""Those that are asked of a watch that runs."""
WORKS = {"doctor": (0, 1)}


def lines() -> list[str]:
    """The lines that README's part on installing gives to paste."""
    text = (ROOT / "README.md").read_text("utf-8").partition("\n## Install it\n")[2]
    block = re.search(r"\n\n((?:    .+\n)+)", text)
    assert block is not None
    return [line.partition("  #")[0].strip() for line in block[1].splitlines()]


def paste(machine: Debian) -> None:
    """Every line, with what is typed then; a probe speaks as soon as there is a broker."""
    (machine.root / "root/phone.py").write_text(SERVICE)
    (machine.root / "root/probe.py").write_text(PROBE)
    machine.run("systemd-run --quiet python3 /root/phone.py")
    for number, line in enumerate(lines()):
        done = machine.run(line, typed=ANSWERS if " init " in line else "")
        assert done.returncode == 0, f"{line}\n{done.stdout}{done.stderr}"
        if number == 0:
            done = machine.run(BOARD)
            assert done.returncode == 0, done.stderr


def judged(machine: Debian, within: float = 60.0 * SLOWER) -> bool:
    """Whether a batch that is logged now is judged by what its probe says, before long."""
    deadline = time.monotonic() + within
    if machine.run(BATCH).returncode != 0:
        return False
    while time.monotonic() < deadline:
        told = json.loads(machine.run("kuraban status --json").stdout)
        if any(place["product"] == 10.4 for place in told["judged"]):
            return True
    return False


@pytest.fixture(scope="module", params=SUITES)
def board(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Debian]:
    """A machine on which they were pasted; its phones are a service on loopback."""
    home = tmp_path_factory.mktemp(request.param)
    (home / "sources").mkdir()
    with Debian(request.param, home, laid(home / "sources")) as machine:
        paste(machine)
        yield machine


@pytest.mark.timeout(1200 * SLOWER)
def test_the_watch_runs_with_its_broker_and_its_pages(board: Debian) -> None:
    """And the phone had its test messages: when its address was given, and at the end."""
    assert board.run("systemctl is-active kuraban mosquitto kuraban-backup.timer").returncode == 0
    assert board.run(ASK).stdout.strip() == "200"
    rung = (board.root / "root/rung").read_text("utf-8")
    assert rung.count("A test of the watch") == 2
    assert "of the watch it says: watching" in board.run("kuraban status").stdout


@pytest.mark.timeout(300 * SLOWER)
def test_a_probe_that_spoke_meanwhile_is_judged_as_soon_as_a_batch_is_logged(
    board: Debian,
) -> None:
    assert judged(board)


@pytest.mark.timeout(300 * SLOWER)
@pytest.mark.parametrize("who", ["root", "mio"])
def test_every_command_works_for_root_and_for_who_is_in_the_group(board: Debian, who: str) -> None:
    board.run("id mio || useradd --create-home --groups kuraban mio")
    for command in COMMANDS:
        done = board.run(f"kuraban {command}", user=who)
        assert done.returncode in WORKS.get(command, (0,)), f"{command}\n{done.stdout}{done.stderr}"
        assert "Traceback" not in done.stderr


@pytest.mark.timeout(300 * SLOWER)
def test_anybody_else_is_told_in_one_line_what_is_missing(board: Debian) -> None:
    board.run("id sho || useradd --create-home sho")
    for command in COMMANDS:
        done = board.run(f"kuraban {command}", user="sho")
        if command != "courses":
            assert done.returncode == 2, f"{command}\n{done.stdout}{done.stderr}"
            assert len(done.stderr.splitlines()) == 1 and "join the group" in done.stderr


@pytest.mark.timeout(300 * SLOWER)
def test_pasted_once_more_nothing_is_made_anew(board: Debian) -> None:
    """An update is the same line; the watch that runs is left to run."""
    before = board.run("systemctl show -p MainPID kuraban").stdout
    done = board.run("sudo deploy/install")
    assert done.returncode == 0, done.stderr
    assert board.run("systemctl show -p MainPID kuraban").stdout == before
    assert "written" not in done.stdout


@pytest.mark.timeout(300 * SLOWER)
def test_a_killed_watch_is_started_anew_by_the_machine(board: Debian) -> None:
    board.run("systemctl kill -s KILL kuraban")
    deadline = time.monotonic() + 60 * SLOWER
    while "it says: watching" not in board.run("kuraban status").stdout:
        assert time.monotonic() < deadline
        time.sleep(1.0)
