"""`kuraban probe`: an invented tank speaks to one's own broker, and the real watch rings."""

from __future__ import annotations

import re
import signal
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.broker import USERS, Mosquitto
from tests.cli.conftest import KURABAN, SITE, Type
from tests.journals import live_through, site_file
from tests.sink import Sink

LOGIN = f'user = "kuraban"\npassword = "{USERS["kuraban"]}"'


@pytest.fixture
def watched(tmp_path: Path) -> Iterator[tuple[Path, Sink]]:
    """A real broker with our access list, the real watch, and phones."""
    (tmp_path / "broker").mkdir()
    (tmp_path / "word").write_text(USERS["t3-mid"], "utf-8")
    with Mosquitto(tmp_path / "broker") as broker, Sink() as sink:
        site = site_file(tmp_path, port=broker.port, more=LOGIN)
        site.write_text(site.read_text("utf-8").replace(":9800/", f":{sink.port}/"), "utf-8")
        watch = subprocess.Popen(
            [*KURABAN, "run", "--site", site], stderr=subprocess.PIPE, text=True
        )
        assert watch.stderr is not None
        assert any("connected to" in line for line in iter(watch.stderr.readline, ""))
        yield site, sink
        watch.terminate()
        assert watch.wait(15) == 0


def test_an_alarm_is_seen_before_the_season(watched: tuple[Path, Sink], tmp_path: Path) -> None:
    """A tank without cooling is four hours gone: it rings at once, as warm or past its limit by
    how much of it the watch had heard, and ends when asked to."""
    site, sink = watched
    login = ("--user", "t3-mid", "--password-from", tmp_path / "word")
    practice = subprocess.Popen(
        [*KURABAN, "probe", "tank-3", *login, "--site", site],
        stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert practice.stdout is not None and "runs" in practice.stdout.readline()
    try:
        rung, *_ = sink.await_count(1, 60)
        assert "Tank 3" in rung.title and ("品温高め" in rung.title or "上限超え" in rung.title)
    finally:
        practice.send_signal(signal.SIGINT)
        told, _ = practice.communicate(timeout=60)
    assert practice.returncode == 0
    assert re.search(r"Published 24\d readings of t3-mid", told) and "Practice is ended" in told


def test_where_a_batch_runs_nobody_practises(tmp_path: Path, type_in: Type) -> None:
    """In its own tank never; elsewhere only if it is said."""
    live_through("slow-drift", tmp_path / "data" / "kuraban.journal")
    site = site_file(tmp_path, port=9)
    shown = type_in("probe", "tank-2", "--although-batches-run", "--site", site)
    assert shown.exit_code == 2 and "choose an empty tank" in shown.stderr
    shown = type_in("probe", "starter-1", "--site", site)
    assert shown.exit_code == 2 and "add --although-batches-run" in shown.stderr
    shown = type_in("probe", "starter-1", "--although-batches-run", "--site", site)
    assert shown.exit_code == 1 and ":9" in shown.stderr


@pytest.mark.parametrize(
    ("words", "right"),
    [
        (("tank-33",), "tank-3"),
        (("koji-store",), "no place with a probe in its product"),
        (("tank-3", "--fault", "burns"), "there are none, stalls"),
        (("tank-3", "--course", "moromi-slow-3"), 'did you mean "moromi-slow-33"?'),
        (("tank-3", "--stage", "late"), "there are"),
        (("tank-3", "--user", "x", "--password-from", "/none"), "probe's password"),
    ],
)
def test_what_cannot_be_is_one_line(type_in: Type, words: tuple[str, ...], right: str) -> None:
    shown = type_in("probe", *words, "--site", SITE)
    assert shown.exit_code == 2 and right in shown.stderr and shown.stderr.count("\n") == 1
