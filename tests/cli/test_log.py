"""`kuraban log`: what people do reaches the watch, through the same door as everything else."""

from __future__ import annotations

import contextlib
import json
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import typer.main

from kuraban.cli import command_line, log
from kuraban.cli.completion import subjects
from kuraban.edges.mqtt.oneshot import listen
from kuraban.settings import load
from tests.broker import USERS, Mosquitto, free_port
from tests.cli.conftest import SITE, Type
from tests.journals import live_through, site_file

LOGIN = f'user = "crew"\npassword = "{USERS["crew"]}"'


@pytest.fixture(scope="module")
def broker(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Mosquitto]:
    with Mosquitto(tmp_path_factory.mktemp("broker")) as running:
        yield running


@pytest.fixture
def here(broker: Mosquitto, tmp_path: Path) -> Path:
    return site_file(tmp_path, port=broker.port, more=LOGIN)


class Enough(Exception):
    """One was heard."""


class Heard:
    """The first thing that arrives under kura/log."""

    def __init__(self, site: Path) -> None:
        self.got: list[tuple[str, dict[str, Any]]] = []
        self.ready = threading.Event()
        self.link = load(site, {}).mqtt
        self.thread = threading.Thread(target=self._run, daemon=True)
        self.thread.start()
        assert self.ready.wait(10)

    def _run(self) -> None:
        def take(topic: str, payload: bytes, kept: bool) -> None:
            self.got.append((topic, json.loads(payload)))
            raise Enough

        with contextlib.suppress(Enough):
            listen(self.link, ("kura/log/+",), take, lasts=10, told=lambda line: self.ready.set())

    def one(self) -> tuple[str, dict[str, Any]]:
        self.thread.join(10)
        return self.got[0]


def test_a_stir_arrives_with_id_time_and_name(here: Path, type_in: Type) -> None:
    """And the command ends only when the broker has it."""
    heard = Heard(here)
    shown = type_in("log", "tank-3", "stir", "for=20m", "--by", "aki", "--site", here)
    assert shown.exit_code == 0, shown.stderr
    topic, entry = heard.one()
    assert topic == "kura/log/tank-3"
    assert entry["entry"] == "stir" and entry["for"] == "20m" and entry["by"] == "aki"
    assert len(entry["id"]) == 36 and "T" in entry["at"]
    assert shown.stdout.startswith("Tank 3: stir at ") and entry["id"] in shown.stdout


def test_a_reading_below_zero_is_a_reading(here: Path, type_in: Type) -> None:
    """Before the options as after them; sake in a store stands at -1.5."""
    for words in (("-1.5", "--by", "aki", "--site", here), ("--site", here, "-1.5", "--by", "aki")):
        heard = Heard(here)
        shown = type_in("log", "tank-3", "check", *words)
        assert shown.exit_code == 0, shown.stderr
        _, entry = heard.one()
        assert (float(entry["celsius"]), entry["by"]) == (-1.5, "aki")


def test_an_aim_names_its_maker_beside_its_time(here: Path, type_in: Type) -> None:
    """`by` is when it is to be reached, --by is who says so."""
    heard = Heard(here)
    words = ("log", "tank-3", "aim", "11.5", "06:00", "--by", "aki", "--site", here)
    assert type_in(*words).exit_code == 0
    _, entry = heard.one()
    assert entry["who"] == "aki" and entry["by"].endswith("T06:00:00+09:00")


def test_where_nobody_listens_it_says_so(here: Path, type_in: Type) -> None:
    """The broker has it, yet no watch seems to run."""
    shown = type_in("log", "tank-3", "note", "all", "quiet", "--site", here)
    assert shown.exit_code == 0
    assert "is the watch running?" in shown.stderr


@pytest.mark.parametrize(
    ("words", "right"),
    [
        (("tank-9", "stir"), "tank-3"),
        (("tank-3", "stirr"), "stir"),
        (("tank-3", "check", "warmish"), "celsius"),
        (("tank-3", "check", "400"), "110"),
        (("chiller-1", "stir"), "a place that brews"),
        (("tank-3", "batch-start", "12", "moromi-slow"), "moromi-slow-33"),
        (("tank-3", "shelve", "warm", "2d"), "12h"),
        (("tank-3", "stir", "--at", "soon"), "22:10"),
    ],
)
def test_what_the_door_would_refuse_is_never_sent(
    words: tuple[str, ...], right: str, type_in: Type
) -> None:
    """One line that names what would be right."""
    shown = type_in("log", *words, "--site", SITE)
    assert shown.exit_code == 2
    assert right in shown.stderr and shown.stderr.count("\n") == 1


def test_no_broker_is_one_line(tmp_path: Path, type_in: Type) -> None:
    site = site_file(tmp_path, port=free_port())
    shown = type_in("log", "tank-3", "stir", "--site", site)
    assert shown.exit_code == 1
    assert "nobody listens on 127.0.0.1" in shown.stderr and shown.stderr.count("\n") == 1


def test_a_doubt_is_asked_back_and_no_means_no(
    here: Path, type_in: Type, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where somebody sits at the terminal; --yes asks nothing."""
    live_through("slow-drift", here.parent / "data" / "kuraban.journal", share=0.5)
    monkeypatch.setattr(log, "on_terminal", lambda: True)
    words = ("log", "tank-2", "check", "20.0", "--site", here)
    shown = type_in(*words, answers="n\n")
    assert "The probe reads 10." in shown.stderr and "Nothing was sent." in shown.stdout
    assert "sent to the watch" in type_in(*words, answers="y\n").stdout
    assert "Is that right?" not in type_in(*words, "--yes").stdout


def test_a_script_is_told_the_doubt_and_not_held_up(here: Path, type_in: Type) -> None:
    live_through("slow-drift", here.parent / "data" / "kuraban.journal", share=0.5)
    shown = type_in("log", "tank-2", "check", "20.0", "--site", here)
    assert "The probe reads 10." in shown.stderr and "sent to the watch" in shown.stdout


def test_the_shell_completes_subjects_entries_and_fields(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """From the site file that is meant when nobody says."""
    monkeypatch.setenv("KURABAN_SITE_FILE", str(SITE))
    command = typer.main.get_group(command_line()).commands["log"]
    with command.make_context("log", ["tank-3", "addition"], resilient_parsing=True) as context:
        assert {"tank-1", "tank-3"} <= set(subjects(context, "tank"))
        assert log._entries("st") == ["stage", "stir"]
        assert "what=rice" in log._fields(context, "what=")


def test_without_a_site_nothing_is_completed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """And nothing is told into the middle of a command line."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("KURABAN_SITE_FILE", raising=False)
    command = typer.main.get_group(command_line()).commands["log"]
    with command.make_context("log", [], resilient_parsing=True) as context:
        assert subjects(context, "") == []
