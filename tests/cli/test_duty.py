"""`kuraban duty`: who is on duty, and two people exchanging theirs."""

from __future__ import annotations

import json
import threading
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

from kuraban.cli import duty
from kuraban.edges.mqtt.oneshot import listen
from kuraban.settings import load
from tests.broker import USERS, Mosquitto
from tests.cli.conftest import Type
from tests.journals import site_file

LOGIN = f'user = "crew"\npassword = "{USERS["crew"]}"'
SUNDAY = datetime.fromisoformat("2026-02-01T18:00:00+09:00").timestamp()


@pytest.fixture(scope="module")
def broker(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Mosquitto]:
    with Mosquitto(tmp_path_factory.mktemp("broker")) as running:
        yield running


@pytest.fixture
def here(broker: Mosquitto, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setattr(duty, "clock", lambda: SUNDAY)
    return site_file(tmp_path, port=broker.port, more=LOGIN)


def test_a_swap_reaches_the_broker_as_an_entry(here: Path, type_in: Type) -> None:
    got: list[dict[str, Any]] = []
    ready, first = threading.Event(), threading.Event()

    def take(topic: str, payload: bytes, kept: bool) -> None:
        if topic == "kura/log/watch":
            got.append(json.loads(payload))
            first.set()

    link = load(here, {}).mqtt
    thread = threading.Thread(
        target=listen, args=(link, ("kura/log/+",), take),
        kwargs={"lasts": 3, "told": lambda line: ready.set()}, daemon=True,
    )  # fmt: skip
    thread.start()
    assert ready.wait(10)
    shown = type_in("duty", "swap", "aki", "sho", "--on", "2026-02-03", "--role", "brewer",
                    "--by", "aki", "--site", here)  # fmt: skip
    assert shown.exit_code == 0, shown.output
    assert "Aki and Sho swap their duties as brewer of Tue 3 Feb." in shown.stdout
    assert first.wait(10)
    kept = ("entry", "from", "to", "day", "role", "by")
    assert [got[0][key] for key in kept] == ["duty-swap", "aki", "sho", "2026-02-03", "brewer",
                                             "aki"]  # fmt: skip
    assert got[0]["id"] in shown.stdout  # by which it can be taken back


@pytest.mark.parametrize(
    ("words", "wrong"),
    [
        (("aki", "shoo"), "no person"),
        (("aki", "sho", "--on", "someday"), "is no day"),
        (("aki", "sho", "--on", "2026-01-30"), "is over"),
    ],
)
def test_a_swap_that_cannot_be_is_told_and_not_sent(
    here: Path, type_in: Type, words: tuple[str, ...], wrong: str
) -> None:
    shown = type_in("duty", "swap", *words, "--site", here)
    assert shown.exit_code == 2 and wrong in shown.stderr


def test_the_rota_of_the_coming_days(here: Path, type_in: Type) -> None:
    shown = type_in("duty", "show", "--days", "2", "--site", here).output
    assert "Sun 1 Feb" in shown and "Mon 2 Feb" in shown and "Tue" not in shown
    assert "Aki, Sho" in shown


def test_asked_for_nothing_else_it_shows_this_week(here: Path, type_in: Type) -> None:
    shown = type_in("duty", "--site", here)
    assert shown.exit_code == 0 and shown.stdout == type_in("duty", "show", "--site", here).stdout
    astray = type_in("duty", "--site", here, "show")
    assert astray.exit_code == 2 and "write it behind: kuraban duty show" in astray.stderr


def test_who_is_away_is_marked(here: Path, type_in: Type) -> None:
    text = here.read_text("utf-8")
    text += '\n[[away]]\nperson = "sho"\nfrom = "2026-02-01"\nto = "2026-02-01"\nminutes = 30\n'
    here.write_text(text, "utf-8")
    shown = type_in("duty", "show", "--days", "1", "--site", here).output
    assert "Sho (away)" in shown
