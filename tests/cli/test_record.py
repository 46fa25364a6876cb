"""`kuraban record`: from a real broker and from the journal, for `kuraban replay`."""

from __future__ import annotations

import json
import signal
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from kuraban.edges.mqtt.oneshot import publish
from kuraban.settings import load
from tests.broker import USERS, Mosquitto, free_port
from tests.cli.conftest import KURABAN, Type
from tests.journals import live_through, site_file

LOGIN = f'user = "kuraban"\npassword = "{USERS["kuraban"]}"'


@pytest.fixture(scope="module")
def broker(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Mosquitto]:
    with Mosquitto(tmp_path_factory.mktemp("broker"), without=("acl_file",)) as running:
        yield running


def test_what_the_broker_says_can_be_replayed(
    broker: Mosquitto, tmp_path: Path, type_in: Type
) -> None:
    """Line by line as it comes; Ctrl-C ends it, and that is well."""
    site = site_file(tmp_path, port=broker.port, more=LOGIN)
    out = tmp_path / "night.jsonl"
    command = [*KURABAN, "record", "--site", site, "--out", out]
    recorder = subprocess.Popen(command, stderr=subprocess.PIPE, text=True)
    assert recorder.stderr is not None
    assert "listening at" in recorder.stderr.readline()
    link = load(site, {}).mqtt
    assert publish(link, "kura/reading/t3-mid", b"10.46")
    assert publish(link, "kura/log/tank-3", '{"entry":"note","text":"静か"}'.encode())
    deadline = time.monotonic() + 10
    while out.read_text("utf-8").count("\n") < 2 and time.monotonic() < deadline:
        time.sleep(0.02)
    recorder.send_signal(signal.SIGINT)
    assert recorder.wait(10) == 0
    assert "2 messages recorded" in recorder.stderr.read()
    first, second = (json.loads(line) for line in out.read_text("utf-8").splitlines())
    assert first["topic"] == "kura/reading/t3-mid" and first["payload"] == "10.46"
    assert first["retain"] == 0 and first["tst"].endswith("+09:00")
    assert "静か" in second["payload"]
    assert "0 refused, 0 bad lines" in type_in("replay", "--site", site, out).stderr


def test_it_ends_by_itself_after_the_time_given(
    broker: Mosquitto, tmp_path: Path, type_in: Type
) -> None:
    """To standard output where no file is named."""
    site = site_file(tmp_path, port=broker.port, more=LOGIN)
    shown = type_in("record", "--for", "1s", "--site", site)
    assert shown.exit_code == 0
    assert shown.stdout == "" and "0 messages recorded" in shown.stderr


def test_the_journal_is_written_out_and_replays(tmp_path: Path, type_in: Type) -> None:
    site = site_file(tmp_path)
    live_through("slow-drift", tmp_path / "data" / "kuraban.journal")
    out = tmp_path / "retold.jsonl"
    shown = type_in("record", "--from-journal", "--out", out, "--site", site)
    assert shown.exit_code == 0, shown.stderr
    assert "messages written" in shown.stderr
    assert "Tank 2 warm" in type_in("replay", "--site", site, out).stdout


def test_nothing_is_overwritten(tmp_path: Path, type_in: Type) -> None:
    site = site_file(tmp_path)
    live_through("slow-drift", tmp_path / "data" / "kuraban.journal", share=0.05)
    shown = type_in("record", "--from-journal", "--out", site, "--site", site)
    assert shown.exit_code == 2 and "nothing is overwritten" in shown.stderr


@pytest.mark.parametrize(
    ("words", "right"),
    [
        (("--since", "12h"), "--from-journal"),
        (("--from-journal", "--for", "2h"), "leave --for out"),
        (("--for", "long"), '"20m"'),
    ],
)
def test_words_that_do_not_go_together(
    words: tuple[str, ...], right: str, site: Path, type_in: Type
) -> None:
    shown = type_in("record", *words, "--site", site)
    assert shown.exit_code == 2
    assert right in shown.stderr and shown.stderr.count("\n") == 1


def test_no_broker_and_no_journal_are_one_line_each(tmp_path: Path, type_in: Type) -> None:
    site = site_file(tmp_path, port=free_port())
    assert type_in("record", "--site", site).exit_code == 1
    shown = type_in("record", "--from-journal", "--site", site)
    assert shown.exit_code == 3 and shown.stderr.count("\n") == 1
