"""What stands around the watch, as it really is: a line each, and what to do."""

from __future__ import annotations

import os
import shutil
import socket
import ssl
import threading
from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace
from pathlib import Path

import pytest

from kuraban.core.site import Person
from kuraban.queries import surroundings as around
from kuraban.queries.surroundings import Finding, surroundings
from kuraban.settings import Receiver, Settings, Web, load
from kuraban.settings.model import Addresses
from tests.broker import USERS, Mosquitto, free_port
from tests.certificates import authority, certificate
from tests.journals import live_through, site_file

NIGHT = "slow-drift"


@pytest.fixture
def settings(tmp_path: Path) -> Settings:
    """A house whose broker, journal and pages are not there."""
    return load(site_file(tmp_path, port=free_port()), {}, advised=False)


def of(found: list[Finding], what: str) -> Finding:
    return next(one for one in found if one.what == what)


def test_a_broker_and_a_journal_that_are_not_there_are_to_be_put_right(settings: Settings) -> None:
    found = list(surroundings(settings))
    assert of(found, "broker").grade == "fault" and "nobody listens" in of(found, "broker").says
    assert of(found, "journal").grade == "fault" and "kuraban run" in of(found, "journal").says


@pytest.mark.needs("mosquitto")
def test_a_broker_that_nobody_watches_at_is_worth_a_look(tmp_path: Path) -> None:
    (tmp_path / "broker").mkdir()
    word = f'user = "kuraban"\npassword = "{USERS["kuraban"]}"'
    with Mosquitto(tmp_path / "broker") as broker:
        house = load(site_file(tmp_path, port=broker.port, more=word), {}, advised=False)
        found = of(list(surroundings(house)), "broker")
    assert found.grade == "look" and "reached" in found.says and "start the watch" in found.do


