"""`kuraban init`: a first site file from a few answers and from what is heard."""

from __future__ import annotations

import os
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from kuraban.edges.mqtt.oneshot import publish
from kuraban.settings import Mqtt, load
from tests.broker import USERS, Mosquitto, free_port
from tests.cli.conftest import Type
from tests.sink import Sink


@pytest.fixture(scope="module")
def broker(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Mosquitto]:
    with Mosquitto(tmp_path_factory.mktemp("broker"), without=("acl_file",)) as running:
        yield running


def test_probes_that_speak_are_in_it(broker: Mosquitto, tmp_path: Path, type_in: Type) -> None:
    """Each with a guess where it hangs; the file is sound as it stands."""
    secret, out = tmp_path / "secret", tmp_path / "site.toml"
    secret.write_text(USERS["kuraban"], "utf-8")
    link = Mqtt(port=broker.port, user="kuraban", password=USERS["kuraban"])
    heard = [
        threading.Timer(1.0, publish, (link, f"kura/reading/{probe}", b"10.4"))
        for probe in ("t3-mid", "ch1-supply")
    ]
    for one in heard:
        one.start()
    shown = type_in(
        "init", "--yes", "--out", out, "--port", broker.port, "--user", "kuraban",
        "--password-from", secret, "--listen", 3,
    )  # fmt: skip
    assert shown.exit_code == 0, shown.stderr
    house = load(out, {}).house
    assert house.probe["t3-mid"].of == "tank-3"
    assert house.probe["ch1-supply"].of == "chiller-1"
    assert "2 probes" in shown.output and USERS["kuraban"] not in out.read_text("utf-8")
    assert type_in("check", "--site", out).exit_code == 0


def test_answers_are_taken_over(tmp_path: Path, type_in: Type) -> None:
    """A time zone that is none is asked for once more; no broker is no hindrance."""
    out = tmp_path / "site.toml"
    answers = "Kura Yama\nTokyo\nAsia/Tokyo\nja\n127.0.0.1\n" + "\n" * 5
    shown = type_in("init", "--out", out, "--port", free_port(), answers=answers)
    assert shown.exit_code == 0, shown.stderr
    assert '"Tokyo" is not known' in shown.output
    assert "No probe was heard: nobody listens" in shown.stderr
    site = load(out, {}).house.site
    assert (site.name, site.language) == ("Kura Yama", "ja")


def test_nothing_is_overwritten(tmp_path: Path, type_in: Type) -> None:
    out = tmp_path / "site.toml"
    out.write_text("mine", "utf-8")
    shown = type_in("init", "--yes", "--out", out)
    assert shown.exit_code == 2 and "nothing is overwritten" in shown.stderr
    assert out.read_text("utf-8") == "mine"


def test_what_it_writes_is_not_for_everybody(
    type_in: Type, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Passwords and addresses will stand in it, whatever the usual rights are."""
    out = tmp_path / "site.toml"
    before = os.umask(0)
    try:
        shown = type_in("init", "--yes", "--out", out, "--listen", "0", "--port", "1")
    finally:
        os.umask(before)
    assert shown.exit_code == 0, shown.output
    assert out.stat().st_mode & 0o777 == 0o640


def test_people_are_asked_for_and_each_address_is_tried(tmp_path: Path, type_in: Type) -> None:
    """Tanks and chillers too; what is written is sound and rings them in the order named."""
    out = tmp_path / "site.toml"
    with Sink() as phone:
        address = f"json://127.0.0.1:{phone.port}/aki"
        people = f"Aki\n{address}\ny\nSho\nnowhere\njson://127.0.0.1:9/sho\nn\n\n\n\n"
        answers = f"Kura\nAsia/Tokyo\nen\n127.0.0.1\n3x\n3\n1\n{people}"
        shown = type_in("init", "--out", out, "--port", free_port(), answers=answers)
        assert shown.exit_code == 0, shown.output
        assert "It was taken." in shown.output
        assert [rung.title for rung in phone.got] == ["A test of the watch"]
    assert '"3x" is not known' in shown.output and '"nowhere" is not known' in shown.output
    settings = load(out, {})
    assert [(duty.person, duty.order) for duty in settings.house.rota] == [("aki", 1), ("sho", 2)]
    assert settings.addresses["aki"].pages == (address,)
    assert [place.cooler for place in settings.house.places] == ["chiller-1"] * 3
    assert settings.web is not None and settings.web.host == "127.0.0.1"


def test_without_questions_every_answer_is_an_option(tmp_path: Path, type_in: Type) -> None:
    out = tmp_path / "site.toml"
    shown = type_in(
        "init", "--yes", "--out", out, "--name", "倉", "--zone", "Asia/Tokyo", "--language", "ja",
        "--port", free_port(), "--tanks", 2, "--chillers", 1, "--listen", 0,
        "--person", "brewer:Aki=json://127.0.0.1:9/aki", "--person",
        "maintenance:健=json://127.0.0.1:9/ken", "--person", "crew:Aki=json://127.0.0.1:9/aki",
    )  # fmt: skip
    assert shown.exit_code == 0, shown.output
    house = load(out, {}).house
    assert [place.name for place in house.places] == ["1号タンク", "2号タンク"]
    assert [(one.id, one.name) for one in house.people] == [("aki", "Aki"), ("person-2", "健")]
    assert [duty.role for duty in house.rota] == ["brewer", "maintenance", "crew"]


@pytest.mark.parametrize(
    ("words", "right"),
    [
        (("--person", "aki"), "names nobody to ring"),
        (("--zone", "Tokyo"), '"Tokyo" is not known'),
        (("--language", "de"), "en or ja"),
    ],
)
def test_an_answer_that_is_none_says_what_would_be_right(
    tmp_path: Path, type_in: Type, words: tuple[str, str], right: str
) -> None:
    shown = type_in("init", "--yes", "--out", tmp_path / "site.toml", *words)
    assert shown.exit_code == 2 and right in shown.stderr
    assert not (tmp_path / "site.toml").exists()


def test_what_the_installer_made_is_found(tmp_path: Path, type_in: Type) -> None:
    """Name and secret at the broker, and the folder of the journal: nothing is left to be added."""
    etc, state = tmp_path / "etc/kuraban", tmp_path / "var/lib/kuraban"
    (etc / "secrets").mkdir(parents=True)
    state.mkdir(parents=True)
    (etc / "secrets" / "mqtt").write_text("a word of the broker's", "utf-8")
    out = etc / "site.toml"
    shown = type_in("init", "--yes", "--out", out, "--port", free_port(), "--listen", 0)
    assert shown.exit_code == 0, shown.output
    settings = load(out, {})
    assert (settings.mqtt.user, settings.mqtt.password) == ("kuraban", "a word of the broker's")
    assert settings.data == state
    assert "a word of" not in out.read_text("utf-8")