def test_a_watch_that_stands_still_is_to_be_put_right(
    tmp_path: Path, settings: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    """By the last turn that it wrote."""
    live_through(NIGHT, settings.data / "kuraban.journal")
    stopped = of(list(surroundings(settings)), "watch")
    assert stopped.grade == "fault" and "journalctl" in stopped.do
    now = around.open_history(settings.data / "kuraban.journal").now()
    assert now is not None
    monkeypatch.setattr(around, "clock", lambda: now + 30.0)
    assert of(list(surroundings(settings)), "watch") == Finding(
        "watch", "well", "last wrote 30 s ago"
    )


def test_whoever_has_no_address_is_named(settings: Settings) -> None:
    assert of(list(surroundings(settings)), "phones").grade == "well"
    first = settings.house.people[0]
    some = replace(settings, addresses={**settings.addresses, first.id: Addresses(())})
    assert of(list(surroundings(some)), "phones")[1:3] == ("look", f"no address for {first.name}")
    nobody = dict.fromkeys(settings.addresses, Addresses(()))
    assert of(list(surroundings(replace(settings, addresses=nobody))), "phones").grade == "fault"
    assert isinstance(first, Person)


def test_pages_that_are_wanted_must_answer(settings: Settings) -> None:
    assert of(list(surroundings(settings)), "pages").says.startswith("none wanted")
    with socket.create_server(("127.0.0.1", 0)) as listening:
        port = listening.getsockname()[1]
        here = replace(settings, web=Web(port=port))
        assert of(list(surroundings(here)), "pages").grade == "well"
    assert of(list(surroundings(here)), "pages").grade == "fault"


@pytest.mark.parametrize(("free", "grade"), [(5e9, "well"), (6e8, "look"), (1e8, "fault")])
def test_a_disk_that_fills_is_told_in_time(
    settings: Settings, monkeypatch: pytest.MonkeyPatch, free: float, grade: str
) -> None:
    usage = shutil.disk_usage("/")._replace(free=int(free))
    monkeypatch.setattr("shutil.disk_usage", lambda path: usage)
    assert of(list(surroundings(settings)), "disk").grade == grade


def test_a_memory_card_is_to_be_spared(settings: Settings, tmp_path: Path) -> None:
    """The device on which the journal lies is named as the system names cards."""
    settings.data.mkdir(exist_ok=True)
    device = os.stat(settings.data).st_dev
    blocks = tmp_path / "sys/dev/block"
    blocks.mkdir(parents=True)
    (blocks / f"{os.major(device)}:{os.minor(device)}").symlink_to("../../devices/mmcblk0p2")
    found = of(list(surroundings(settings, tmp_path)), "memory card")
    assert found.grade == "look" and "turn = 2" in found.do
    spared = replace(settings, mqtt=replace(settings.mqtt, turn=2.0))
    assert of(list(surroundings(spared, tmp_path)), "memory card").grade == "well"


@pytest.mark.parametrize(("answer", "grade"), [(0, "well"), (5, "look")])
def test_a_clock_that_nothing_keeps_right_is_worth_a_look(
    settings: Settings, monkeypatch: pytest.MonkeyPatch, answer: int, grade: str
) -> None:
    class Libc:
        def __init__(self, name: None) -> None: ...
        def adjtimex(self, timex: object) -> int:
            return answer

    monkeypatch.setattr("ctypes.CDLL", Libc)
    assert of(list(surroundings(settings)), "clock").grade == grade


@pytest.fixture
def serve(tmp_path: Path) -> Callable[[str], Web]:
    """Pages with a certificate that holds for so many days."""

    def begin(days: str) -> Web:
        authority(tmp_path, "ca")
        certificate(tmp_path, "pages", "IP:127.0.0.1", days)
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        context.load_cert_chain(tmp_path / "pages.crt", tmp_path / "pages.key")
        listening = socket.create_server(("127.0.0.1", 0))
        port = listening.getsockname()[1]

        def answer() -> None:
            with listening:
                listening.accept()[0].close()  # whether anybody listens
                with (
                    context.wrap_socket(listening.accept()[0], server_side=True) as tls,
                    suppress(ConnectionResetError),  # who has seen it goes without a word
                ):
                    tls.recv(1)

        threading.Thread(target=answer, daemon=True).start()
        return Web(port=port, cert_file=tmp_path / "pages.crt")

    return begin


@pytest.mark.needs("openssl")
@pytest.mark.parametrize(("days", "grade"), [("90", "well"), ("10", "look")])
def test_a_certificate_that_ends_soon_is_told_before_it_does(
    settings: Settings, serve: Callable[[str], Web], days: str, grade: str
) -> None:
    found = of(list(surroundings(replace(settings, web=serve(days)))), "pages' certificate")
    assert found.grade == grade and "holds for" in found.says


def test_a_long_history_that_refused_something_is_worth_a_look(settings: Settings) -> None:
    live_through(NIGHT, settings.data / "kuraban.journal")
    late = replace(settings, history=Receiver("http://127.0.0.1:9", "kuraban"))
    found = of(list(surroundings(late)), "long history")
    assert found.grade == "look" and "rows wait" in found.says


def test_the_machine_must_start_the_watch_by_itself_and_ring_when_it_fails(
    settings: Settings, tmp_path: Path
) -> None:
    (tmp_path / "run/systemd/system").mkdir(parents=True)
    found = [one for one in surroundings(settings, tmp_path) if "unit" in one.what]
    assert [one.grade for one in found] == ["fault"] * 3
    etc = tmp_path / "etc/systemd/system"
    for wanted, unit in (("multi-user", "kuraban.service"), ("timers", "kuraban-backup.timer")):
        (etc / f"{wanted}.target.wants").mkdir(parents=True)
        (etc / f"{wanted}.target.wants" / unit).symlink_to(etc / unit)
    (etc / "kuraban-down.service").touch()
    found = [one for one in surroundings(settings, tmp_path) if "unit" in one.what]
    assert [one.grade for one in found] == ["well"] * 3
